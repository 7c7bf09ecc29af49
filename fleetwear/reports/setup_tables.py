"""How well one visit's reading is known, in tables and in words, in a person's own unit."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from fleetwear.forecast.setups import GROUPINGS
from fleetwear.planning.wording import begin_sentence
from fleetwear.reports.reading_study import say_small
from fleetwear.units import factor

if TYPE_CHECKING:
    from collections.abc import Hashable

    from fleetwear.planning.setups import SetupRecord

    Row = dict[Hashable, Any]

NOT_ENOUGH = "not enough repeat visits"
_STROKES = (1, 2, 3)
_DOMINATES = 1.0
"""Setup over repeatability, as variances, above which a second setup is said to tell more than a second stroke."""
_COLUMNS = {"shop": "shop", "technician": "technician"}


def visit_deviation(row: Row, strokes: int = 1, setups: int = 1) -> float:
    """Return the standard deviation of the mean of strokes of each of some setups, mm; nan where it is not known.

    Where repeatability is not known apart from setup, that of one stroke is in the setup, and further strokes count for
    nothing.
    """
    stroke = 0.0 if np.isnan(row["repeatability_mm"]) else float(row["repeatability_mm"]) ** 2
    return float(np.sqrt((float(row["counts_as_mm"]) ** 2 + stroke / strokes) / setups))


def setup_table(record: SetupRecord, by: str, unit: str) -> pd.DataFrame:
    """Return one row a way of reading and, within it, shop or technician, for people.

    Columns: how it was read, shop or technician, visits, setup with its interval, counts as (what a group of its own
    borrows from the whole is in it), strokes, one visit of 1, 2 and 3 strokes, two setups of one stroke.
    """
    rows = []
    for row in record.findings.tables[by].to_dict("records"):
        cells = {"how it was read": row["way"]}
        if by in _COLUMNS:
            cells[_COLUMNS[by]] = row["name"] or "not on record"
        cells["visits"] = f"{int(row['readings']):,}"
        enough = bool(row["enough"])
        interval = f"{_bare(row['lower_mm'], unit)} to {say_small(row['upper_mm'], unit)}" if enough else ""
        cells["setup"] = say_small(row["setup_mm"], unit) if enough else NOT_ENOUGH
        cells[f"{record.findings.level:.0%} interval".replace("%", " %")] = interval
        known = np.isfinite(row["counts_as_mm"])
        if by in _COLUMNS:
            cells["counts as"] = say_small(row["counts_as_mm"], unit) if known else ""
        cells["one stroke beside it"] = (
            say_small(row["repeatability_mm"], unit) if np.isfinite(row["repeatability_mm"]) else "not known apart"
        )
        for strokes in _STROKES:
            name = f"visit of {strokes} stroke{'' if strokes == 1 else 's'}"
            cells[name] = say_small(visit_deviation(row, strokes), unit) if known else ""
        cells["two setups"] = say_small(visit_deviation(row, 1, 2), unit) if known else ""
        rows.append(cells)
    return pd.DataFrame(rows)


def _bare(value_mm: float, unit: str) -> str:
    return say_small(value_mm, unit).removesuffix(f" {unit}")


def setup_figures(record: SetupRecord, by: str, unit: str) -> pd.DataFrame:
    """Return the same as figures in the unit, with degrees of freedom and the level of intervals."""
    table, scale = record.findings.tables[by], factor("mm", unit)
    rows = table.to_dict("records")
    out = pd.DataFrame({"how_it_was_read": table["way"]})
    if by in _COLUMNS:
        out[by] = table["name"]
    out["visits"], out["enough_visits"] = table["readings"], table["enough"]
    out["degrees_of_freedom"] = table["degrees"].round(1)
    for name in ("setup", "lower", "upper", "counts_as", "repeatability"):
        out[name] = (table[f"{name}_mm"] * scale).round(6)
    out["stroke_degrees"] = table["stroke_degrees"]
    for strokes in _STROKES:
        out[f"visit_of_{strokes}"] = [round(visit_deviation(row, strokes) * scale, 6) for row in rows]
    out["two_setups"] = [round(visit_deviation(row, 1, 2) * scale, 6) for row in rows]
    return out.assign(unit=unit, level=record.findings.level)


def setup_words(record: SetupRecord, unit: str) -> list[str]:
    """Return what repeat visits say, sentence by sentence."""
    table = record.findings.tables[GROUPINGS[0]]
    told = table[table["enough"]].sort_values("readings", ascending=False)
    words = [_way_words(row, unit) for row in told.head(3).to_dict("records")]
    if told.empty:
        words.append("No way of reading has enough repeat visits to tell its setup.")
    gains, tables = record.findings.akaike, record.findings.tables
    words.extend(_split_words(by, gains[by], tables[by]) for by in _COLUMNS if by in gains)
    return [*words, *_counted_words(record)]


def _way_words(row: Row, unit: str) -> str:
    one, two, again = (say_small(visit_deviation(row, *case), unit) for case in ((1, 1), (2, 1), (1, 2)))
    head = f"{begin_sentence(str(row['way']))}: one visit of one stroke is known to {one} (standard deviation)"
    if np.isnan(row["repeatability_mm"]):
        return (
            f"{head}; too few strokes were repeated to tell setup and stroke apart, and two setups bring it to {again}."
        )
    setup, stroke = float(row["counts_as_mm"]) ** 2, float(row["repeatability_mm"]) ** 2
    if setup > _DOMINATES * stroke:
        told = "a second setup tells more than a second stroke"
    else:
        told = "most of it is the scatter of strokes, so that a second stroke tells nearly as much as a second setup"
    return f"{head}; {told}: two strokes bring it to {two}, two setups to {again}."


def _split_words(by: str, gain: float, table: pd.DataFrame) -> str:
    plural = {"shop": "shops", "technician": "technicians"}[by]
    if int(table["enough"].sum()) < 2:
        return f"Too few repeat visits to tell {plural} apart."
    if gain < 0.0:
        return f"The data carry a setup of its own for each {by} (Akaike's criterion better by {-gain:.1f})."
    return (
        f"The data do not carry a setup of its own for each {by} (Akaike's criterion worse by {gain:.1f}): differences "
        f"between {plural} may be chance."
    )


def _counted_words(record: SetupRecord) -> list[str]:
    kinds = [record.kind] if record.kind else sorted(record.counted_by)
    apart = [f"{kind} by {record.counted_by[kind]}" for kind in kinds if record.counted_by.get(kind) in _COLUMNS]
    if apart:
        return [f"In the fit, readings count with the variance of their own group: {'; '.join(apart)}."]
    return ["In the fit, readings of one method count alike, but for their numbers of strokes and setups."]


def setup_source(row: Row, by: str, unit: str, *, level: float) -> str:
    """Return where the setup of a budget comes from, in words."""
    group = f", {row['name']}" if by in _COLUMNS and row["name"] else ""
    interval = f"{_bare(row['lower_mm'], unit)} to {say_small(row['upper_mm'], unit)}"
    own = f"{100 * level:g} %: {interval}" if row["enough"] else "its own visits are too few"
    return f"{int(row['readings']):,} repeat visits: {row['way']}{group} ({own})"
