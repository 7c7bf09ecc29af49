"""Comparisons of growth as sentences."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from fleetwear.wear.comparisons import MEAN

if TYPE_CHECKING:
    from collections.abc import Mapping

ALL_KINDS = "all kinds"
"""The kind of comparisons over all kinds together."""

ORIGINAL, NOT_RECORDED, NO_SIDE = "original", "not recorded", "no side"
"""Levels that stand for what is not written: a part since new, an empty cell, a joint in the middle."""

_PLACES = {"depot": "at depot", "duty": "on duty", "model": "of model"}


def say_comparison(row: Mapping[Any, Any]) -> str:
    """Return a comparison as a sentence, from a row of ``compare_growth``.

    "Supplier B's ball joints wear 1.4 times as fast as supplier A's (1.2 to 1.7)."
    """
    factor, level, reference = str(row["factor"]), str(row["level"]), str(row["reference"])
    joints = "joints of all kinds" if row["kind"] == ALL_KINDS else f"{row['kind']}s"
    name, note = _whose(factor, level, joints), str(row["note"])
    if not _is_number(row["ratio"]):
        return _sentence(f"{name}: {note}")
    numbers = [float(str(row[key])) for key in ("ratio", "lower", "upper")]
    ratio, lower, upper = _figures(numbers)
    other = "the mean of all of them" if reference == MEAN else _whose(factor, reference, "")
    together = [float(str(row[key])) for key in ("simultaneous_lower", "simultaneous_upper")]
    doubt = ""
    if numbers[1] <= 1.0 <= numbers[2]:
        doubt = ", so no difference is shown"
    elif together[0] <= 1.0 <= together[1]:
        doubt = ", which may be chance among so many comparisons"
    said = f"{name} wear {ratio} times as fast as {other} ({lower} to {upper}){doubt}"
    return _sentence(f"{said}; {note}" if note else said)


def _sentence(text: str) -> str:
    return f"{text[:1].upper()}{text[1:]}."


def _whose(factor: str, level: str, joints: str) -> str:
    """Return whose joints a level's are: "supplier B's ball joints", or "supplier B's" without joints."""
    those = joints or "those"
    if level == ORIGINAL and factor == "supplier":
        return f"original {joints or 'ones'}"
    if level == NOT_RECORDED:
        return f"{those} without a {factor} on record"
    if factor == "side":
        return f"{those} without a side" if level == NO_SIDE else f"{those} on the {level}"
    if factor == "supplier":
        name = level[:1].lower() + level[1:] if level.lower().startswith("supplier ") else level
        return f"{name}'s {joints}".rstrip()
    return f"{those} {_PLACES[factor]} {level}"


def _figures(values: list[float]) -> list[str]:
    """Return ratios with two figures, or two decimals where one of them would otherwise read as 1."""
    near = any(0.95 <= value < 1.05 for value in values)
    return [_figure(value, near=near) for value in values]


def _figure(value: float, *, near: bool) -> str:
    if value >= 9.95:
        return f"{value:,.0f}"
    if value >= 0.995:
        return f"{value:.2f}" if near else f"{value:.1f}"
    return f"{value:.2f}" if value >= 0.095 else f"{value:.2g}"


def _is_number(value: object) -> bool:
    return value is not None and bool(np.isfinite(float(str(value))))
