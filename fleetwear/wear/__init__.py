"""The wear model: arrays in, results out. It knows no database, no file, no unit and no vehicle."""

from fleetwear.wear.ensemble import EnsembleResults
from fleetwear.wear.fitting import fit, fit_readings
from fleetwear.wear.lines import fit_sums
from fleetwear.wear.results import WearResults

__all__ = ["EnsembleResults", "WearResults", "fit", "fit_readings", "fit_sums"]
