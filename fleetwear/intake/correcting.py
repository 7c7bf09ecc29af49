"""Corrections of rows in the store: each brings a row that supersedes another, or withdraws one; nothing is changed."""

from __future__ import annotations

import hashlib
import re
import time
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import pandas as pd
import pyarrow as pa

from fleetwear.intake import quarantine
from fleetwear.intake.questions import ask
from fleetwear.intake.rewriting import ID_COLUMNS, Standing, changed_cells, find_column, read_row, rewrite
from fleetwear.intake.sheet_loading import SheetLoad, count_reasons
from fleetwear.intake.statements import statement
from fleetwear.intake.summary import LoadSummary

if TYPE_CHECKING:
    from collections.abc import Iterable

ROW_NAMES = {
    "vehicle": "vehicles",
    "limit": "limits",
    "odometer": "odometer",
    "service": "services",
    "part": "parts",
    "visit": "visits",
    "reading": "readings",
    "work": "work",
}
"""What one row of each table is called."""

WITHDRAW, REINSTATE = "withdraw", "reinstate"
"""What stands in the column "change" in place of values."""

_CALLED = {table: name for name, table in ROW_NAMES.items()}
_ALSO = {"replacement": "work"}


def table_called(name: str) -> str:
    """Return the table whose rows are called so, or ``""``."""
    word = name.casefold()
    return _ALSO.get(word) or ROW_NAMES.get(word) or (word if word in ID_COLUMNS else "")


def say_changes(changes: dict[str, str]) -> str:
    """Return changes as the column "change" of a corrections file holds them."""
    return "; ".join(f"{name}={value.replace(';', chr(92) + ';')}" for name, value in changes.items())


def read_changes(text: str) -> dict[str, str] | str:
    """Return the changes that the column "change" tells, by name, or why they cannot be read."""
    changes = {}
    for part in re.split(r"(?<!\\);", text):
        name, sign, value = part.replace("\\;", ";").partition("=")
        if not sign or not name.strip():
            return (
                f'change "{part.strip()}" is not understood: write column=value, several parted by semicolons, '
                f'or "{WITHDRAW}" or "{REINSTATE}"'
            )
        changes[name.strip()] = value.strip()
    return changes


@dataclass(frozen=True)
class _Asked:
    """One row of a corrections file whose own cells are right."""

    table: str
    row_id: int
    change: str
    why: str
    by: str
    settles: int | None


class CorrectionsLoad(SheetLoad):
    """The loading of one sheet of corrections inside its file's transaction; one after the other, in their order."""

    def run(self) -> LoadSummary:
        """Carry the corrections out and return what became of them."""
        started = time.monotonic() - self.reading_seconds
        nothing = {"rows_read": self.sheet.rows_read, "rows_in": 0, "rows_known": 0, "rows_quarantined": 0}
        load_id = self._record(nothing, elapsed=0.0)
        refused: list[tuple[int, list[str]]] = []
        done: list[tuple[int, int | None]] = []
        corrected: set[int] = set()
        known = aside = 0
        for n, row in enumerate(self._rows()):
            asked = _understand(row)
            if isinstance(asked, list):
                refused.append((n, asked))
                continue
            key = hashlib.md5(repr((asked.table, asked.row_id, asked.change, asked.why, asked.by)).encode()).hexdigest()
            if self.con.execute("select 1 from corrections where row_key = $key", {"key": key}).fetchall():
                known += 1
                continue
            reasons, freed, put_aside = self._correct(asked, n, key, load_id=load_id)
            if reasons:
                refused.append((n, reasons))
                continue
            aside += put_aside
            corrected |= freed
            done.append((n, asked.settles))
        return self._close(load_id, refused, done, corrected, known=known, aside=aside, started=started)

    def _rows(self) -> list[dict[str, str]]:
        columns = {name: self.sheet.cells.column(i).to_pylist() for name, i in self.recognised.positions.items()}
        return [
            {name: (cells[n] or "").replace("\xa0", " ").strip() for name, cells in columns.items()}
            for n in range(len(self.sheet.row_numbers))
        ]

    def _correct(self, asked: _Asked, n: int, key: str, *, load_id: int) -> tuple[list[str], set[int], int]:
        """Carry one correction out; return why not, or the quarantined copies it settles and the rows set aside."""
        row = read_row(self.con, asked.table, asked.row_id)
        called = f"{_CALLED[asked.table]} {asked.row_id}"
        if row is None:
            return [f"there is no {called}: `fleetwear history UNIT` prints the numbers"], set(), 0
        action, cells, reasons = _plan(row, asked.change, called)
        if reasons:
            return reasons, set(), 0
        correction_id = self._take_ids("correction_ids", 1)
        self._run(
            "insert_correction",
            correction_id=correction_id,
            table_name=asked.table,
            row_id=asked.row_id,
            new_row_id=None if action == "withdrawn" else -1,
            action=action,
            changes=asked.change if action == "corrected" else "",
            why=asked.why,
            corrected_by=asked.by,
            corrected_at=self.loaded_at,
            load_id=load_id,
            source_row=self.sheet.row_numbers[n].as_py(),
            row_key=key,
        )
        aside = 0
        if action != "withdrawn":
            made = rewrite(
                self.con,
                row,
                cells,
                place=(self.sheet.path, self.sheet.name, self.sheet.row_numbers[n].as_py()),
                correction_id=correction_id,
                load_id=load_id,
                sha256=self.sha256,
                today=self.today,
                loaded_at=self.loaded_at,
            )
            if made.row_id is None:
                self.con.execute("delete from corrections where correction_id = $id", {"id": correction_id})
                return list(made.reasons), set(), 0
            self.con.execute(
                "update corrections set new_row_id = $new where correction_id = $id",
                {"new": made.row_id, "id": correction_id},
            )
            aside = made.set_aside
        copies = self.con.execute(
            statement("quarantine_of_row"), {"table_name": asked.table, "row_id": asked.row_id}
        ).fetchall()
        return [], {int(copy[0]) for copy in copies}, aside

    def _close(
        self,
        load_id: int,
        refused: list[tuple[int, list[str]]],
        done: list[tuple[int, int | None]],
        corrected: set[int],
        *,
        known: int,
        aside: int,
        started: float,
    ) -> LoadSummary:
        """Quarantine what was refused, settle what was settled, and put the counts into the load's record."""
        table = self._refused_rows(refused)
        fresh = quarantine.new_to_quarantine(
            self.con, table, file_name=self._file, sheet=self.sheet.name, table=self._table
        )
        self._quarantine(fresh, pd.DataFrame(columns=["vehicle_id"]), load_id=load_id)
        self._tell_done(done)
        settled = sorted({*self._settled(), *corrected})
        asked = 0
        elapsed = time.monotonic() - started
        if done or len(fresh) or settled:
            if settled:
                quarantine.settle(self.con, settled, load_id=load_id, settled_at=self.loaded_at)
            asked = ask(self.con, load_id=load_id)
            self.con.execute(
                "update loads set rows_in = $rows_in, rows_known = $rows_known, rows_quarantined = $refused, "
                "elapsed_seconds = $elapsed where load_id = $load_id",
                {
                    "rows_in": len(done),
                    "rows_known": known,
                    "refused": len(fresh),
                    "elapsed": elapsed,
                    "load_id": load_id,
                },
            )
        else:
            self.con.execute("delete from loads where load_id = $load_id", {"load_id": load_id})
        return LoadSummary(
            file=self._file,
            sheet=self.sheet.name,
            table=self._table,
            rows_read=self.sheet.rows_read,
            rows_in=len(done),
            rows_known=known,
            rows_quarantined=len(fresh),
            rows_quarantined_before=len(table) - len(fresh),
            settled=len(settled),
            set_aside=aside,
            questions=asked,
            reasons=count_reasons(fresh),
            ignored=self.recognised.ignored,
            elapsed_seconds=elapsed,
        )

    def _refused_rows(self, refused: Iterable[tuple[int, list[str]]]) -> pa.Table:
        self.con.execute(
            "create or replace temp table checked (n bigint, reasons varchar[])",
        )
        rows = list(refused)
        if rows:
            self.con.executemany("insert into checked (n, reasons) values (?, ?)", rows)
        return self._refused(pd.DataFrame(columns=["n", "reason"]))

    def _tell_done(self, done: list[tuple[int, int | None]]) -> None:
        """Make the tables that tell which rows may have settled others."""
        self.con.execute(
            "create or replace temp table checked "
            "(n bigint, source_row bigint, settles bigint, row_key varchar, reasons varchar[])"
        )
        self._run("keyed")
        self.con.execute("create or replace temp table refused_in_sheet (n bigint)")
        if done:
            rows = [(n, self.sheet.row_numbers[n].as_py(), settles) for n, settles in done]
            self.con.executemany("insert into checked (n, source_row, settles, reasons) values (?, ?, ?, [])", rows)


def _understand(row: dict[str, Any]) -> _Asked | list[str]:
    """Return what a row of a corrections file asks for, or what is wrong with its own cells."""
    reasons = [f"{name} is empty: it must be filled in" for name in ("table", "number", "change", "why", "by")
               if not row[name]]  # fmt: skip
    table = table_called(row["table"])
    if row["table"] and not table:
        known = ", ".join(f'"{name}"' for name in ROW_NAMES)
        reasons.append(f'table "{row["table"]}" has no rows that can be corrected; known: {known}')
    reasons += [
        f'{name} "{row[name]}" is not a whole number: write it in digits, like 12'
        for name in ("number", "quarantine number")
        if row.get(name) and not re.fullmatch(r"\d{1,15}", row[name])
    ]
    if reasons:
        return reasons
    settles = row.get("quarantine number")
    return _Asked(table, int(row["number"]), row["change"], row["why"], row["by"], int(settles) if settles else None)


def _plan(row: Standing, change: str, called: str) -> tuple[str, dict[str, str | None], list[str]]:
    """Return the action, the new cells, and what speaks against it."""
    word = change.casefold()
    if row.became in ("corrected", "reinstated"):
        said = f"{called} was already {row.became} by {row.became_by} on {row.became_at:%Y-%m-%d %H:%M} UTC"
        mend = f"{_CALLED[row.table]} {row.new_row_id} stands in its place: correct that one, if it is still wrong"
        return "", {}, [f"{said}; {mend}"]
    if row.became == "withdrawn":
        if word == REINSTATE:
            return "reinstated", dict(row.cells), []
        said = f"{called} was already withdrawn by {row.became_by} on {row.became_at:%Y-%m-%d %H:%M} UTC"
        return "", {}, [f"{said}: reinstate it first"]
    if word == REINSTATE:
        return "", {}, [f"{called} is not withdrawn: there is nothing to reinstate"]
    if word == WITHDRAW:
        return "withdrawn", {}, []
    said_changes = read_changes(change)
    if isinstance(said_changes, str):
        return "", {}, [said_changes]
    changes, reasons = {}, []
    for name, value in said_changes.items():
        column = find_column(row.table, name)
        if isinstance(column, str):
            reasons.append(column)
        else:
            changes[column.name] = value
    if row.table == "vehicles" and changes.get("unit", row.cells["unit"]) != row.cells["unit"]:
        reasons.append(
            "the unit number tells vehicles apart and cannot be corrected: withdraw this row and load the right"
        )
    cells = changed_cells(row, changes)
    if not reasons and all(cells.get(name) == row.cells.get(name) for name in changes):
        reasons.append(f"{called} says just that already")
    return "corrected", cells, reasons
