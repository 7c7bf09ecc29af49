"""One sheet's rows checked against the contract and the store: good ones in, the others to quarantine."""

from __future__ import annotations

import time
from contextlib import nullcontext
from dataclasses import dataclass
from typing import TYPE_CHECKING

import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc

from fleetwear import __version__
from fleetwear.intake import quarantine
from fleetwear.intake.coded_cells import read_coded
from fleetwear.intake.identity import ask_same_visits, ask_sides, vehicle_remarks
from fleetwear.intake.odometer_check import find_contradictions
from fleetwear.intake.questions import ask
from fleetwear.intake.set_aside import set_aside
from fleetwear.intake.statements import statement
from fleetwear.intake.summary import LoadSummary
from fleetwear.intake.words import word_table
from fleetwear.units import spelling_table

if TYPE_CHECKING:
    from contextlib import AbstractContextManager
    from datetime import date, datetime

    import duckdb

    from fleetwear.intake.coded_cells import CodedCells
    from fleetwear.intake.headers import Recognised
    from fleetwear.intake.sheets import Sheet

_ID_SEQUENCES = {
    "vehicles": "vehicle_ids",
    "positions": "position_ids",
    "limits": "limit_ids",
    "wheel_limits": "wheel_limit_ids",
    "services": "service_ids",
    "parts": "part_ids",
    "visits": "visit_note_ids",
    "readings": "reading_ids",
    "wheel_checks": "wheel_check_ids",
    "work": "work_ids",
    "odometer": "odometer_ids",
    "stock": "stock_ids",
    "actions": "action_ids",
}
_OF_VISITS = ("visits", "readings", "wheel_checks")
_OF_MODELS = ("positions", "limits", "wheel_limits", "parts")
_WITH_JOINTS = {"visits": ("symptom_joint", "visit_date"), "readings": ("joint", "visit_date"),
                "work": ("joint", "work_date"), "actions": ("joint", "action_date")}  # fmt: skip
_WITHOUT_ODOMETER = (*_OF_MODELS, "stock", "actions")
_MOST_REASONS = 50


def prepare(con: duckdb.DuckDBPyConnection) -> None:
    """Give a connection the macros and the tables of words and units that the checks use."""
    con.execute(statement("macros"))
    for name, frame in (("words", word_table()), ("unit_spellings", spelling_table())):
        con.register("frame", frame)
        con.execute(f"create or replace temp table {name} as select * from frame")
        con.unregister("frame")


def begin_file(con: duckdb.DuckDBPyConnection) -> None:
    """Forget what the file before has said."""
    con.execute("create or replace temp table said_in_file (table_name varchar, row_key varchar, times bigint)")


@dataclass
class SheetLoad:
    """The loading of one sheet inside its file's transaction; `run` does it and returns the summary."""

    con: duckdb.DuckDBPyConnection
    sheet: Sheet
    recognised: Recognised
    sha256: str
    today: date
    loaded_at: datetime
    reading_seconds: float = 0.0
    """How long the file took to read, which counts as part of the load."""
    is_last: bool = True
    """Whether no other sheet of the file follows."""

    def run(self) -> LoadSummary:
        """Check the rows, store them, and return what became of them."""
        started = time.monotonic() - self.reading_seconds
        self._check()
        self._tell_known_from_new()
        contradicted, found_out = self._contradictions()
        refused = self._refused(contradicted)
        fresh = quarantine.new_to_quarantine(
            self.con, refused, file_name=self._file, sheet=self.sheet.name, table=self._table
        )
        rows_in = self._count("taken")
        changed = self._changed() if self._table == "readings" and rows_in else 0
        settled = self._settled()
        counts = {
            "rows_read": self.sheet.rows_read,
            "rows_in": rows_in,
            "rows_known": self.sheet.rows_read - rows_in - len(refused),
            "rows_quarantined": len(fresh),
        }
        aside = asked = 0
        remarks: tuple[str, ...] = ()
        if rows_in or len(fresh) or settled:
            load_id = self._record(counts, elapsed=time.monotonic() - started)
            self._quarantine(fresh, contradicted, load_id=load_id)
            aside = set_aside(self.con, found_out, load_id=load_id, next_id=lambda: self._take_ids("quarantine_ids", 1))
            self._insert(load_id)
            if settled:
                quarantine.settle(self.con, settled, load_id=load_id, settled_at=self.loaded_at)
            if self._table == "readings" and rows_in:
                asked = ask(self.con, load_id=load_id) + ask_sides(self.con, load_id=load_id, file_name=self._file)
            if self._table in _OF_VISITS and rows_in:
                asked += ask_same_visits(self.con, load_id=load_id)
            if self._table == "vehicles" and rows_in:
                remarks = vehicle_remarks(self.con, load_id=load_id)
        return LoadSummary(
            file=self._file,
            sheet=self.sheet.name,
            table=self._table,
            **counts,
            rows_quarantined_before=len(refused) - len(fresh),
            settled=len(settled),
            set_aside=aside,
            questions=asked,
            changed=changed,
            reasons=count_reasons(fresh),
            ignored=self.recognised.ignored,
            remarks=(*self.sheet.left_out, *remarks),
            elapsed_seconds=time.monotonic() - started,
        )

    def _spokesmen(self) -> AbstractContextManager[None]:
        """Let ``taken`` have only some of its rows, the first ones to say what is asked of them all."""
        return nullcontext()

    @property
    def _visit_salt(self) -> str:
        """What makes the key of a new visit another one than that of an earlier visit of the same day and odometer."""
        return ""

    @property
    def _is_rewrite(self) -> bool:
        """Whether the row stands for another one, whose session and stroke it may have been given."""
        return False

    @property
    def _table(self) -> str:
        return self.recognised.table.name

    @property
    def _file(self) -> str:
        return self.sheet.path.name

    def _run(self, name: str, **parameters: object) -> None:
        self.con.execute(statement(name), parameters or None)

    def _count(self, table: str) -> int:
        return int(self.con.execute(f"select count(*) from {table}").fetchall()[0][0])

    def _check(self) -> None:
        """Make ``checked``: every row with what it means and every reason against it."""
        self._run("vehicle_spans")
        self._check_cells(read_coded(self.con, self.sheet, self.recognised, today=self.today))

    def _check_cells(self, cells: CodedCells) -> None:
        """Make ``checked`` of what the cells mean by themselves."""
        cells.register(self.con)
        self._look_up()
        self._mean()
        self._keep()

    def _look_up(self) -> None:
        """Look up the names in ``typed``: those that are not known, and what is nearest to them."""
        if self._table in ("vehicles", *_OF_MODELS):
            self._run("models")
        elif self._table != "stock":
            self._run("nearest_vehicles")
        if self._table in _WITH_JOINTS:
            joint, day = _WITH_JOINTS[self._table]
            self.con.execute(
                "create or replace temp view joints_asked as "
                f"select unit_key, {joint}_key as joint_key, {day} as on_date from typed"
            )
            asked = f"select distinct key as joint_key from read_{joint} where key is not null"
            if joint.replace("_", " ") not in self.recognised.positions:
                asked = "select null::varchar as joint_key where false"
            self.con.execute(f"create or replace temp view joint_keys_asked as {asked}")
            for name in ("joint_names", "lacking_joints", "nearest_joints"):
                self._run(name)

    def _mean(self) -> None:
        """Make ``read_rows``: what the rows in ``typed`` mean, before their visits and keys are known."""
        check = statement(f"check_{self._table}")
        needs = {"today": self.today} if "$today" in check else None
        corrects = "quarantine number" in self.recognised.positions
        # Read several times where rows belong to visits: a view is read faster than a wide table is written.
        kind = "view" if self._table in _OF_VISITS and not corrects else "table"
        self.con.execute(f"create or replace temp {kind} rows_{kind} as {check}", needs)
        if corrects:
            checked = statement("check_settles")
            self.con.execute(f"create or replace temp table settling_rows as {checked}", {"table_name": self._table})
        rows = "settling_rows" if corrects else f"rows_{kind}"
        self.con.execute(f"create or replace temp view read_rows as select * from {rows}")

    def _place(self) -> None:
        """Find the visits that ``read_rows`` speak of."""
        for name in ("spots", "visit_clusters", "visit_of_spots"):
            self._run(name)
        if self._table == "readings":
            for name in ("placed_readings", "kept_readings"):
                self._run(name)

    def _keep(self) -> None:
        """Make ``checked`` of what the rows mean: with their visits, and with their keys."""
        if self._table in _OF_VISITS:
            self._place()
        self._run(f"keep_{self._table}" if self._table in _OF_VISITS else "keep")
        if self._table == "readings":
            self._run("crowded")

    def _tell_known_from_new(self) -> None:
        """Make the views ``keyed`` (good rows) and ``taken`` (the new ones), and ``known`` (those in the store)."""
        self._run("keyed")
        if self._table in _OF_VISITS:
            self._run("former_visits")
        if self._table == "readings":
            self._number_repeats()
        self.con.execute(f"create or replace temp table known as {statement(f'known_{self._table}')}")
        self.con.execute("create or replace temp table left_out as select distinct n from known")
        if self._table != "readings":  # a second row of the same content says nothing new
            self.con.execute(f"insert into left_out {statement('repeated')}")
        self._run("taken")
        self.con.execute("create or replace temp table refused_in_sheet (n bigint)")
        self.con.execute(f"insert into refused_in_sheet {statement('known_set_aside')}", {"table_name": self._table})

    def _number_repeats(self) -> None:
        """Make ``own_keys``: the keys of readings that their file has said before tell how often it has."""
        said_before = self._count("said_in_file") > 0
        self._run("keys_of_repeats", table_name=self._table, every_row=said_before)
        if not self.is_last:
            self._run("remember_said", table_name=self._table)
        self._set_own_keys()

    def _set_own_keys(self) -> None:
        self.con.execute("update checked set row_key = own.row_key from own_keys as own where own.n = checked.n")

    def _contradictions(self) -> tuple[pd.DataFrame, pd.DataFrame]:
        """Take the rows that the store contradicts from ``taken``; return them and the rows found out."""
        frames = []
        if self._table in _OF_VISITS:
            frames.append(self.con.execute(statement("rows_at_visits_set_aside")).df())
            self._give_up(frames[-1])
        found = None
        if self._table not in _WITHOUT_ODOMETER:
            with self._spokesmen():
                found = find_contradictions(self.con, table=self._table)
            if len(found.refused):
                self.con.register("refused_entries", found.refused.drop(columns="n"))
                frames.append(self.con.execute(statement("rows_of_entries")).df())
                self.con.unregister("refused_entries")
                self._give_up(frames[-1])
        columns = ["n", "reason", "vehicle_id", "on_date", "odometer_km"]
        kept = [frame for frame in frames if len(frame)]
        refused = pd.concat(kept, ignore_index=True) if kept else pd.DataFrame()
        empty = pd.DataFrame(columns=["table_name", "row_id"])
        return refused.reindex(columns=columns), empty if found is None else found.found_out

    def _give_up(self, refused: pd.DataFrame) -> None:
        if refused.empty:
            return
        self.con.register("given_up", refused[["n"]])
        self.con.execute("insert into left_out select n from given_up")
        self.con.execute("insert into refused_in_sheet select n from given_up")
        self.con.unregister("given_up")

    def _refused(self, contradicted: pd.DataFrame) -> pa.Table:
        """Return every refused row (n, source_row, cells, reasons), those without the right cells too."""
        checked = self.con.execute(statement("refused")).fetchall()
        places = [*(n for n, _ in checked), *contradicted["n"].astype("int64").tolist()]
        reasons = [*(against for _, against in checked), *([reason] for reason in contradicted["reason"])]
        header = self.sheet.written_header or self.sheet.header
        cells = [quarantine.row_json(row) for row in self.sheet.as_written(places)]
        if self.sheet.spread_over is not None:
            reasons = [
                [f"under {self.sheet.spread_over[n]!r}: {reason}" for reason in against]
                for n, against in zip(places, reasons, strict=True)
            ]
        numbers = self.sheet.row_numbers.take(pa.array(places, pa.int64())).to_pylist()
        for i, row in enumerate(self.sheet.broken):
            places.append(len(self.sheet.row_numbers) + i)
            numbers.append(row.number)
            cells.append(quarantine.cells_json(header, row.cells))
            reasons.append([row.reason])
        table = pa.table(
            {
                "n": pa.array(places, pa.int64()),
                "source_row": pa.array(numbers, pa.int64()),
                "cells": pa.array(cells, pa.string()),
                "reasons": pa.array(reasons, pa.list_(pa.string())),
            }
        )
        return table.sort_by([("source_row", "ascending"), ("n", "ascending")])

    def _settled(self) -> list[int]:
        """Return the quarantined rows whose corrections are among the sheet's good rows."""
        named = self.con.execute(statement("settled_by_number"), {"table_name": self._table}).fetchall()
        same_place = self.con.execute(
            statement("settled_by_place"),
            {"file_name": self._file, "sheet": self.sheet.name, "table_name": self._table},
        ).fetchall()
        settled = {int(row[0]) for row in named}
        for quarantine_id, n, cells in same_place:
            row: dict[str, str | None] = dict(self.sheet.as_written([n])[0])
            if self.sheet.spread_over is not None:
                if not quarantine.is_of_header(cells, self.sheet.spread_over[n]):
                    continue
            else:
                row |= {
                    name: self.sheet.cells.column(place)[n].as_py() for name, place in self.recognised.positions.items()
                }
            if quarantine.resembles(cells, row):
                settled.add(int(quarantine_id))
        return sorted(settled)

    def _changed(self) -> int:
        """Return how many of the readings taken in an earlier load of this file had with other values."""
        place = {"file_name": self._file, "sheet": self.sheet.name}
        return int(self.con.execute(statement("changed_readings"), place).fetchall()[0][0])

    def _take_ids(self, sequence: str, count: int) -> int:
        """Return the first of so many new numbers in a row; there is one writer at a time."""
        taken = self.con.execute(f"select min(nextval('{sequence}')) from range($count)", {"count": max(count, 1)})
        return int(taken.fetchall()[0][0])

    def _record(self, counts: dict[str, int], *, elapsed: float) -> int:
        load_id = self._take_ids("load_ids", 1)
        self._run(
            "insert_load",
            load_id=load_id,
            file_name=self._file,
            sheet=self.sheet.name,
            sha256=self.sha256,
            table_name=self._table,
            **counts,
            loaded_at=self.loaded_at,
            elapsed_seconds=elapsed,
            version=__version__,
        )
        return load_id

    def _quarantine(self, fresh: pa.Table, contradicted: pd.DataFrame, *, load_id: int) -> None:
        if not len(fresh):
            return
        first_id = self._take_ids("quarantine_ids", len(fresh))
        quarantine.quarantine_rows(
            self.con,
            fresh,
            load_id=load_id,
            file_name=self._file,
            sheet=self.sheet.name,
            table=self._table,
            first_id=first_id,
        )
        number_of = {n: first_id + i for i, n in enumerate(fresh["n"].to_pylist())}
        voices = [
            (number_of[row["n"]], int(row["vehicle_id"]), row["on_date"].date(), row["odometer_km"])
            for row in contradicted.dropna(subset=["vehicle_id"]).to_dict("records")
            if row["n"] in number_of and row["vehicle_id"] > 0
        ]
        if voices:
            self.con.executemany(
                "insert into refused_odometer (quarantine_id, vehicle_id, entry_date, odometer_km) values (?, ?, ?, ?)",
                voices,
            )

    def _insert(self, load_id: int) -> None:
        rows = self._count("taken")
        if not rows:
            return
        parameters: dict[str, int] = {"load_id": load_id}
        if self._table in _OF_VISITS:
            with self._spokesmen():
                self._run("new_visits")
            first_visit_id = self._take_ids("visit_ids", new) if (new := self._count("new_visits")) else 0
            if new:
                self._run("insert_new_visits", first_id=first_visit_id, load_id=load_id, salt=self._visit_salt)
            parameters["first_visit_id"] = first_visit_id
        parameters["first_id"] = self._take_ids(_ID_SEQUENCES[self._table], rows)
        if self._table == "readings":
            self._run("given_strokes", first_visit_id=first_visit_id, every_row=self._is_rewrite)
            self._run("numbers", some_left_out=rows < self._count("checked"))
        self._write(parameters)

    def _write(self, parameters: dict[str, int]) -> None:
        """Write the rows taken in into their table."""
        if self._table == "readings":
            self._run("ways_said")
            self._know_ways()
        self._run(f"insert_{self._table}", **parameters)

    def _know_ways(self) -> None:
        """Make ``known_ways``: the numbers of ``ways_said``, which are put into the store where they are new."""
        for name in ("new_ways", "known_ways"):
            self._run(name)


def count_reasons(rows: pa.Table) -> dict[str, int]:
    """Return how many rows each reason refused, the most frequent first."""
    if not len(rows):
        return {}
    counted = pc.value_counts(pc.list_flatten(rows["reasons"].combine_chunks())).to_pylist()
    counted.sort(key=lambda item: (-item["counts"], item["values"]))
    return {item["values"]: item["counts"] for item in counted[:_MOST_REASONS]}
