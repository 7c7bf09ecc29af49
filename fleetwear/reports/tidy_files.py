"""Tables to take away as files: CSV, Parquet or one workbook, each with its dictionary and what it is as of."""

from __future__ import annotations

import io
import os
import zipfile
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Literal, get_args

import pandas as pd

from fleetwear import __version__
from fleetwear.errors import InputError
from fleetwear.planning.tidy_tables import ABOUT, DICTIONARY
from fleetwear.reports.flag_files import to_csv
from fleetwear.reports.sheet_text import HOW
from fleetwear.reports.tidy_workbook import workbook
from fleetwear.vocabulary import CAUTION

if TYPE_CHECKING:
    import pyarrow as pa

    from fleetwear.planning.tidy_tables import Tidy

Kind = Literal["csv", "parquet", "xlsx"]
_BEING_MADE = ".unfinished"


def about_table(tidy: Tidy) -> pd.DataFrame:
    """Return what the tables are as of, and how to read them: name, value, all of them text."""
    said = {name: _text(value) for name, value in tidy.about.items()}
    said["written_by"] = f"fleetwear {__version__}"
    said["depot"] = tidy.depot or "all depots"
    if tidy.depot is not None and tidy.fleet_wide:
        said["whole_fleet_all_the_same"] = ", ".join(tidy.fleet_wide)
    said["units"] = (
        "Play is in mm, distances in km, moments in UTC; a column's name says so, and the dictionary too. What people "
        "wrote stands beside it with its unit, in the columns that end in _written and _written_unit."
    )
    said["text"] = HOW
    said["caution"] = CAUTION
    return pd.DataFrame({"name": list(said), "value": list(said.values())})


def tidy_files(tidy: Tidy, kind: Kind) -> dict[str, bytes]:
    """Return the files by name: each table, about and dictionary, or one workbook that holds them all.

    Raises
    ------
    InputError
        If there is no such kind of file, or a workbook cannot hold a table.
    """
    if kind not in get_args(Kind):
        raise InputError(f"there are no {kind!r} files", mend=f"Choose one of: {', '.join(get_args(Kind))}.")
    about = about_table(tidy)
    if kind == "xlsx":
        return {workbook_name(tidy): workbook(tidy, about)}
    if kind == "csv":
        made = {f"{name}.csv": to_csv(csv_frame(table)) for name, table in tidy.tables.items()}
        return made | {f"{ABOUT}.csv": to_csv(about), f"{DICTIONARY}.csv": to_csv(tidy.dictionary)}
    import pyarrow as pa

    described = {name: _described(table, name, tidy, about) for name, table in tidy.tables.items()}
    frames = {ABOUT: about, DICTIONARY: tidy.dictionary}
    described |= {name: pa.Table.from_pandas(frame, preserve_index=False) for name, frame in frames.items()}
    return {f"{name}.parquet": _parquet(table) for name, table in described.items()}


def workbook_name(tidy: Tidy) -> str:
    """Return the name of the workbook, "fleetwear_2026-11-01.xlsx"."""
    return f"fleetwear_{_text(tidy.about['as_of'])[:10]}.xlsx"


def archive(tidy: Tidy, kind: Kind) -> bytes:
    """Return the files as one ZIP archive; the same tables give the same bytes."""
    made = tidy.made_at
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as pack:
        for name, data in tidy_files(tidy, kind).items():
            moment = (made.year, made.month, made.day, made.hour, made.minute, made.second)
            pack.writestr(zipfile.ZipInfo(name, moment), data, zipfile.ZIP_DEFLATED)
    return buffer.getvalue()


def write_tidy(tidy: Tidy, target: Path, kind: Kind | None = None) -> dict[str, Path]:
    """Write the files and return the file of each table; files of the same names are replaced.

    Parameters
    ----------
    tidy
        The tables.
    target
        A folder, made where there is none; or a file, .xlsx for a workbook, .zip for an archive.
    kind
        csv where None, or xlsx where the target is a workbook.

    Raises
    ------
    InputError
        If the target and the kind do not go together, or it cannot be written.
    """
    ending = target.suffix.lower()
    if ending in (".csv", ".parquet"):
        raise InputError(
            f"{target.name} is one file, and these tables come with a dictionary and what they are as of",
            mend="Name a folder, a .zip file, or an .xlsx file.",
        )
    if ending == ".xlsx" and kind not in (None, "xlsx"):
        raise InputError(f"{target.name} is a workbook, and {kind} was asked for", mend="Name a folder or a .zip file.")
    if ending == ".zip" and kind == "xlsx":
        raise InputError(
            f"{target.name} is an archive, and a workbook needs none", mend="Name a folder or an .xlsx file."
        )
    chosen: Kind = kind or ("xlsx" if ending == ".xlsx" else "csv")
    try:
        if ending == ".zip":
            _replace(target, archive(tidy, chosen))
            return dict.fromkeys(tidy.tables, target)
        made = tidy_files(tidy, chosen)
        if ending == ".xlsx":
            _replace(target, made[workbook_name(tidy)])
            return dict.fromkeys(tidy.tables, target)
        target.mkdir(parents=True, exist_ok=True)
        for name, data in made.items():
            _replace(target / name, data)
    except OSError as error:
        raise InputError(
            f"the files cannot be written: {error}", where=str(target), mend="Choose another place."
        ) from error
    if chosen == "xlsx":
        return dict.fromkeys(tidy.tables, target / workbook_name(tidy))
    return {name: target / f"{name}.{chosen}" for name in tidy.tables}


def csv_frame(table: pa.Table) -> pd.DataFrame:
    """Return a table as it is written to CSV: days and moments as in ISO 8601, true and false, whole numbers whole."""
    import pyarrow as pa

    columns: dict[str, object] = {}
    for field in table.schema:
        column = table.column(field.name)
        if pa.types.is_date(field.type) or pa.types.is_timestamp(field.type):
            columns[field.name] = [None if value is None else _text(value) for value in column.to_pylist()]
        elif pa.types.is_boolean(field.type):
            words = {True: "true", False: "false", None: None}
            columns[field.name] = [words[value] for value in column.to_pylist()]
        elif pa.types.is_integer(field.type):
            columns[field.name] = pd.array(column.to_pylist(), dtype="Int64")
        else:
            columns[field.name] = column.to_pandas()
    return pd.DataFrame(columns)


def _text(value: object) -> str:
    if value is None:
        return ""
    if isinstance(value, datetime):
        shown = value.isoformat(sep=" ")
        return shown.removesuffix(" 00:00:00")
    return value.isoformat() if isinstance(value, date) else str(value)


def _described(table: pa.Table, name: str, tidy: Tidy, about: pd.DataFrame) -> pa.Table:
    """Return the table with what it is in its metadata, and what each column means in that of the column."""
    import pyarrow as pa

    own = tidy.dictionary[tidy.dictionary["table_name"] == name].set_index("column_name")
    fields = []
    for field in table.schema:
        row = own.loc[field.name]
        said = {key: str(row[key]) for key in ("meaning", "unit", "comes_from") if not pd.isna(row[key])}
        fields.append(field.with_metadata(said))
    said = {"table": name, "one_row": tidy.meanings[name]}
    said |= dict(zip(about["name"], about["value"], strict=True))
    return table.cast(pa.schema(fields, metadata=said))


def _parquet(table: pa.Table) -> bytes:
    import pyarrow.parquet as pq

    buffer = io.BytesIO()
    pq.write_table(table, buffer, compression="zstd")
    return buffer.getvalue()


def _replace(path: Path, data: bytes) -> None:
    """Write a file whole or not at all."""
    fresh = path.with_name(f"{path.name}{_BEING_MADE}")
    fresh.write_bytes(data)
    os.replace(fresh, path)
