"""Which table a sheet holds, told from its header."""

from __future__ import annotations

import difflib
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fleetwear.errors import InputError, UnitError
from fleetwear.intake.columns import TABLES
from fleetwear.units import SPELLINGS, resolve

if TYPE_CHECKING:
    from collections.abc import Sequence

    from fleetwear.intake.columns import Column, Table
    from fleetwear.units import Quantity

_BRACKETS = re.compile(r"(.*?)\s*[(\[]\s*(.*?)\s*[)\]]\s*")


@dataclass(frozen=True)
class Recognised:
    """A sheet's table, and where each of its columns stands.

    Attributes
    ----------
    table
        The table.
    positions
        The place in the header of each column that is there, by the column's name.
    header_units
        The unit that stands in a column's header, by the column's name.
    ignored
        The headers that name no column, each with the nearest that does, in words.
    """

    table: Table
    positions: dict[str, int]
    header_units: dict[str, str]
    ignored: tuple[str, ...]


def normal_header(header: str) -> str:
    """Return a header in small letters with single spaces, as headers are compared."""
    return " ".join(re.sub(r"[\s_\-./#:]+", " ", header.casefold()).split())


def recognise(
    header: Sequence[str], *, where: str = "", in_workbook: bool = False, among: Sequence[Table] = TABLES
) -> Recognised:
    """Return the table that a header belongs to.

    Parameters
    ----------
    header
        The header's cells.
    where
        The place for messages.
    in_workbook
        Whether the header is of a sheet of a workbook, which can be hidden, and not of a file of its own.
    among
        The tables that it can be; one where the file itself names the table.

    Raises
    ------
    InputError
        If the table that knows most of the header lacks a required column, or two headers mean one.
    UnitError
        If the brackets behind a play or distance hold something that is no unit of it.
    """
    fits = [_match(table, header) for table in among]
    complete = [fit for fit in fits if not fit.missing]
    most_known = max(len(fit.found) for fit in fits)
    if not any(len(fit.found) == most_known for fit in complete):
        # A readings file with a misspelt header would pass for a visits file and lose its readings.
        raise _no_table(fits, header, where=where, in_workbook=in_workbook)
    best = max(complete, key=lambda fit: (len(fit.found), sum(c.required for c in fit.table.columns)))
    for name, places in best.found.items():
        if len(places) > 1:
            both = " and ".join(repr(header[place]) for place in places)
            raise InputError(
                f"the headers {both} both mean {name!r} in a {best.table.name} file",
                where=where,
                mend="Keep one of them, or rename the other.",
            )
    positions = {name: places[0] for name, places in best.found.items()}
    units = {}
    for name, place in positions.items():
        unit = header_unit(best.table.column(name), header[place], where=where)
        if unit is not None:
            units[name] = unit
    taken = set(positions.values())
    ignored = tuple(say_ignored(header[i], best.table) for i in range(len(header)) if i not in taken)
    return Recognised(best.table, positions, units, ignored)


@dataclass(frozen=True)
class _Match:
    table: Table
    found: dict[str, list[int]]
    missing: tuple[str, ...]


def _match(table: Table, header: Sequence[str]) -> _Match:
    found: dict[str, list[int]] = {}
    for place, cell in enumerate(header):
        column = column_named(cell, table)
        if column is not None:
            found.setdefault(column.name, []).append(place)
    missing = tuple(c.name for c in table.columns if c.required and c.name not in found)
    return _Match(table, found, missing)


def _quantity(column: Column) -> Quantity | None:
    if column.content == "play":
        return "play"
    return "distance" if column.content == "distance" else None


def column_named(cell: str, table: Table) -> Column | None:
    """Return the column that a header names: plain, before brackets, or before a trailing unit."""
    whole = normal_header(cell)
    bracket = _BRACKETS.fullmatch(cell)
    plain = normal_header(bracket[1]) if bracket else whole
    for column in table.columns:
        if plain in (column.name, *column.also):
            return column
    stem, _, last = whole.rpartition(" ")
    for column in table.columns:
        quantity = _quantity(column)
        if quantity and last in SPELLINGS[quantity] and stem in (column.name, *column.also):
            return column
    return None


def header_unit(column: Column, cell: str, *, where: str | None = None) -> str | None:
    """Return the unit that stands in a column's header; without a place for messages, None for an unknown one."""
    quantity = _quantity(column)
    if quantity is None:
        return None
    bracket = _BRACKETS.fullmatch(cell)
    if bracket:
        try:
            return resolve(bracket[2], quantity)
        except UnitError as error:
            if where is None:
                return None
            raise UnitError(
                f"the header {cell!r} names an unknown {quantity} unit", where=where, mend=error.mend
            ) from error
    whole = normal_header(cell)
    if whole in (column.name, *column.also):
        return None
    last = whole.rpartition(" ")[2]
    return None if where is None and last not in SPELLINGS[quantity] else resolve(last, quantity)


def say_ignored(cell: str, table: Table) -> str:
    """Return a header that names no column, with the nearest that does."""
    names = [name for column in table.columns for name in (column.name, *column.also)]
    near = difflib.get_close_matches(normal_header(cell), names, n=1)
    return f"{cell!r} (did you mean {near[0]!r}?)" if near else repr(cell)


def _no_table(fits: list[_Match], header: Sequence[str], *, where: str, in_workbook: bool) -> InputError:
    nearest = max((fit for fit in fits if fit.missing), key=lambda fit: (len(fit.found), -len(fit.missing)))
    taken = {place for places in nearest.found.values() for place in places}
    free = {normal_header(cell): cell for i, cell in enumerate(header) if i not in taken}
    says = []
    for name in nearest.missing:
        near = difflib.get_close_matches(name, list(free), n=1, cutoff=0.4)
        says.append(f"{name!r}" + (f" (nearest header: {free[near[0]]!r})" if near else ""))
    otherwise = (
        "if the sheet is no table, hide it in the workbook: hidden sheets are left out."
        if in_workbook
        else "if the file is no table, load the other files without it."
    )
    return InputError(
        f"the header fits no table; nearest is {nearest.table.name} ({nearest.table.says}), "
        f"which also needs {', '.join(says)}",
        where=where,
        mend=f"Rename or add these columns; {otherwise}",
    )
