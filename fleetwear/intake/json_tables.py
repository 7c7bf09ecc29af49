"""JSON files of tables: ``{"visits": [{"unit": "V101", ...}], "readings": [...]}``, one hand-over as one file.

Each key names a table of ``columns.py``, each object is a row, and its keys are the table's headers. Cells are
texts, numbers, true, false or null, and mean what they mean in a CSV file: a number keeps the digits that it is
written with, null is an empty cell, and units stand beside the number, in a unit column or in the header.
"""

from __future__ import annotations

import json
from dataclasses import replace
from itertools import chain
from typing import TYPE_CHECKING, Any

from fleetwear.errors import InputError
from fleetwear.intake.columns import BY_NAME
from fleetwear.intake.headers import normal_header
from fleetwear.intake.sheets import BrokenRow, Sheet, gather

if TYPE_CHECKING:
    from pathlib import Path

_SHAPE = 'Write it like {"visits": [{"unit": "V101", "visit date": "2026-11-20", ...}], "readings": [...]}.'


def read_json(path: Path, *, shown: str) -> list[Sheet]:
    """Return the tables of a JSON file; the first row of a table has the number 1. Tables without rows are left out.

    Raises
    ------
    InputError
        If the file is no JSON in UTF-8, is not of this form, names a table that there is not, or says a key twice.
    """
    said = _read(path, shown)
    if not isinstance(said, dict):
        raise InputError("the file is not an object of tables", where=shown, mend=_SHAPE)
    sheets: dict[str, Sheet | None] = {}
    for key, rows in said.items():
        name = normal_header(key)
        if name not in BY_NAME:
            raise InputError(f"{key!r} is no table", where=shown, mend=f"Tables are: {', '.join(BY_NAME)}.")
        if name in sheets:
            raise InputError(f"the table {name!r} stands twice", where=shown, mend="Put its rows into one list.")
        if not isinstance(rows, list):
            raise InputError(f"{name!r} is not a list of rows", where=shown, mend=_SHAPE)
        sheets[name] = _sheet(path, shown, name, rows) if rows else None
    found = [sheet for sheet in sheets.values() if sheet is not None and sheet.rows_read]
    if not found:
        raise InputError("no table has a row", where=shown, mend=_SHAPE)
    return found


def _read(path: Path, shown: str) -> Any:
    """Return what the file says, its numbers as they are written."""
    data = path.read_bytes()
    try:
        return json.loads(
            data.decode("utf-8-sig"),
            parse_int=str,
            parse_float=str,
            parse_constant=_no_number,
            object_pairs_hook=lambda pairs: _once(pairs, shown),
        )
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise InputError(
            f"the bytes in line {line} are not UTF-8 text", where=shown, mend="Save it in the encoding UTF-8."
        ) from error
    except (ValueError, RecursionError) as error:
        raise InputError(f"the file cannot be read as JSON: {error}", where=shown, mend=_SHAPE) from error


def _no_number(word: str) -> str:
    raise ValueError(f"{word} is not a number")


def _once(pairs: list[tuple[str, Any]], shown: str) -> dict[str, Any]:
    """Return an object's pairs; of a key that stands twice JSON would keep the last one only."""
    found: dict[str, Any] = {}
    for key, value in pairs:
        if key in found:
            raise InputError(f"{key!r} stands twice in one object", where=shown, mend="Keep one of them.")
        found[key] = value
    return found


def _sheet(path: Path, shown: str, name: str, rows: list[Any]) -> Sheet:
    whole = [(number, row) for number, row in enumerate(rows, start=1) if _is_row(row)]
    header = list(dict.fromkeys(key for _, row in whole for key in row))
    header = header or [column.name for column in BY_NAME[name].columns if column.required]
    records = ((number, [_text(row.get(key)) for key in header]) for number, row in whole)
    broken = [_broken(number, row) for number, row in enumerate(rows, start=1) if not _is_row(row)]
    sheet = gather(path, shown, name, chain([(0, header)], records), None, merged=None)
    return replace(sheet, broken=(*sheet.broken, *broken), names_table=True)


def _is_row(row: Any) -> bool:
    return isinstance(row, dict) and not any(isinstance(cell, (dict, list)) for cell in row.values())


def _text(cell: str | bool | None) -> str:
    if isinstance(cell, bool):
        return "yes" if cell else "no"
    return cell or ""


def _broken(number: int, row: Any) -> BrokenRow:
    if isinstance(row, dict):
        nested = ", ".join(repr(key) for key, cell in row.items() if isinstance(cell, (dict, list)))
        reason = f"a cell holds a list or an object ({nested}): write one text or number there"
    else:
        reason = "the row is not an object with the table's headers as its keys"
    return BrokenRow(number, (json.dumps(row, ensure_ascii=False),), reason)
