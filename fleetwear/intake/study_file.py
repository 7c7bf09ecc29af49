"""A repeatability study's file: joint, technician, play, one stroke a row; read and checked, never stored."""

from __future__ import annotations

import re
import tempfile
import zipfile
import zlib
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from fleetwear.errors import InputError, UnitError
from fleetwear.intake.columns import Column, Table
from fleetwear.intake.headers import normal_header
from fleetwear.intake.sheets import read_sheets
from fleetwear.intake.sizes import check_file, check_small_workbook
from fleetwear.units import CANONICAL, SPELLINGS, factor, parse_measure, resolve

if TYPE_CHECKING:
    from fleetwear.intake.sheets import Sheet

STUDY = Table(
    "study",
    "one stroke of one joint by one person",
    (
        Column("joint", required=True, filled=True, also=("part",)),
        Column("technician", required=True, filled=True, also=("person", "appraiser", "operator")),
        Column("play", "play", required=True, filled=True, also=("reading",)),
        Column("play unit", "play unit", also=("unit",)),
    ),
)
"""The columns of a study; people may be codes."""

MAX_ROWS = 5_000
MAX_BYTES = 5_000_000
"""Of a file that is handed over to the dashboard, which many use at once."""
_MOST_EXPANDED = 50_000_000
_MOST_CELLS = 500_000
"""A hundred columns in every row."""
_MEND = 'It needs the columns joint, technician and play, like "joint,technician,play (mm)".'
_NO_NAME = re.compile(r"[^\w .()+-]")
_LONGEST_STEM, _LONGEST_SUFFIX = 50, 8
"""Characters, each of up to four bytes; file systems take 255 bytes."""
_BRACKETS = re.compile(r"(.*?)\s*[(\[]\s*(.*?)\s*[)\]]\s*")


@dataclass(frozen=True)
class RefusedRow:
    """A row that could not be taken: its number as a person sees it, what is wrong, and how to mend it."""

    row: int
    what: str
    mend: str

    def __str__(self) -> str:
        return f"row {self.row}: {self.what}. {self.mend}"


@dataclass(frozen=True)
class StudyFile:
    """The strokes of a study.

    Attributes
    ----------
    name
        The file, and its sheet.
    joints, people
        What was read and by whom, one a stroke; small letters and spaces as in the first row of the same name.
    play_mm
        The readings, mm.
    play_unit
        The unit that most of them are written in.
    refused
        The rows that could not be taken.
    """

    name: str
    joints: tuple[str, ...]
    people: tuple[str, ...]
    play_mm: tuple[float, ...]
    play_unit: str
    refused: tuple[RefusedRow, ...]


def read_study(path: Path) -> StudyFile:
    """Return the strokes of a study's CSV or XLSX file.

    Raises
    ------
    InputError
        If the file cannot be read, no sheet or more than one has the columns, or no row can be taken.
    """
    sheets = read_sheets(Path(path))
    found = [(sheet, places) for sheet in sheets if (places := _places(sheet)) is not None]
    if not found:
        header = ", ".join(sheets[0].header)
        raise InputError(f"no header fits a study; the first is {header!r}", where=Path(path).name, mend=_MEND)
    if len(found) > 1:
        names = " and ".join(repr(sheet.name) for sheet, _ in found)
        raise InputError(f"the sheets {names} both hold a study", where=Path(path).name, mend="Keep one study a file.")
    return _read(*found[0])


def read_study_bytes(name: str, data: bytes) -> StudyFile:
    """Return the strokes of a study's file that was handed over as its name and its bytes; see `read_study`.

    Of the name, which may be anything, only what can be a file's is used.
    """
    named = Path(_NO_NAME.sub("_", name.replace("\\", "/").rpartition("/")[2]).strip(". ") or "study")
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / f"{named.stem[:_LONGEST_STEM]}{named.suffix[:_LONGEST_SUFFIX]}"
        path.write_bytes(data)
        _check_small(path)
        return read_study(path)


def _check_small(path: Path) -> None:
    """Check that a file is of a kind and size that a study can have; a table of a whole fleet takes gigabytes."""
    where, suffix = path.name, path.suffix.lower()
    if suffix not in (".csv", ".xlsx"):
        raise InputError(
            f"files ending in {suffix or 'nothing'!r} are not read here", where=where, mend="Save it as CSV or XLSX."
        )
    check_file(path, where=where, most=MAX_BYTES)
    if suffix == ".xlsx":
        with suppress(zipfile.BadZipFile, zlib.error, NotImplementedError, RuntimeError):  # reading it says so
            check_small_workbook(path, where=where, most_bytes=_MOST_EXPANDED, most_cells=_MOST_CELLS)


@dataclass(frozen=True)
class _Places:
    """Where the columns stand, and the unit in the header of play."""

    joint: int
    technician: int
    play: int
    play_unit: int | None
    header_unit: str | None


def _places(sheet: Sheet) -> _Places | None:
    """Return where a sheet's columns stand; none if a required one is missing."""
    places: dict[str, int] = {}
    header_unit = None
    for place, cell in enumerate(sheet.header):
        name, unit = _column(cell, where=sheet.where)
        if name is None:
            continue
        if name in places:
            both = f"{sheet.header[places[name]]!r} and {cell!r}"
            raise InputError(
                f"the headers {both} both mean {name!r}", where=sheet.where, mend="Keep one of them, or rename one."
            )
        places[name] = place
        header_unit = unit if name == "play" else header_unit
    if any(column.required and column.name not in places for column in STUDY.columns):
        return None
    return _Places(places["joint"], places["technician"], places["play"], places.get("play unit"), header_unit)


def _column(cell: str, *, where: str) -> tuple[str | None, str | None]:
    """Return the column that a header names, and the unit that stands in it."""
    names = {name: column.name for column in STUDY.columns for name in (column.name, *column.also)}
    whole = normal_header(cell)
    if whole in names:
        return names[whole], None
    bracket = _BRACKETS.fullmatch(cell)
    if bracket and names.get(normal_header(bracket[1])) == "play":
        try:
            return "play", resolve(bracket[2], "play")
        except UnitError as error:
            raise UnitError(f"the header {cell!r}: {error.what}", where=where, mend=error.mend) from error
    stem, _, last = whole.rpartition(" ")
    if names.get(stem) == "play" and last in SPELLINGS["play"]:
        return "play", resolve(last, "play")
    return None, None


def _read(sheet: Sheet, places: _Places) -> StudyFile:
    if sheet.rows_read > MAX_ROWS:
        raise InputError(
            f"{sheet.rows_read} rows are more than {MAX_ROWS}", where=sheet.where, mend="Study fewer joints at a time."
        )
    refused = [RefusedRow(row.number, row.reason.partition(": ")[0], _sentence(row.reason)) for row in sheet.broken]
    columns = [column.to_pylist() for column in sheet.cells.columns]
    joints: list[str] = []
    people: list[str] = []
    play_mm: list[float] = []
    units: list[str] = []
    spelt: dict[tuple[str, str], str] = {}
    for i, number in enumerate(sheet.row_numbers.to_pylist()):
        row = [" ".join(column[i].split()) for column in columns]
        try:
            value, unit = _play(row, places, header=sheet.header[places.play])
            joint, person = (_filled(row[place], sheet.header[place]) for place in (places.joint, places.technician))
        except InputError as error:
            refused.append(RefusedRow(int(number), error.what, error.mend))
            continue
        joints.append(spelt.setdefault(("joint", joint.casefold()), joint))
        people.append(spelt.setdefault(("person", person.casefold()), person))
        play_mm.append(value * factor(unit, CANONICAL["play"]))
        units.append(unit)
    refused.sort(key=lambda row: row.row)
    if not play_mm:
        first = f" ({refused[0]})" if refused else ""
        raise InputError(f"none of {len(refused)} rows can be taken{first}", where=sheet.where, mend=_MEND)
    most = max(dict.fromkeys(units), key=units.count)
    return StudyFile(sheet.where, tuple(joints), tuple(people), tuple(play_mm), most, tuple(refused))


def _filled(cell: str, header: str) -> str:
    if not cell:
        raise InputError(f"{header} is empty", mend="Fill it in; any name or code will do.")
    return cell


def _play(row: list[str], places: _Places, *, header: str) -> tuple[float, str]:
    """Return the play and its unit: beside the number, else of the unit column, else of the header."""
    cell = row[places.play]
    if not cell:
        raise InputError(f"{header} is empty", mend="Give the stroke's reading, or leave the row out.")
    beside = row[places.play_unit] if places.play_unit is not None else ""
    value, unit = parse_measure(cell, "play", default_unit=beside or places.header_unit)
    if value < 0.0:
        raise InputError(f"{header} {cell!r} is negative", mend="Play cannot be below zero; read from the stop.")
    return value, unit


def _sentence(reason: str) -> str:
    mend = reason.partition(": ")[2]
    return f"{mend[:1].upper()}{mend[1:]}."
