"""Trends as tables: to be read in a fleet's own units, and to be taken away in both systems of units."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from fleetwear.errors import InputError
from fleetwear.planning.wording import say_count, say_distance, say_fixed, say_play
from fleetwear.reports.flag_files import to_csv, to_xlsx
from fleetwear.units import factor, resolve

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from pathlib import Path

    from fleetwear.trends import LifetimeTrend

_PER = 10_000.0
_DIGITS = {"thou": 2, "in": 5, "mm": 4, "um": 1}
HEADS = {"kind": "Kind of joint", "model": "Model", "depot": "Depot", "duty": "Duty", "supplier": "Supplier"}
"""What a factor's column is called."""
SHARE = 0.1
"""The share of parts whose crossing is told by its distance."""
_RATES = {
    "growth": "growth",
    "growth_lower": "growth_lower",
    "growth_upper": "growth_upper",
    "spread": "spread_of_parts",
    "between": "spread_of_their_means",
    "within": "not_known_of_a_part",
    "growth_05": "parts_05",
    "growth_50": "parts_50",
    "growth_95": "parts_95",
}
"""Columns of growth, and what they are called in a file."""


@dataclass(frozen=True)
class TrendUnits:
    """The units that trends are told in."""

    play: str = "mm"
    distance: str = "km"

    @classmethod
    def read(cls, text: str) -> TrendUnits:
        """Return the units that a text names, play first: "mm km", "thou, mi".

        Raises
        ------
        InputError
            If it does not name two units.
        UnitError
            If one is not on its list.
        """
        words = text.replace(",", " ").split()
        if len(words) != 2:
            raise InputError(f"units {text!r}", mend='Name the unit of play and that of distance, like "mm km".')
        return cls(resolve(words[0], "play"), resolve(words[1], "distance"))

    @property
    def rate(self) -> str:
        """The unit of growth: "thou per 10,000 mi"."""
        return f"{self.play} per 10,000 {self.distance}"

    @property
    def rate_factor(self) -> float:
        """What mm/km are multiplied by."""
        return _PER * factor(self.distance, "km") * factor("mm", self.play)

    @property
    def distance_factor(self) -> float:
        """What km are multiplied by."""
        return factor("km", self.distance)

    @property
    def play_factor(self) -> float:
        """What mm are multiplied by."""
        return factor("mm", self.play)

    def say_rate(self, mm_per_km: float) -> str:
        """Return a growth without its unit: "1.93"."""
        return say_fixed(mm_per_km * self.rate_factor, _DIGITS[self.play])

    def say_rates(self, middle: float, low: float, high: float) -> str:
        """Return a growth with its interval, without its unit: "1.93 (1.71 to 2.16)"."""
        return f"{self.say_rate(middle)} ({self.say_rate(low)} to {self.say_rate(high)})"

    def say_km(self, km: float) -> str:
        """Return a distance with three figures and its unit: "76,300 mi"."""
        return say_distance(_three_figures(km * self.distance_factor) / self.distance_factor, self.distance)


def _three_figures(value: float) -> float:
    return float(f"{value:.3g}")


def growth_table(growth: pd.DataFrame, *, by: str, units: TrendUnits) -> pd.DataFrame:
    """Return the growth of every group to be read, from ``trends.growth_by``."""
    rows = growth.to_dict("records")
    frame = _groups([(str(row["kind"]), str(row["level"])) for row in rows], by)
    frame[f"Mean growth, {units.rate} (95 %)"] = [
        units.say_rates(row["growth"], row["growth_lower"], row["growth_upper"]) for row in rows
    ]
    frame["Middle 90 % of parts"] = [f"{units.say_rate(row['growth_05'])} to {units.say_rate(row['growth_95'])}"
                                      for row in rows]  # fmt: skip
    frame["Spread (of it not known)"] = [
        f"{units.say_rate(row['spread'])} ({units.say_rate(row['within'])})" for row in rows
    ]
    frame["Series, vehicles"] = [f"{row['n_lives']:,}, {row['n_vehicles']:,}" for row in rows]
    frame["Over the first"] = [units.say_km(row["far_km"]) for row in rows]
    return frame


def _groups(pairs: list[tuple[str, str]], by: str) -> pd.DataFrame:
    """Return the columns that name the groups: the kind where there are several, and the level."""
    columns = {HEADS["kind"]: [kind for kind, _ in pairs]}
    if by != "kind":
        columns[HEADS[by]] = [level for _, level in pairs]
        if len(set(columns[HEADS["kind"]])) == 1:
            del columns[HEADS["kind"]]
    return pd.DataFrame(columns)


def lifetime_table(lifetimes: Sequence[LifetimeTrend], *, by: str, units: TrendUnits) -> pd.DataFrame:
    """Return the distances to the limit to be read, one row a group."""
    frame = _groups([(one.kind, one.level) for one in lifetimes], by)
    frame["Parts, vehicles"] = [f"{len(one.lifetimes):,}, {one.n_vehicles:,}" for one in lifetimes]
    frame["Crossed: at first look, later"] = [f"{one.lifetimes.n_left}, {one.lifetimes.n_between}" for one in lifetimes]
    frame["Under at last look"] = [str(one.lifetimes.n_right) for one in lifetimes]
    frame["Of these replaced or adjusted"] = [str(one.n_replaced_under) for one in lifetimes]
    frame["One in ten has crossed by (95 %)"] = [say_tenth(one, units) for one in lifetimes]
    frame["Limit"] = [say_limits(one, units) for one in lifetimes]
    return frame


def say_tenth(one: LifetimeTrend, units: TrendUnits) -> str:
    """Return the distance by which one part in ten has crossed, with its interval; or why it is not told."""
    if one.best is None:
        return "too few crossings"
    middle, low, high = (units.say_km(km) for km in one.best.distance(SHARE))
    bare = [text.removesuffix(f" {units.distance}") for text in (middle, low, high)]
    said = f"{bare[0]} ({bare[1]} to {bare[2]}) {units.distance}, {one.best.name}"
    beyond = one.best.distance(SHARE)[0] > one.lifetimes.reach
    return f"{said}; beyond the record" if beyond else said


def say_limits(one: LifetimeTrend, units: TrendUnits) -> str:
    """Return the limits that applied: "30 thou (workshop manual), 31 thou (shop practice)"."""
    by_source: dict[str, list[str]] = {}
    for limit_mm, source in one.limits:
        said = by_source.setdefault(source, [])
        words = say_play(limit_mm, units.play)
        if words not in said:
            said.append(words)
    return "; ".join(f"{', '.join(words)} ({source})" for source, words in by_source.items())


def trend_table(growth: pd.DataFrame, lifetimes: Iterable[LifetimeTrend], *, by: str) -> pd.DataFrame:
    """Return one row a group to take away: growth and distances to the limit, in both systems of units."""
    frame = growth[["kind", "level", "n_lives", "n_vehicles"]].rename(columns={"n_lives": "n_series"})
    frame.insert(0, "by", by)
    for unit in (TrendUnits("mm", "km"), TrendUnits("thou", "mi")):
        for name, called in _RATES.items():
            values = growth[name].astype(float) * unit.rate_factor
            frame[f"{called}_{unit.play}_per_10000_{unit.distance}"] = values.map(lambda v: float(f"{v:.4g}"))
        frame[f"over_first_{unit.distance}"] = (growth["far_km"].astype(float) * unit.distance_factor).round(0)
    frame["compared"] = growth["compared"]
    life = pd.DataFrame([_life_row(one) for one in lifetimes], columns=_LIFE_COLUMNS)
    return frame.merge(life, on=["kind", "level"], how="outer", sort=False).assign(by=by)


_LIFE_COLUMNS = [
    "kind", "level", "n_parts", "over_at_first_look", "crossed_between_looks", "under_at_last_look", "replaced_under",
    "distribution", "shape", "scale_km", "tenth_crossed_km", "tenth_crossed_km_lower", "tenth_crossed_km_upper",
    "record_reaches_km",
]  # fmt: skip


def _life_row(one: LifetimeTrend) -> list[object]:
    told = one.lifetimes
    fitted: list[object] = [None] * 6
    if one.best is not None:
        tenth = [round(km) for km in one.best.distance(SHARE)]
        fitted = [one.best.name, float(f"{one.best.shape:.4g}"), round(one.best.scale), *tenth]
    return [
        one.kind, one.level, len(told), told.n_left, told.n_between, told.n_right, one.n_replaced_under, *fitted,
        round(told.reach),
    ]  # fmt: skip


def short_trend_table(growth: pd.DataFrame, lifetimes: Sequence[LifetimeTrend], *, by: str, units: TrendUnits
                      ) -> pd.DataFrame:  # fmt: skip
    """Return what a terminal shows: growth, its spread among parts, and by when one in ten has crossed."""
    frame = growth_table(growth, by=by, units=units)
    tenth = {(one.kind, one.level): say_tenth(one, units) for one in lifetimes}
    pairs = zip(growth["kind"], growth["level"], strict=True)
    frame["One in ten over the limit by"] = [tenth.get(pair, "no limit on record") for pair in pairs]
    return frame.drop(columns=["Spread (of it not known)"])


def write_trend_file(table: pd.DataFrame, path: Path) -> None:
    """Write the table to take away as CSV or XLSX, by the ending of the file's name.

    Raises
    ------
    InputError
        If the name ends in neither, or the file cannot be written.
    """
    ending = path.suffix.lower()
    if ending not in (".csv", ".xlsx"):
        raise InputError(f"{path.name} is neither .csv nor .xlsx", mend="Name the file trends.csv or trends.xlsx.")
    write_bytes(path, to_csv(table) if ending == ".csv" else to_xlsx(table, sheet="trends"))


def write_bytes(path: Path, data: bytes) -> None:
    """Write a file, which is replaced where there is one.

    Raises
    ------
    InputError
        If it cannot be written.
    """
    try:
        path.write_bytes(data)
    except OSError as error:
        raise InputError(
            f"the file cannot be written: {error}", where=str(path), mend="Choose another place."
        ) from error


def curves_end(curves: pd.DataFrame, units: TrendUnits) -> tuple[float, float]:
    """Return how far and how high the curves of one kind go, in a fleet's units, a little room above."""
    if curves.empty:
        return 1.0, 1.0
    high = float(np.nanmax(curves[["mean_upper", "parts_upper"]].to_numpy(dtype=np.float64)))
    return float(curves["distance_km"].max()) * units.distance_factor, 1.03 * high * units.play_factor


def say_parts(n_lives: int, n_vehicles: int) -> str:
    """Return how many stand behind a picture: "27 parts of 14 vehicles"."""
    return f"{say_count(n_lives, 'part', 'parts')} of {say_count(n_vehicles, 'vehicle', 'vehicles')}"
