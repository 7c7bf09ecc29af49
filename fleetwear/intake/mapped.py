"""A sheet read with a column map: its columns under their own names, and a row a reading where joints have columns."""

from __future__ import annotations

import difflib
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pyarrow as pa

from fleetwear.errors import InputError
from fleetwear.intake.headers import Recognised, column_named, header_unit, normal_header, say_ignored
from fleetwear.intake.sheets import PLAY_OF_JOINT, BrokenRow

if TYPE_CHECKING:
    from fleetwear.intake.column_maps import ColumnMap
    from fleetwear.intake.sheets import Sheet


def apply_map(sheet: Sheet, columns: ColumnMap) -> tuple[Sheet, Recognised]:
    """Return the sheet as the map describes it, and where each of the table's columns stands in it.

    Headers that the map does not name count where they are the project's own.

    Raises
    ------
    InputError
        If the sheet lacks a header that the map names, or a column that the table needs.
    """
    places = {name: _place(sheet, header, columns) for name, header in columns.columns.items()}
    joints = {header: _place(sheet, header, columns) for header in columns.readings}
    used = [*places.values(), *joints.values()]
    twice = next((sheet.header[place] for place in used if used.count(place) > 1), None)
    if twice is not None:
        raise InputError(f"the header {twice!r} is named twice", where=columns.name, mend="Name each header once.")
    said = {*places, *columns.constants, *(name for each in columns.readings.values() for name in each)}
    said |= {"play"} if joints else set()
    for place, header in enumerate(sheet.header):
        column = column_named(header, columns.table)
        if place not in used and column is not None and column.name not in said:
            places[column.name] = place
            said.add(column.name)
    missing = [column.name for column in columns.table.columns if column.required and column.name not in said]
    if missing:
        raise InputError(
            f"the column map gives no {', '.join(repr(name) for name in missing)}, which {columns.table.name} need",
            where=f"{sheet.where}, {columns.name}",
            mend=f"Name its header below [columns], or what it always is below [constants]. {_headers(sheet)}",
        )
    units = _units(sheet, columns, places)
    taken = {*places.values(), *joints.values()}
    ignored = tuple(
        say_ignored(header, columns.table) for place, header in enumerate(sheet.header) if place not in taken
    )
    own = [place for place in range(len(sheet.header)) if place not in joints.values()]
    positions = {name: own.index(place) for name, place in places.items()}
    kept = replace(
        sheet,
        header=tuple(sheet.header[place] for place in own),
        cells=_renumbered(sheet.cells.select(own)),
        own_width=len(own),
    )
    if joints:
        kept = _spread(sheet, kept, columns, joints)
        for name in {name for each in columns.readings.values() for name in each}:
            positions[name] = kept.header.index(_added(name))
        positions["play"] = kept.header.index(PLAY_OF_JOINT)
    for name, text in columns.constants.items():
        positions[name] = len(kept.header)
        cells = kept.cells.append_column(str(len(kept.header)), _same(text, kept.cells.num_rows))
        kept = replace(kept, header=(*kept.header, _added(name)), cells=cells)
    return kept, Recognised(columns.table, positions, units, ignored)


def _added(name: str) -> str:
    return f"{name} (column map)"


def _headers(sheet: Sheet) -> str:
    return f"The sheet has {', '.join(repr(header) for header in sheet.header)}."


def _place(sheet: Sheet, header: str, columns: ColumnMap) -> int:
    if header in sheet.header:
        return sheet.header.index(header)
    alike = [place for place, each in enumerate(sheet.header) if normal_header(each) == normal_header(header)]
    if len(alike) == 1:
        return alike[0]
    near = difflib.get_close_matches(header, sheet.header, n=1)
    raise InputError(
        f"the column map names the header {header!r}, which is not there"
        + (f"; nearest is {near[0]!r}" if near else ""),
        where=f"{sheet.where}, {columns.name}",
        mend=f"Correct it in the column map. {_headers(sheet)}",
    )


def _units(sheet: Sheet, columns: ColumnMap, places: dict[str, int]) -> dict[str, str]:
    """Return the unit of each column's numbers; what the map says must not contradict the header."""
    units = dict(columns.units)
    for name, place in places.items():
        unit = header_unit(columns.table.column(name), sheet.header[place])
        if unit is None:
            continue
        if units.setdefault(name, unit) != unit:
            raise InputError(
                f"the column map says that {name} is in {units[name]} and the header {sheet.header[place]!r} {unit}",
                where=f"{sheet.where}, {columns.name}",
                mend="Correct the one that is wrong.",
            )
    return units


def _same(text: str, rows: int) -> pa.ChunkedArray:
    return pa.chunked_array([pa.repeat(pa.scalar(text, pa.string()), rows)])


def _renumbered(cells: pa.Table) -> pa.Table:
    return cells.rename_columns([str(place) for place in range(cells.num_columns)])


def _spread(sheet: Sheet, kept: Sheet, columns: ColumnMap, joints: dict[str, int]) -> Sheet:
    """Return the sheet with a row for each cell under a joint's header that holds something."""
    names = sorted({name for each in columns.readings.values() for name in each})
    parts, rows, order, headers = [], [], [], []
    for number, (header, place) in enumerate(joints.items()):
        plays = sheet.cells.column(place).to_pylist()
        filled = [row for row, cell in enumerate(plays) if cell.strip() and cell.strip() not in columns.notation.blank]
        chosen = kept.cells.take(pa.array(filled, pa.int64()))
        for name in names:
            chosen = chosen.append_column(_added(name), _same(columns.readings[header].get(name, ""), len(filled)))
        parts.append(chosen.append_column(PLAY_OF_JOINT, pa.array([plays[row] for row in filled], pa.string())))
        rows += filled
        order += [number] * len(filled)
        headers += [sheet.header[place]] * len(filled)
    sorting = np.lexsort((np.array(order, dtype=np.int64), np.array(rows, dtype=np.int64)))
    cells = pa.concat_tables(parts).take(pa.array(sorting, pa.int64()))
    held = set(rows)
    numbers = sheet.row_numbers.to_pylist()
    everything = [column.to_pylist() for column in sheet.cells.columns]
    empty = tuple(
        BrokenRow(
            numbers[row],
            tuple(column[row] for column in everything),
            f"there is no reading under any of {', '.join(repr(header) for header in joints)}",
        )
        for row in range(len(numbers))
        if row not in held
    )
    return replace(
        kept,
        header=(*kept.header, *(_added(name) for name in names), PLAY_OF_JOINT),
        cells=_renumbered(cells),
        row_numbers=pa.chunked_array([pa.array([numbers[rows[place]] for place in sorting], pa.int64())]),
        broken=(*sheet.broken, *empty),
        written_header=sheet.header,
        spread_over=tuple(headers[place] for place in sorting),
    )
