"""Readings in DuckDB as the wear model takes them: of one group of lives, or of every series."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from fleetwear.store import sql
from fleetwear.wear.sums import LifeSums, ReadingArrays, reading_arrays

if TYPE_CHECKING:
    import duckdb
    from numpy.typing import NDArray


@dataclass(frozen=True)
class GroupReadings:
    """The lives of a kind (and, if given, one direction), as the wear model takes its readings."""

    con: duckdb.DuckDBPyConnection
    kind: str
    lives: pd.DataFrame
    """One row a life, in order: series, vehicle_id, cohort."""

    @classmethod
    def of(cls, con: duckdb.DuckDBPyConnection, *, kind: str, direction: str = "") -> GroupReadings:
        """Return the group, after ``fit_input_series`` and ``fit_input_readings`` are made on ``con``.

        One group at a time lives on a connection: the next call replaces it.
        """
        con.execute(sql("fit/group_lives"), {"kind": kind, "direction": direction}).fetchall()
        lives = con.execute("select series, vehicle_id, cohort from fit_group_lives order by life").df()
        return cls(con, kind, lives)

    @property
    def n_lives(self) -> int:
        """The number of lives."""
        return len(self.lives)

    @cached_property
    def _columns(self) -> dict[str, NDArray[Any]]:
        columns = self.con.execute(sql("fit/group_readings")).fetchnumpy()
        return {name: np.asarray(values) for name, values in columns.items()}

    @cached_property
    def sources(self) -> pd.DataFrame:
        """Where each reading comes from: way, shop, technician, strokes, setup_share, squares, degrees."""
        names = ("way", "shop", "technician", "strokes", "setup_share", "squares", "degrees")
        return pd.DataFrame({name: self._columns[name] for name in names})

    @cached_property
    def ways(self) -> list[str]:
        """The ways in which the group's readings were taken: the methods of the fit."""
        return sorted({str(way) for way in self._columns["way"]}) or ["method not recorded"]

    @cached_property
    def reference_way(self) -> str | None:
        """The way that most of the kind's limits are stated for, if readings were taken so."""
        for way, method, read_at in self.con.execute(sql("fit/reference_ways"), {"kind": self.kind}).fetchall():
            if way in self.ways:
                return str(way)
            alike = [one for one in self.ways if (method and one.startswith(f"{method}, ")) or (
                read_at and one.endswith(f"read at the {read_at}"))]  # fmt: skip
            if len(alike) == 1:
                return alike[0]
        return None

    @cached_property
    def _arrays(self) -> ReadingArrays:
        columns = self._columns
        return arrays_of(columns, np.asarray(columns["life"], dtype=np.int64), self.n_lives, self.ways)

    @property
    def mean_distance(self) -> float:
        """The mean distance of the group's readings, km."""
        return self._arrays.mean_distance

    def arrays(self) -> ReadingArrays:
        """Return the readings as arrays."""
        return self._arrays

    def sums(self, exponent: float, reference: float) -> LifeSums:
        """Return the sums of each life: for the straight shape from one GROUP BY in DuckDB.

        The many exponents that are tried for the power curve take the arrays that are at hand by then.
        """
        if exponent != 1.0:
            return self._arrays.sums(exponent, reference)
        columns = self.con.execute(sql("fit/group_sums"), {"reference_km": reference}).fetchnumpy()
        names = ("n", "w", "wg", "wgg", "wy", "wgy", "wyy", "log_v")
        return LifeSums(*(np.asarray(columns[name], dtype=np.float64) for name in names))


def arrays_of(
    columns: dict[str, NDArray[Any]], life: NDArray[np.int64], n_lives: int, ways: list[str]
) -> ReadingArrays:
    """Return readings from columns of ``fit_input_readings``; ways that are not among those given have the code -1."""
    codes = pd.Index(ways).get_indexer(pd.Index(columns["way"])).astype(np.int64)
    return reading_arrays(
        life,
        columns["distance_km"],
        columns["play_mm"],
        n_lives=n_lives,
        variance_ratio=columns["variance_ratio"],
        seen=np.asarray(columns["seen"], dtype=np.int8),
        method=codes if len(ways) > 1 or (codes < 0).any() else None,
        resolution=columns["resolution_mm"],
    )
