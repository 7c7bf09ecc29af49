"""Files into checked rows of the store, or into quarantine with every reason."""

from fleetwear.intake.loading import load_files
from fleetwear.intake.quarantine import list_quarantine
from fleetwear.intake.questions import answer, open_questions
from fleetwear.intake.summary import LoadSummary
from fleetwear.intake.taking import take_files

__all__ = ["LoadSummary", "answer", "list_quarantine", "load_files", "open_questions", "take_files"]
