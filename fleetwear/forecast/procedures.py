"""A limit is stated for a procedure: what a reading taken in another way says of it, and how surely.

The fit knows play as its reference method shows it. With offset_m what method m adds to that (``wear.methods``, se_m
its standard error), the play that the limit's own procedure L would show is::

    play + offset_L + error,  error variance se_L^2 where the joint was measured as the limit is stated or not at all,
                              se_L^2 + se_m^2 where it was last measured by another method m

(where it was measured as the limit is stated, offset and readings share one error, which cancels: variance 0).
A method that the fit has not seen has no estimate: offset 0, standard error ``ASSUMED_OFFSET`` times the error of a
reading. The same is assumed of another support, which the fit does not tell apart. So the probability of being over a
limit that is stated for another procedure lies nearer to one half than it would otherwise.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from fleetwear.wear.methods import ASSUMED_OFFSET

if TYPE_CHECKING:
    from collections.abc import Hashable
    from typing import Any

    Row = dict[Hashable, Any]


def indicative_words(frame: pd.DataFrame) -> pd.Series:
    """Return a sentence where the last reading was taken in another way than its limit is stated for, else "".

    ``frame`` has last_date and, for each of method, read_at and support, limit_... and last_....
    """

    def differs(name: str, words: str) -> pd.Series:
        limit, reading = frame[f"limit_{name}"].astype(object), frame[f"last_{name}"].astype(object)
        told = reading.where(reading.notna(), "not recorded")
        other = limit.notna() & frame["last_date"].notna() & (told != limit)
        text = [f"limit {words.format(one)}, reading {was}" for one, was in zip(limit, told, strict=True)]
        return pd.Series(text, index=frame.index, dtype=object).where(other, "")

    method = differs("method", "is for {}")
    place = differs("read_at", "is read at the {}")
    support = differs("support", "is for a joint that is {}")
    said = ["; ".join(part for part in parts if part) for parts in zip(method, place, support, strict=True)]
    return pd.Series([f"indicative: {words}" if words else "" for words in said], index=frame.index, dtype=object)


def procedure_errors(frame: pd.DataFrame, methods: pd.DataFrame) -> pd.DataFrame:
    """Return procedure_offset_mm and procedure_sd_mm of each row, indexed as ``frame``.

    Parameters
    ----------
    frame
        One row a series: model_group, last_date, last_way, and limit_... and last_... of method, read_at and support.
    methods
        What the fit found: model_group, way, n_readings, offset_mm, offset_se, residual_variance.
    """
    known = {str(group): own for group, own in methods.groupby("model_group")}
    columns = [
        "model_group", "last_date", "last_way", "limit_method", "limit_read_at", "limit_support", "last_method",
        "last_read_at", "last_support",
    ]  # fmt: skip
    rows = frame[columns].astype(object).where(frame[columns].notna(), None)
    distinct: dict[tuple[object, ...], tuple[float, float]] = {}
    found = []
    for row in rows.to_dict("records"):
        key = (row["model_group"], row["last_date"] is None, *(row[name] for name in columns[2:]))
        if key not in distinct:
            distinct[key] = _error(row, known.get(str(row["model_group"])))
        found.append(distinct[key])
    return pd.DataFrame(
        np.array(found, dtype=np.float64).reshape(-1, 2),
        columns=["procedure_offset_mm", "procedure_sd_mm"],
        index=frame.index,
    )


def _error(row: Row, methods: pd.DataFrame | None) -> tuple[float, float]:
    """Return what the limit's procedure adds to the play as the fit knows it, and its standard deviation, mm."""
    if methods is None:
        return 0.0, 0.0
    unseen = ASSUMED_OFFSET * float(np.sqrt(methods["residual_variance"].iloc[0]))
    of_support = unseen if row["limit_support"] is not None and _differs(row, "support") else 0.0
    if row["limit_method"] is None and row["limit_read_at"] is None:
        return 0.0, of_support
    read_so = row["last_date"] is not None and not _differs(row, "method") and not _differs(row, "read_at")
    stated = methods[[_is_stated(str(way), row) for way in methods["way"]]]
    if read_so:
        own = stated[stated["way"] == row["last_way"]]
        return (float(own["offset_mm"].iloc[0]) if len(own) else 0.0), of_support
    offset, se = (
        (0.0, unseen) if stated.empty else (float(stated["offset_mm"].iloc[0]), float(stated["offset_se"].iloc[0]))
    )
    of_reading = 0.0
    if row["last_date"] is not None:
        own = methods[methods["way"] == row["last_way"]]
        of_reading = float(own["offset_se"].iloc[0]) if len(own) else unseen
    return offset, float(np.sqrt(se**2 + of_reading**2 + of_support**2))


def _differs(row: Row, name: str) -> bool:
    return (
        row["last_date"] is not None
        and row[f"limit_{name}"] is not None
        and row[f"limit_{name}"] != row[f"last_{name}"]
    )


def _is_stated(way: str, row: Row) -> bool:
    """Return whether a way of measuring, such as "pry bar, read at the joint", is one that the limit is stated for."""
    method, _, place = way.partition(", read at the ")
    return row["limit_method"] in (None, method) and row["limit_read_at"] in (None, place)
