"""Comparisons of growth as tables to read and files to take away."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fleetwear.errors import InputError
from fleetwear.reports.flag_files import to_csv, to_xlsx

if TYPE_CHECKING:
    from pathlib import Path

    import pandas as pd

_RATIOS = ["ratio", "lower", "upper", "simultaneous_lower", "simultaneous_upper"]


def effect_table(effects: pd.DataFrame) -> pd.DataFrame:
    """Return one row a comparison, ratios with four figures or so and p values with three."""
    frame = effects.copy()
    for name in _RATIOS:
        frame[name] = frame[name].astype(float).round(4)
    for name in ("p_value", "p_holm"):
        frame[name] = [float(f"{value:.3g}") for value in frame[name].astype(float)]
    return frame


def short_effect_table(effects: pd.DataFrame) -> pd.DataFrame:
    """Return the comparisons that have a ratio, to be read: the sentence, its sizes, and the interval at once."""
    shown = effects[effects["ratio"].notna()]
    pairs = zip(shown["simultaneous_lower"].astype(float), shown["simultaneous_upper"].astype(float), strict=True)
    frame = shown[["says", "n_lives", "n_vehicles"]].rename(columns={"says": "comparison"}).reset_index(drop=True)
    frame["all_at_once"] = [f"{lower:.2f} to {upper:.2f}" for lower, upper in pairs]
    frame["p_holm"] = [float(f"{value:.2g}") for value in shown["p_holm"].astype(float)]
    return frame


def write_effect_file(effects: pd.DataFrame, path: Path) -> None:
    """Write the comparisons as CSV or XLSX, by the ending of the file's name.

    Raises
    ------
    InputError
        If the name ends in neither, or the file cannot be written.
    """
    ending = path.suffix.lower()
    if ending not in (".csv", ".xlsx"):
        raise InputError(f"{path.name} is neither .csv nor .xlsx", mend="Name the file effects.csv or effects.xlsx.")
    frame = effect_table(effects)
    data = to_csv(frame) if ending == ".csv" else to_xlsx(frame, sheet="growth compared")
    try:
        path.write_bytes(data)
    except OSError as error:
        raise InputError(
            f"the file cannot be written: {error}", where=str(path), mend="Choose another place."
        ) from error
