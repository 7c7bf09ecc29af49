"""One sheet of readings: put together from the distinct combinations of its cells, where none of them is refused."""

from __future__ import annotations

from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from fleetwear.intake.coded_cells import register_rows
from fleetwear.intake.combinations import combinations, repeated
from fleetwear.intake.sheet_loading import SheetLoad
from fleetwear.intake.statements import statement

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    from fleetwear.intake.coded_cells import CodedCells
    from fleetwear.intake.combinations import Combinations
    from fleetwear.intake.summary import LoadSummary

LEAST_ROWS = 10_000
"""Rows from which on a sheet is put together: below, it is checked row by row in no time."""

ROWS_EACH = 2
"""Rows that have one combination, on average, at least: with fewer, putting them together costs more than it saves."""

_OF_VISIT = ("unit", "visit date", "odometer", "odometer unit")
_OF_PLAY = ("result", "play", "play unit", "resolution")
_IN_PLAY = ("result", "play_mm", "play_written", "play_unit", "resolution_mm", "play_said")
_OF_PERSON = ("shop", "technician")
_OF_MANNER = ["direction", "method", "support", "read_at", "indicator", "instrument", "technician", "timing"]
_NOT_OF_ROWS = ("n", "model", "is_refused")
_LATER = ("visit_place", "way_id")
"""What is known of the rows once their visits and ways are in the store."""
_OF_PLACE = ("position_id", "direction", "timing", "method")


@dataclass(frozen=True)
class _Together:
    """The rows of a sheet, put together from combinations.

    Attributes
    ----------
    columns
        What each row says (n rows); what is in ``_LATER`` is not known yet.
    spots, ways
        The combinations of cells that tell of a visit, and of those that tell of a joint and how it was read.
    manners
        How the joint was read, in ``_OF_MANNER``, and ``n``: a row for each of the ways.
    firsts
        The first rows to name each visit, shop and technician together.
    """

    columns: dict[str, pa.Array | pa.ChunkedArray]
    spots: Combinations
    ways: Combinations
    manners: pa.Table
    firsts: NDArray[np.int64]


@dataclass
class ReadingsLoad(SheetLoad):
    """The loading of one sheet of readings.

    What a row says of its visit hangs on four cells, what it says of its play on four others, and all else on the
    other cells and its vehicle's model. So the checks are done on rows that have each such combination, and if none of
    these is refused, every row is put together from them. This gives exactly what the checks of every row give, or
    nothing, and then those are done.
    """

    _together: _Together | None = field(default=None, init=False)
    _is_written: bool = field(default=False, init=False)
    """Whether ``checked`` is a table, though the rows are put together."""

    def run(self) -> LoadSummary:
        """Check the rows, store them, and return what became of them."""
        summary = super().run()
        if self._together is not None:
            self.con.execute(f"drop {'table' if self._is_written else 'view'} checked")
            for name in ("combined_rows", "combined_spots"):
                self.con.unregister(name)
        return summary

    def _check_cells(self, cells: CodedCells) -> None:
        if not self._combine(cells):
            super()._check_cells(cells)

    def _combine(self, cells: CodedCells) -> bool:
        """Put the rows together as ``placed_readings`` and ``checked``, and return whether that can be done."""
        rows = len(self.sheet.row_numbers)
        if rows < LEAST_ROWS or not cells.is_sound or "quarantine number" in self.recognised.positions:
            return False
        codes = {meaning.name: meaning.rows for meaning in cells.meanings}
        spots = combinations((codes[name] for name in _OF_VISIT if name in codes), rows)
        if len(spots) * ROWS_EACH > rows:
            return False
        of_spots = self._spots_of(cells, spots)
        if _refuses(of_spots):
            return False
        models = of_spots["model"].combine_chunks().dictionary_encode().indices
        others = [codes[name] for name in codes if name not in (*_OF_VISIT, *_OF_PLAY)]
        ways = combinations([*others, models.take(pa.array(spots.of_rows))], rows)
        plays = combinations((codes[name] for name in _OF_PLAY if name in codes), rows)
        if (len(ways) + len(plays)) * ROWS_EACH > rows:
            return False
        asked = np.union1d(ways.firsts, plays.firsts)
        cells.register(self.con, asked)
        of_ways = self.con.sql(statement("combined_ways")).to_arrow_table()
        if _refuses(of_ways):
            return False
        self._put_together(spots, of_spots, ways, plays, of_ways, asked)
        return True

    def _spots_of(self, cells: CodedCells, spots: Combinations) -> pa.Table:
        """Return what the first row of each combination says of its visit (a row each)."""
        cells.register(self.con, spots.firsts)
        self._look_up()
        self._mean()
        self._place()
        return self.con.sql(statement("combined_spots")).to_arrow_table()

    def _put_together(
        self,
        spots: Combinations,
        of_spots: pa.Table,
        ways: Combinations,
        plays: Combinations,
        of_ways: pa.Table,
        asked: NDArray[np.int64],
    ) -> None:
        way_rows = of_ways.take(pa.array(np.searchsorted(asked, ways.firsts)))
        play_rows = of_ways.take(pa.array(np.searchsorted(asked, plays.firsts)))
        columns: dict[str, pa.Array | pa.ChunkedArray] = {}
        for name in [name for name in of_spots.column_names if name not in _NOT_OF_ROWS]:
            columns[name] = spots.spread(of_spots[name])
        for name in [name for name in of_ways.column_names if name not in _NOT_OF_ROWS]:
            columns[name] = plays.spread(play_rows[name]) if name in _IN_PLAY else ways.spread(way_rows[name])
        columns |= {"n": pa.array(np.arange(len(spots.of_rows))), "source_row": self.sheet.row_numbers}
        visits = combinations([of_spots["visit_said"].combine_chunks()], len(of_spots))
        joints = combinations([way_rows[name].combine_chunks() for name in _OF_PLACE], len(way_rows))
        place = visits.of_rows[spots.of_rows] * np.int64(len(joints)) + joints.of_rows[ways.of_rows]
        who = combinations([way_rows[name].combine_chunks() for name in _OF_PERSON], len(way_rows))
        firsts = combinations([pa.array(spots.of_rows), pa.array(who.of_rows[ways.of_rows])], len(place)).firsts
        manners = way_rows.select(_OF_MANNER).append_column("n", pa.array(np.arange(len(way_rows))))
        columns |= {"place": pa.array(place)} | dict.fromkeys(_LATER, pa.nulls(len(place)))
        self._together = _Together(columns, spots, ways, manners, firsts)
        register_rows(self.con, "combined_rows", columns)
        self.con.register("combined_spots", of_spots)
        for name in ("combined_readings", "kept_readings"):
            self._run(name)
        self.con.execute("drop table if exists checked")
        self._run("check_combined")
        self.con.register("frame", pa.table({"place": repeated(place)}))
        self.con.execute("create or replace temp table crowded as select place from frame")
        self.con.unregister("frame")

    @contextmanager
    def _spokesmen(self) -> Iterator[None]:
        together = self._together
        if together is None or self._is_written or self._count("left_out"):
            yield
            return
        firsts = pa.array(together.firsts)
        register_rows(self.con, "combined_rows", {name: each.take(firsts) for name, each in together.columns.items()})
        yield
        register_rows(self.con, "combined_rows", together.columns)

    def _set_own_keys(self) -> None:
        if self._together is not None:
            if not self._count("own_keys"):
                return
            self.con.execute("create or replace temp table checked_once as select * from checked")
            self.con.execute("drop view checked")
            self.con.execute("alter table checked_once rename to checked")
            self._is_written = True
        super()._set_own_keys()

    def _write(self, parameters: dict[str, int]) -> None:
        together = self._together
        if together is None or any(self._count(name) for name in ("left_out", "own_keys", "given_strokes")):
            super()._write(parameters)
            return
        places = self.con.sql(statement("places_of_spots")).to_arrow_table()["place"]
        self.con.register("combined_manners", together.manners)
        self._run("combined_ways_said")
        self._know_ways()
        ways = self.con.sql(statement("numbered_ways")).to_arrow_table()["way_id"]
        self.con.unregister("combined_manners")
        later = {"visit_place": together.spots.spread(places), "way_id": together.ways.spread(ways)}
        register_rows(self.con, "combined_rows", together.columns | later)
        self._run("insert_combined", **parameters)


def _refuses(rows: pa.Table) -> bool:
    return bool(pc.any(rows["is_refused"]).as_py())
