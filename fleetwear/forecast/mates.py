"""Whether this fleet's own record shows that a confirmed symptom at a joint tells of its mate across the axle.

Each joint with a mate counts once. Where the mate had a confirmed symptom, the joint is watched for a year from that
day on; where it never had one, from the look at which it had run most nearly as far as the others had, so that wear
with distance is not taken for a tie. A joint that was over its limit before counts no more. The counts make a two by
two table a kind; its conditional odds ratio has Fisher's exact interval (Fisher 1935; scipy's
``contingency.odds_ratio``), at a level shared out among the kinds that are compared (Bonferroni).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

if TYPE_CHECKING:
    from collections.abc import Iterable

    from numpy.typing import NDArray

WATCHED = pd.Timedelta(days=365)
FEWEST = 5
"""Joints with, and joints without, a symptom at their mate below which nothing is said of a kind."""
_LEVEL = 0.95


@dataclass(frozen=True)
class MateTie:
    """What the record says of one kind of joint."""

    kind: str
    over_with: int
    n_with: int
    over_without: int
    n_without: int
    ratio: float
    """Conditional odds ratio; inf where only joints with a symptom at their mate were over."""
    lower: float
    upper: float

    @property
    def is_shown(self) -> bool:
        """Whether the interval lies above 1."""
        return self.lower > 1.0

    def words(self) -> str:
        """Return a sentence without its stop."""
        times = f"{self.ratio:.1f} times" if np.isfinite(self.ratio) else "beyond measure"
        high = f"{self.upper:.0f}" if np.isfinite(self.upper) else "no upper end"
        return (
            f"in this fleet, of {self.n_with} joints of this kind whose mate across the axle had a confirmed symptom, "
            f"{self.over_with} were read over their limit within a year; of {self.n_without} others that had run about "
            f"as far, {self.over_without} (odds ratio {times}, interval {self.lower:.1f} to {high}): test this one too"
        )


def tie_mates(looks: Iterable[pd.DataFrame]) -> dict[str, MateTie]:
    """Return what is known of each kind with enough joints, by kind.

    Parameters
    ----------
    looks
        The rows of ``forecast/looks_of_kind.sql``, a frame a kind: those of a large fleet are many.
    """
    counted = {str(own["kind"].iloc[0]): _counts(own) for own in looks if len(own)}
    enough = {kind: n for kind, n in counted.items() if min(n[0].sum(), n[1].sum()) >= FEWEST}
    level = 1.0 - (1.0 - _LEVEL) / max(len(enough), 1)
    return {kind: _tie(kind, table, level) for kind, table in enough.items()}


def _tie(kind: str, table: NDArray[np.int64], level: float) -> MateTie:
    ratio, lower, upper = odds_ratio(table, level=level)
    (a, b), (c, d) = table.tolist()
    return MateTie(kind, a, a + b, c, c + d, ratio, lower, upper)


def odds_ratio(table: NDArray[np.int64], *, level: float) -> tuple[float, float, float]:
    """Return the conditional odds ratio of a two by two table and its exact interval.

    Parameters
    ----------
    table
        Shape (2, 2): rows with and without, columns over and not.
    """
    from scipy.stats import contingency

    found = contingency.odds_ratio(table, kind="conditional")
    interval = found.confidence_interval(confidence_level=level)
    ratio = float(found.statistic)
    return (1.0, 0.0, np.inf) if np.isnan(ratio) else (ratio, float(interval.low), float(interval.high))


def _counts(looks: pd.DataFrame) -> NDArray[np.int64]:
    """Return the table of one kind: rows with and without a symptom at the mate, columns over and not over."""
    frame = looks.assign(
        day=pd.to_datetime(looks["visit_date"]), since=pd.to_datetime(looks["mate_symptom_date"])
    ).reset_index(drop=True)
    joint = ["vehicle_id", "position_id"]
    exposed = frame[frame["since"].notna()]
    first = exposed[exposed["day"] >= exposed["since"]].sort_values("day").drop_duplicates(joint)
    if first.empty:
        return np.zeros((2, 2), dtype=np.int64)
    run = float(first["run_km"].median())
    others = frame[frame["since"].isna()]
    nearest = others.assign(off=(others["run_km"] - run).abs()).sort_values(["off", "day"]).drop_duplicates(joint)
    with_symptom = _watched(frame, first.assign(start=first["since"]))
    without = _watched(frame, nearest.assign(start=nearest["day"]))
    return np.array([[int(one.sum()), int((~one).sum())] for one in (with_symptom, without)], dtype=np.int64)


def _watched(looks: pd.DataFrame, starts: pd.DataFrame) -> NDArray[np.bool_]:
    """Return whether each joint was over its limit within the year; those over before, or not read, are left out."""
    joined = looks.merge(starts[["vehicle_id", "position_id", "start"]], on=["vehicle_id", "position_id"])
    before = joined["day"] < joined["start"]
    within = ~before & (joined["day"] <= joined["start"] + WATCHED)
    joined = joined.assign(was=before & joined["is_over"], seen=within, over=within & joined["is_over"])
    found = joined.groupby(["vehicle_id", "position_id"])[["was", "seen", "over"]].any()
    return found.loc[found["seen"] & ~found["was"], "over"].to_numpy(dtype=bool)


def mate_notes(joints: pd.DataFrame, positions: pd.DataFrame, ties: dict[str, MateTie]) -> pd.Series:
    """Return a sentence for each joint whose mate has a confirmed symptom now, where the fleet shows a tie; else "".

    Parameters
    ----------
    joints
        One row a joint and load direction: vehicle_id, position_id, kind, symptom.
    positions
        position_id and mate_id, of every joint with a mate across the axle.
    ties
        What ``tie_mates`` gave.
    """
    mate_of = dict(zip(positions["position_id"], positions["mate_id"], strict=True))
    noisy = set(joints.loc[joints["symptom"] != "", ["vehicle_id", "position_id"]].itertuples(index=False, name=None))
    shown = {kind: tie.words() for kind, tie in ties.items() if tie.is_shown}
    return pd.Series(
        [
            shown.get(kind, "") if (vehicle, mate_of.get(position)) in noisy else ""
            for vehicle, position, kind in zip(joints["vehicle_id"], joints["position_id"], joints["kind"], strict=True)
        ],
        index=joints.index,
        dtype=object,
    )
