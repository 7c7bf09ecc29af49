"""The settings of fits and forecasts; each run stores them beside its results."""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass

import numpy as np

from fleetwear.errors import InputError
from fleetwear.vocabulary import Kind


@dataclass(frozen=True)
class Settings:
    """What a person may set. The defaults are assumptions of this project, without a source."""

    cost_ratio: float = 9.0
    """Cost of a joint that crosses its limit unseen, over the cost of replacing it early; act when
    p * cost_ratio > 1 - p, that is when p > 1 / (1 + cost_ratio)."""
    load_carrying_cap: float = 0.05
    """Highest accepted risk of a joint that carries load, whatever the costs."""
    none_seen_mm: float = 0.25
    """Play that is seen every other time: where the search for each method's detection curve starts."""
    none_seen_softness_mm: float = 0.06
    """Softness of that curve: play this much above is seen 5 times in 6."""
    recheck_z: float = 3.5
    """Standard deviations from its history beyond which a last reading is to be taken again."""
    draws: int = 2000
    """Joint draws of every vehicle."""
    seed: int = 20260701
    """Seed of the draws: the same store, moment and settings give the same forecast."""
    horizon_years: float = 10.0
    """Crossings later than this are said to lie beyond the horizon."""
    default_interval_km: float = 20000.0
    default_interval_months: float = 12.0
    """Service interval of a vehicle without one on record."""
    repeatability_mm: tuple[tuple[str, float], ...] = ()
    """Repeatability known from a study, as pairs of a way of reading ("pry bar, read at the joint"; with ": Harbour"
    behind it that of one shop) and the standard deviation of one stroke."""

    def __post_init__(self) -> None:
        """Refuse settings that mean nothing."""
        if not self.cost_ratio > 0.0:
            raise InputError(f"cost ratio {self.cost_ratio}", mend="Give a positive number, such as 9.")
        if not 0.0 < self.load_carrying_cap < 1.0:
            raise InputError(f"risk cap {self.load_carrying_cap}", mend="Give a probability such as 0.05.")
        for way, deviation in self.repeatability_mm:
            if not 0.0 < deviation < np.inf:
                raise InputError(f"repeatability of {way!r} is {deviation} mm", mend="Give a deviation such as 0.02.")
        if self.draws < 100:
            raise InputError(f"{self.draws} draws", mend="Give at least 100, such as 2000.")

    def accepted_risk(self, kind: str, *, general: float | None = None) -> float:
        """Return the highest crossing probability that is accepted for a kind of joint.

        ``general`` overrides the risk that follows from costs; the cap of load-carrying joints stays.
        """
        risk = 1.0 / (1.0 + self.cost_ratio) if general is None else general
        return min(risk, self.load_carrying_cap) if Kind(kind).carries_load else risk

    def to_json(self) -> str:
        """Return the settings as JSON, for storing."""
        return json.dumps(asdict(self), sort_keys=True)

    @classmethod
    def from_json(cls, text: str) -> Settings:
        """Return settings stored as JSON; what is not among them is left out."""
        known = cls.__dataclass_fields__
        stored = {key: value for key, value in json.loads(text).items() if key in known}
        if "repeatability_mm" in stored:
            stored["repeatability_mm"] = tuple((str(way), float(value)) for way, value in stored["repeatability_mm"])
        return cls(**stored)
