"""Small words of a vehicle's page that its parts share."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from fleetwear.planning.wording import begin_sentence
from fleetwear.reports.page_text import plain

if TYPE_CHECKING:
    from collections.abc import Sequence

    from fleetwear.reports.joint_history import JointHistory

Sheet = dict[str, Any]
"""Texts, lists of texts and dictionaries of them, ready for JSON."""

POINTS = ("05", "50", "95")
NAMED = 3
"""Joints that are named in one sentence before the rest are counted."""


def joint_title(history: JointHistory) -> str:
    """Return the joint, cut where it is long, and the load direction."""
    return f"{plain(begin_sentence(str(history.fact['joint'])), 48)}, {history.fact['direction']}"


def listed(histories: Sequence[JointHistory], named: int = NAMED) -> str:
    """Return the names of joints: "Left front kingpin, in-out; ... and 4 more"."""
    names = "; ".join(joint_title(history) for history in histories[:named])
    rest = len(histories) - named
    return f"{names}; and {rest} more" if rest > 0 else names


def ended(text: str) -> str:
    """Return text with a stop, where it has none."""
    return text if text.endswith((".", "?", "…")) else f"{text}."


def short(outcome: str) -> str:
    """Return an outcome without what stands behind a semicolon."""
    return outcome.partition(";")[0]
