"""A row of the store written anew with some cells changed: checked as its own file's row would be."""

from __future__ import annotations

import difflib
import json
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pyarrow as pa

from fleetwear.intake.columns import BY_NAME
from fleetwear.intake.headers import Recognised, normal_header
from fleetwear.intake.set_aside import set_aside
from fleetwear.intake.sheet_loading import SheetLoad
from fleetwear.intake.sheets import Sheet
from fleetwear.intake.statements import statement
from fleetwear.store import sql

if TYPE_CHECKING:
    from datetime import date, datetime

    import duckdb

    from fleetwear.intake.columns import Column

ID_COLUMNS = {
    "vehicles": "vehicle_row_id",
    "limits": "limit_id",
    "odometer": "odometer_id",
    "services": "service_id",
    "parts": "part_id",
    "visits": "visit_id",
    "readings": "reading_id",
    "work": "work_id",
}
"""The tables whose rows can be corrected, each with the column of its numbers."""

_LEFT_OUT = "quarantine number"


@dataclass(frozen=True)
class Standing:
    """A row of the store as it would be written, and what became of it.

    Attributes
    ----------
    table, row_id
        The row.
    cells
        What stands under each header.
    became
        What the latest correction of it did ("corrected", "withdrawn" ...), None without one.
    new_row_id, became_by, became_at
        What stands in its place, and who said so when.
    given
        Of a reading: the cells that must keep their value though they did not stand in its row.
    """

    table: str
    row_id: int
    cells: dict[str, str | None]
    became: str | None
    new_row_id: int | None
    became_by: str | None
    became_at: datetime | None
    given: dict[str, str | None] = field(default_factory=dict)


def read_row(con: duckdb.DuckDBPyConnection, table: str, row_id: int) -> Standing | None:
    """Return a row of the store, None where there is no such row."""
    key = {"table_name": table, "row_id": row_id, "vehicle_id": None}
    found = con.execute(sql("history/rows"), key).fetchall()
    if not found:
        return None
    names = [column[0] for column in con.description or []]
    row = dict(zip(names, found[-1], strict=True))
    standing = Standing(
        table,
        row_id,
        json.loads(row["cells"]),
        row["became"],
        row["new_row_id"],
        row["became_by"],
        row["became_at"],
    )
    return _as_said(con, standing) if table == "readings" else standing


def _as_said(con: duckdb.DuckDBPyConnection, row: Standing) -> Standing:
    """Return a reading with only those of session, stroke and shop that its file said."""
    said = con.execute(statement("reading_as_said"), {"reading_id": row.row_id}).fetchall()
    with_session, with_stroke, shop = said[0] if said else (True, True, None)
    given = {"session": row.cells["session"], "stroke": row.cells["stroke"]}
    kept = {"session": with_session, "stroke": with_stroke}
    cells = {name: None if name in kept and not kept[name] else cell for name, cell in row.cells.items()}
    return replace(row, cells=cells | {"shop": shop}, given=given)


def find_column(table: str, name: str) -> Column | str:
    """Return the column of a table that a name means, or why there is none."""
    columns = [column for column in BY_NAME[table].columns if column.name != _LEFT_OUT]
    wanted = normal_header(name)
    for column in columns:
        if wanted in (column.name, *column.also):
            return column
    near = difflib.get_close_matches(wanted, [column.name for column in columns], n=1, cutoff=0.4)
    hint = f'; nearest is "{near[0]}"' if near else ""
    return f'"{name}" is no column of {table}{hint}: name one of ' + ", ".join(f'"{c.name}"' for c in columns)


def changed_cells(row: Standing, changes: dict[str, str]) -> dict[str, str | None]:
    """Return a row's cells with changes, by the columns' own names; an empty change empties the cell.

    A new play tells its own result, and a new result that is no measurement has no play.
    """
    cells: dict[str, str | None] = row.cells | {name: value.strip() or None for name, value in changes.items()}
    if row.table == "readings":
        if "play" in changes and "result" not in changes and cells["play"]:
            cells["result"] = None
        if "result" in changes and "play" not in changes and normal_header(cells["result"] or "") != "measured":
            cells["play"] = None
    return cells


@dataclass(frozen=True)
class Rewritten:
    """The row that stands now (None: refused, and why), and how many other rows that set aside."""

    row_id: int | None
    reasons: tuple[str, ...] = ()
    set_aside: int = 0


@dataclass
class Rewrite(SheetLoad):
    """One row of one table inside a load of corrections; the row that it supersedes is out of the way already."""

    correction_id: int = field(kw_only=True)
    given: dict[str, str | None] = field(kw_only=True)
    row_id: int = field(kw_only=True)

    def attempt(self, load_id: int) -> Rewritten:
        """Check the row as its own file's row, store it, and return what became of it."""
        self._check()
        reasons = self.con.execute("select reasons from checked").fetchall()[0][0]
        if self._table == "vehicles" and not reasons:
            reasons = self._stay_the_vehicle()
        if self._table == "visits" and not reasons:
            reasons = self._leave_no_reading()
        if reasons:
            return Rewritten(None, tuple(reasons))
        home = "visit_notes" if self._table == "visits" else self._table
        content = (
            "said_by(c) as content from placed_readings as c" if self._table == "readings" else "content from checked"
        )
        self.con.execute(f"create or replace temp view contents as select {content}")
        key = self.con.execute(statement("key_of_rewrite").replace("table_of_rows", home)).fetchall()[0][0]
        self.con.execute("update checked set row_key = $key", {"key": key})
        self.con.execute("create or replace temp table own_keys as select n, row_key from checked")
        for name, value in self.given.items():
            self.con.execute(f"update checked set {name} = coalesce({name}, $value::integer)", {"value": value})
        self._run("keyed")
        self.con.execute("create or replace temp table known (n bigint, row_id bigint)")
        self.con.execute("create or replace temp table left_out (n bigint)")
        self.con.execute("create or replace temp table refused_in_sheet (n bigint)")
        self._run("taken")
        contradicted, found_out = self._contradictions()
        if len(contradicted):
            return Rewritten(None, tuple(contradicted["reason"]))
        aside = set_aside(self.con, found_out, load_id=load_id, next_id=lambda: self._take_ids("quarantine_ids", 1))
        self._insert(load_id)
        number = self.con.execute(
            f"select {ID_COLUMNS[self._table]} from {home} where row_key = $key", {"key": key}
        ).fetchall()[0][0]
        return Rewritten(int(number), set_aside=aside)

    def _stay_the_vehicle(self) -> list[str]:
        """Have the row describe the vehicle that the old one did; return why it cannot, if it is another one's number.

        Visits and work are tied to the vehicle: a corrected identification number must not leave them behind.
        """
        self._run("kept_vehicle", row_id=self.row_id)
        found = self.con.execute(statement("vehicle_of_number")).fetchall()
        self._run("same_vehicle")
        return [
            f'vin "{vin}" is that of unit "{unit}", which is another vehicle on record: correct it there, or withdraw '
            "this row and load the right one"
            for vin, unit in found
        ]

    def _leave_no_reading(self) -> list[str]:
        """Return why a visit cannot become another vehicle's: its readings are of joints of the one that it was."""
        found = self.con.execute(statement("readings_left_behind"), {"row_id": self.row_id}).fetchall()
        return [
            f'{n} readings were taken at this visit of unit "{unit}", and they do not go over to unit "{new_unit}": '
            "withdraw the visit, and its readings with it, and load them all for the right unit"
            for unit, new_unit, n in found
        ]

    @property
    def _is_rewrite(self) -> bool:
        return True

    @property
    def _visit_salt(self) -> str:
        taken = self.con.execute(statement("visits_of_same_key")).fetchall()[0][0]
        return f" correction {self.correction_id}" if taken else ""


def rewrite(
    con: duckdb.DuckDBPyConnection,
    row: Standing,
    cells: dict[str, str | None],
    *,
    place: tuple[Path, str | None, int],
    correction_id: int,
    load_id: int,
    sha256: str,
    today: date,
    loaded_at: datetime,
) -> Rewritten:
    """Store a row with these cells in place of another, and return what became of it.

    Parameters
    ----------
    con
        The writer, prepared, with the correction of the old row on record.
    row, cells
        The old row, and the new cells by column.
    place
        File, sheet and row that say so.
    correction_id, load_id
        The correction and its load.
    sha256, today, loaded_at
        As in `SheetLoad`.
    """
    table = BY_NAME[row.table]
    names = [column.name for column in table.columns if column.name != _LEFT_OUT]
    columns: dict[str, Any] = {str(i): pa.array([cells.get(name)], pa.string()) for i, name in enumerate(names)}
    file, sheet_name, source_row = place
    sheet = Sheet(
        path=file,
        name=sheet_name,
        header=tuple(names),
        header_row=1,
        cells=pa.table(columns),
        row_numbers=pa.chunked_array([pa.array([source_row], pa.int64())]),
    )
    given = {name: value for name, value in row.given.items() if cells.get(name) is None}
    return Rewrite(
        con,
        sheet,
        Recognised(table, {name: i for i, name in enumerate(names)}, {}, ()),
        sha256=sha256,
        today=today,
        loaded_at=loaded_at,
        correction_id=correction_id,
        given=given,
        row_id=row.row_id,
    ).attempt(load_id)
