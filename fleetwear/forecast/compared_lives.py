"""The lives whose growth is compared, the levels that they are at, and their readings over like distances."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from fleetwear.forecast.effect_words import ALL_KINDS
from fleetwear.store import sql
from fleetwear.wear.curvature import growth_exponent
from fleetwear.wear.design import LEAST_CLUSTERS, LEAST_LIVES, Factor
from fleetwear.wear.sums import LifeSums, ReadingArrays, reading_arrays

if TYPE_CHECKING:
    import duckdb
    from numpy.typing import NDArray

    from fleetwear.wear.sums import Integers

LIVES_OF_A_KIND = 20
"""Lives with two readings or more that a kind needs to take part."""

MOST_VEHICLES = 5_000
"""Vehicles that are compared at most: their intervals are a few percent of growth, and memory stays below 1 GB."""

_FAR = 0.75
"""The share of a level's lives that end before the distance that the level is taken to reach."""
_ALIKE = 0.7
"""Levels whose shortest reach is above this share of the longest are compared over all that they have run."""


@dataclass(frozen=True)
class ComparedLives:
    """The lives of some kinds of joint that may be compared, and their readings."""

    lives: pd.DataFrame
    """One row a life in one load direction: vehicle_id, kind, direction and a column a factor."""
    readings: ReadingArrays
    """Lives numbered from 0 in the order of ``lives``."""
    exponents: dict[tuple[str, int, float], float] = field(default_factory=dict, compare=False)
    """Exponents found before, by kind, number of readings and sum of distances; shared by all parts of the lives."""

    @classmethod
    def read(cls, con: duckdb.DuckDBPyConnection, *, most_vehicles: int = MOST_VEHICLES) -> ComparedLives:
        """Return the lives of all kinds; needs the tables of ``store.known.prepare`` on ``con``.

        Of more than ``most_vehicles`` vehicles every so many-th takes part.
        """
        con.execute(sql("effects/lives"), {"every_result": False}).fetchall()
        vehicles = con.execute("select count(distinct vehicle_id) from effect_lives").fetchall()[0][0]
        if vehicles > most_vehicles:
            con.execute(sql("effects/sample"), {"step": -(-vehicles // most_vehicles)}).fetchall()
        lives = con.execute(sql("effects/life_levels")).df()
        columns = con.execute(sql("effects/readings")).fetchnumpy()
        readings = reading_arrays(
            np.asarray(columns["life"], dtype=np.int64), columns["distance_km"], columns["play_mm"], n_lives=len(lives)
        )
        return cls(lives, readings)

    @property
    def kinds(self) -> list[str]:
        """The kinds of joint, in order."""
        return sorted(self.lives["kind"].unique())

    @property
    def rich_kinds(self) -> list[str]:
        """The kinds with enough lives to be compared."""
        counts = self.lives["kind"][self._count() >= 2].value_counts()
        return sorted(counts.index[counts >= LIVES_OF_A_KIND])

    @property
    def vehicle(self) -> Integers:
        """Each life's vehicle, numbered from 0, shape (J,)."""
        return pd.factorize(self.lives["vehicle_id"])[0].astype(np.int64)

    def of_kind(self, kind: str) -> ComparedLives:
        """Return the lives of a kind; for all kinds, those of kinds with enough lives."""
        kinds = self.rich_kinds if kind == ALL_KINDS else [kind]
        return self._chosen(self.lives["kind"].isin(kinds).to_numpy())

    def factor(self, name: str, *, reference: str = "") -> Factor:
        """Return the level of every life."""
        codes, levels = pd.factorize(self.lives[name], sort=True)
        return Factor(name, tuple(str(level) for level in levels), codes.astype(np.int64), reference)

    def reach_km(self, name: str) -> float:
        """Return the distance that every level of a factor has run; infinite where levels have run alike.

        Where one level's parts are all young, its growth is that of young parts: it is compared with no more than what
        the others showed when they were as young.
        """
        last = np.zeros(len(self.lives))
        np.maximum.at(last, self.readings.life, self.readings.distance)
        factor, vehicle = self.factor(name), self.vehicle
        enough = (factor.n_lives >= LEAST_LIVES) & (factor.n_clusters(vehicle) >= LEAST_CLUSTERS)
        reaches = [float(np.quantile(last[factor.codes == code], _FAR)) for code in np.flatnonzero(enough)]
        return min(reaches) if reaches and min(reaches) < _ALIKE * max(reaches) else np.inf

    def within(self, name: str) -> tuple[ComparedLives, dict[str, float]]:
        """Return the lives with the readings over which the levels of a factor are alike, and kinds cut short, km."""
        reach = {kind: self.of_kind(kind).reach_km(name) for kind in self.kinds}
        cut = {kind: km for kind, km in reach.items() if np.isfinite(km)}
        if not cut:
            return self, cut
        bound = self.lives["kind"].map(reach).to_numpy(dtype=float)
        kept = self.readings.chosen(self.readings.distance <= bound[self.readings.life])
        return ComparedLives(self.lives, kept, self.exponents)._chosen(
            np.bincount(kept.life, minlength=len(self.lives)) > 0
        ), cut

    def sums(self) -> LifeSums:
        """Return the sums of the lives, distances of each kind on the scale on which it wears evenly."""
        whole = LifeSums.empty(len(self.lives))
        names = list(whole.__dataclass_fields__)
        for kind in self.kinds:
            rows = (self.lives["kind"] == kind).to_numpy()
            own = self._chosen(rows)
            exponent = own._exponent(kind)
            sums = own.readings.sums(exponent, own.readings.mean_distance)
            for name in names:
                getattr(whole, name)[rows] = getattr(sums, name)
        return whole

    def _exponent(self, kind: str) -> float:
        """Return the exponent of growth of lives of one kind."""
        if int((self._count() >= 2).sum()) < LIVES_OF_A_KIND:
            return 1.0
        key = (kind, len(self.readings.life), float(self.readings.distance.sum()))
        if key not in self.exponents:
            direction = pd.factorize(self.lives["direction"])[0].astype(np.int64)
            self.exponents[key] = growth_exponent(self.readings, direction, reference=self.readings.mean_distance)
        return self.exponents[key]

    def _count(self) -> Integers:
        return np.bincount(self.readings.life, minlength=len(self.lives)).astype(np.int64)

    def _chosen(self, rows: NDArray[np.bool_]) -> ComparedLives:
        """Return some of the lives, renumbered."""
        own = self.readings.of_lives(rows)
        place = np.cumsum(rows) - 1
        readings = reading_arrays(place[own.life], own.distance, own.play, n_lives=int(rows.sum()))
        return ComparedLives(self.lives[rows].reset_index(drop=True), readings, self.exponents)
