"""The settings of a plan, and the costs that it assumes."""

from __future__ import annotations

from dataclasses import dataclass

from fleetwear.errors import InputError

MOST_WEEKS = 52


@dataclass(frozen=True)
class PlanSettings:
    """What a person may set. The costs are assumptions of this project, without a source."""

    weeks: int = 12
    depot: str | None = None
    shift_days: float = 0.0
    """Every service is moved by so many days, later if above 0."""
    stretch: float = 1.0
    """Every service interval is made longer by this factor."""
    cover: float = 0.9
    """Share of outcomes that the quantity to order and the bay hours to keep cover."""
    alignment_hours: float = 1.0
    """Bay hours of one wheel alignment, which is counted once a visit."""
    hour_cost: float = 90.0
    """Cost of a bay hour, in the currency of the parts file."""
    visit_cost: float = 150.0
    """Cost of taking a vehicle off the road once more, in the currency of the parts file."""

    def __post_init__(self) -> None:
        """Refuse settings that mean nothing."""
        if not 1 <= self.weeks <= MOST_WEEKS:
            raise InputError(f"{self.weeks} weeks", mend=f"Give 1 to {MOST_WEEKS} weeks, such as 12.")
        if not 0.0 < self.cover < 1.0:
            raise InputError(f"cover {self.cover:g}", mend="Give a share between 0 and 1, such as 0.9.")
        for name in ("alignment_hours", "hour_cost", "visit_cost"):
            if not 0.0 <= getattr(self, name) < float("inf"):
                raise InputError(
                    f"{name.replace('_', ' ')} {getattr(self, name):g}", mend="Give a number of zero or more."
                )
