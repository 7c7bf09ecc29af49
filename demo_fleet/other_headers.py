"""The last readings of one depot as somebody else would write them, and the column map that explains the sheet."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pathlib import Path

    import pandas as pd

FILE = "tyre_bay.csv"
"""A row a visit and a column per joint; the demo does not load it."""

MAP = """# What the headers, dates and numbers of tyre_bay.csv mean.
table = "readings"
header_rows = [2, 3]
delimiter = ";"
decimal = ","
dates = "dd.mm.yyyy"
encoding = "latin-1"
blank = ["-"]

[columns]
unit = "Truck"
"visit date" = "Day"

[constants]
method = "lever under tyre"
indicator = "dial"

[units]
play = "mm"

[readings]
"""
_ROWS = 12


def write(folder: Path, readings: pd.DataFrame) -> None:
    """Write the sheet and its map into a folder, from a table of readings in mm without special cases."""
    plain = readings["_case"].eq("") & readings["play (mm)"].str.fullmatch(r"\d+\.\d+")
    measured = readings[plain].drop_duplicates(["unit", "visit date", "joint", "load direction"])
    width = measured["joint"].value_counts().index[:4]
    measured = measured[measured["joint"].isin(width)]
    table = measured.pivot(index=["visit date", "unit"], columns=["joint", "load direction"], values="play (mm)")
    table = table.sort_index().tail(_ROWS).dropna(axis="columns", how="all").sort_index(axis="columns")
    joints = table.columns.get_level_values("joint").astype(str).tolist()
    directions = table.columns.get_level_values("load direction").astype(str).tolist()
    upper = ["" if place and joints[place - 1] == joint else joint for place, joint in enumerate(joints)]
    lines = ["Tyre bay, play in mm", ";".join(["", "", *upper]), ";".join(["Truck", "Day", *directions])]
    for (day, unit), plays in zip(table.index, table.to_numpy(), strict=True):
        year, month, date = str(day).split("-")
        cells = ["-" if isinstance(play, float) else str(play).replace(".", ",") for play in plays]
        lines.append(";".join([str(unit), f"{date}.{month}.{year}", *cells]))
    folder.mkdir(exist_ok=True)
    (folder / FILE).write_bytes(("\r\n".join(lines) + "\r\n").encode("latin-1"))
    entries = [
        f'"{joint} {direction}" = {{ joint = "{joint}", direction = "{direction}" }}\n'
        for joint, direction in zip(joints, directions, strict=True)
    ]
    (folder / FILE).with_suffix(".columns.toml").write_text(MAP + "".join(entries), encoding="utf-8")
