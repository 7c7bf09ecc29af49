"""Workbooks (XLSX) read as records of text: what their cells show, never what a formula might give."""

from __future__ import annotations

import re
import zipfile
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from html import unescape
from typing import TYPE_CHECKING, Any
from xml.etree import ElementTree

import python_calamine as calamine

from fleetwear.errors import InputError
from fleetwear.intake.sizes import check_archive, check_sheet_xml

if TYPE_CHECKING:
    from pathlib import Path

_RELATION = "{http://schemas.openxmlformats.org/officeDocument/2006/relationships}id"
_CELL = re.compile(
    rb"""<(?:\w+:)?c\b([^>]*?)(?<!/)>(.*?)</(?:\w+:)?c\s*>""",
    re.DOTALL,
)
_PLACE = re.compile(rb"""\sr\s*=\s*["']([A-Za-z]+)(\d+)["']""")
_TYPE = re.compile(rb"""\st\s*=\s*["'](\w+)["']""")
_VALUE = re.compile(rb"""<(?:\w+:)?v\b[^>]*>([^<]+)</""")
_FORMULA = re.compile(rb"""<(?:\w+:)?f[\s/>]""")
_NEEDS_A_LOOK = re.compile(rb"""\st\s*=\s*["']e["']|<(?:\w+:)?f[\s/>]""")

NOT_CALCULATED = "#NOT CALCULATED"
"""What stands for a formula whose value the workbook does not hold."""
ERRORS = (
    "#DIV/0!", "#N/A", "#NAME?", "#NULL!", "#NUM!", "#REF!", "#VALUE!", "#SPILL!", "#CALC!", "#GETTING_DATA",
    "#FIELD!", "#BLOCKED!", "#CONNECT!", "#UNKNOWN!", NOT_CALCULATED,
)  # fmt: skip
"""What a cell shows whose formula failed."""

HOW_TO = "how to"
"""The sheet of a template that explains the others; it is read only where a column map names it."""


@dataclass(frozen=True)
class Grid:
    """A sheet's cells as text, from its first row on, and its merged ranges (top, left, bottom, right, from 0)."""

    name: str
    rows: list[list[str]]
    merged: tuple[tuple[int, int, int, int], ...]


@dataclass(frozen=True)
class Workbook:
    """The sheets that were read, and the names of those that were left out because they are hidden."""

    grids: tuple[Grid, ...]
    hidden: tuple[str, ...]


def read_workbook(path: Path, *, where: str, only: str | None = None, decimal: str = ".") -> Workbook:
    """Return a workbook's visible sheets, or the one that is named, hidden or not.

    Formulas count with the value that the workbook holds for them. A cell with an error shows it, as "#DIV/0!".

    Parameters
    ----------
    path
        The workbook.
    where
        Its name for messages.
    only
        The sheet to read.
    decimal
        The mark that numbers are given.

    Raises
    ------
    InputError
        If it cannot be read, is too large, or has no such sheet.
    """
    try:
        check_archive(path, where=where)
        book = calamine.CalamineWorkbook.from_path(str(path))
        sheets = [sheet for sheet in book.sheets_metadata if sheet.typ == calamine.SheetTypeEnum.WorkSheet]
        hidden = [sheet.name for sheet in sheets if sheet.visible != calamine.SheetVisibleEnum.Visible]
        read = [sheet.name for sheet in sheets if sheet.name not in hidden and sheet.name.strip().casefold() != HOW_TO]
        chosen = read if only is None else [sheet.name for sheet in sheets if sheet.name == only]
        if only is not None and not chosen:
            raise InputError(
                f"there is no sheet {only!r}; there are {', '.join(repr(sheet.name) for sheet in sheets)}",
                where=where,
                mend="Correct the sheet's name in the column map.",
            )
        with zipfile.ZipFile(path) as archive:
            parts = _parts(archive)
            grids = [_grid(book, name, archive.read(parts[name]), where, decimal) for name in chosen]
    except calamine.PasswordError as error:
        raise InputError("the workbook is protected by a password", where=where, mend="Save it without one.") from error
    except InputError:
        raise
    except zipfile.BadZipFile as error:
        locked = _is_locked(path)
        what = "the workbook is protected by a password" if locked else f"the workbook cannot be read: {error}"
        raise InputError(what, where=where, mend="Save it without one." if locked else _SAVE_AGAIN) from error
    except MemoryError:
        raise
    except Exception as error:  # the reader's errors have no root of their own
        told = str(error).replace(str(path), where)
        raise InputError(f"the workbook cannot be read: {told}", where=where, mend=_SAVE_AGAIN) from error
    return Workbook(tuple(grids), tuple(name for name in hidden if name not in chosen))


_SAVE_AGAIN = "Open it in a spreadsheet program and save it again as XLSX, or as CSV (UTF-8)."


def _is_locked(path: Path) -> bool:
    """Return whether the file is the container that a password puts around a workbook ([MS-CFB], its signature)."""
    with path.open("rb") as file:
        return file.read(8) == bytes.fromhex("d0cf11e0a1b11ae1")


def _parts(archive: zipfile.ZipFile) -> dict[str, str]:
    """Return the archive's member of each sheet, by the sheet's name."""
    places = {name.casefold().lstrip("/"): name for name in archive.namelist()}
    relations = ElementTree.fromstring(archive.read(places["xl/_rels/workbook.xml.rels"]))
    targets = {each.get("Id"): each.get("Target", "") for each in relations}
    found = {}
    for each in ElementTree.fromstring(archive.read(places["xl/workbook.xml"])).iter():
        if each.tag.endswith("}sheet"):
            target = targets.get(each.get(_RELATION), "")
            target = target.lstrip("/") if target.startswith("/") else f"xl/{target}"
            if target.casefold() in places:
                found[each.get("name", "")] = places[target.casefold()]
    return found


def _grid(book: Any, name: str, xml: bytes, where: str, decimal: str) -> Grid:
    check_sheet_xml(xml, where=f"{where}, sheet {name!r}")
    sheet = book.get_sheet_by_name(name)
    rows = [[_cell_text(cell, decimal) for cell in row] for row in sheet.to_python(skip_empty_area=False)]
    merged = tuple((top, left, bottom, right) for (top, left), (bottom, right) in sheet.merged_cell_ranges or ())
    if _NEEDS_A_LOOK.search(xml):
        _show_failures(rows, xml)
    return Grid(name, rows, merged)


def _show_failures(rows: list[list[str]], xml: bytes) -> None:
    """Put into the rows what the reader leaves empty: errors, and formulas without a value."""
    for found in _CELL.finditer(xml):
        attributes, content = found[1], found[2]
        kind = _TYPE.search(attributes)
        value = _VALUE.search(content)
        is_error = kind is not None and kind[1] == b"e"
        is_open = kind is None and value is None and _FORMULA.search(content) is not None
        place = _PLACE.search(attributes)
        if place is None or not (is_error or is_open):
            continue
        column = 0
        for letter in place[1].upper():
            column = 26 * column + letter - 64
        row = int(place[2])
        said = unescape(value[1].decode("utf-8", "replace")).strip() if value and is_error else NOT_CALCULATED
        while len(rows) < row:
            rows.append([])
        cells = rows[row - 1]
        cells += [""] * (column - len(cells))
        cells[column - 1] = said or NOT_CALCULATED
    width = max((len(cells) for cells in rows), default=0)
    for cells in rows:
        cells += [""] * (width - len(cells))


def _cell_text(cell: Any, decimal: str) -> str:
    """Return a cell as text, without losing digits."""
    if isinstance(cell, str):
        return cell
    if isinstance(cell, bool):
        return "yes" if cell else "no"
    if isinstance(cell, float):
        text = str(int(cell)) if cell.is_integer() and abs(cell) < 2**53 else repr(cell)
        return text.replace(".", decimal)
    if isinstance(cell, datetime):
        return cell.date().isoformat() if cell.time() == time() else cell.isoformat(sep=" ")
    if isinstance(cell, (date, time)):
        return cell.isoformat()
    if isinstance(cell, timedelta):
        return str(cell)
    return "" if cell is None else str(cell)
