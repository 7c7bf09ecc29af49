"""The readings of one group of lives in DuckDB, whose sums are one GROUP BY."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from fleetwear.store import sql
from fleetwear.wear.sums import LifeSums, ReadingArrays, reading_arrays

if TYPE_CHECKING:
    import duckdb


@dataclass(frozen=True)
class GroupReadings:
    """The lives of a kind (and, if given, one direction), as the wear model takes its readings."""

    con: duckdb.DuckDBPyConnection
    lives: pd.DataFrame
    """One row a life, in order: series, vehicle_id, cohort."""

    @classmethod
    def of(cls, con: duckdb.DuckDBPyConnection, *, kind: str, direction: str = "") -> GroupReadings:
        """Return the group, after ``fit_input_series`` and ``fit_input_readings`` are made on ``con``.

        One group at a time lives on a connection: the next call replaces it.
        """
        con.execute(sql("fit/group_lives"), {"kind": kind, "direction": direction}).fetchall()
        lives = con.execute("select series, vehicle_id, cohort from fit_group_lives order by life").df()
        return cls(con, lives)

    @property
    def n_lives(self) -> int:
        """The number of lives."""
        return len(self.lives)

    @cached_property
    def _arrays(self) -> ReadingArrays:
        columns = self.con.execute(sql("fit/group_readings")).fetchnumpy()
        return reading_arrays(
            np.asarray(columns["life"], dtype=np.int64),
            columns["distance_km"],
            columns["play_mm"],
            n_lives=self.n_lives,
            variance_ratio=columns["variance_ratio"],
        )

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
