"""What a worker makes of one partition: counts, and the sums of every life, each from one query."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from fleetwear.errors import StoreError
from fleetwear.wear.parts import PartSums
from fleetwear.wear.sums import LifeSums

if TYPE_CHECKING:
    import pandas as pd

    from fleetwear.partitions.place import Place


@dataclass(frozen=True)
class Partition:
    """One partition of a place."""

    place: Place
    number: int

    @property
    def readings(self) -> str:
        """The address of its readings."""
        return self.place.part("readings", self.number)

    @property
    def series(self) -> str:
        """The address of the series to be forecast."""
        return self.place.part("series", self.number)

    @property
    def forecast(self) -> str:
        """The address of its forecast."""
        return self.place.part("forecasts", self.number)


def survey(partition: Partition) -> pd.DataFrame:
    """Return what the partition holds of each cohort.

    Columns kind, cohort, readings (that the fit takes), distance_km (their sum), not_measured, of_unknown_origin.

    Raises
    ------
    StoreError
        If the file is missing or cannot be read, or holds readings that nothing can be made of.
    """
    with partition.place.connection() as con:
        found = partition.place.rows(con, "survey", partition.readings).df()
    unusable = int(found["unusable"].sum())
    if unusable:
        raise StoreError(
            f"{unusable} readings without a finite play, a distance of 0 or more, a variance ratio above 0, or a label",
            where=partition.readings,
            mend="Mend or leave out those rows, and write the partition again.",
        )
    return found.drop(columns="unusable")


def life_sums(partition: Partition, kind: str, cohorts: list[str], exponent: float, reference_km: float) -> PartSums:
    """Return the sums of every life of a kind with g = (distance / reference) ^ exponent, sorted by cohort.

    Raises
    ------
    StoreError
        If the file is missing or cannot be read, or has a cohort that is not among ``cohorts``.
    """
    asked = {"kind": kind, "cohorts": cohorts, "exponent": exponent, "reference_km": reference_km}
    with partition.place.connection() as con:
        columns = partition.place.rows(con, "life_sums", partition.readings, **asked).fetchnumpy()
    cohort = np.ma.filled(np.ma.asarray(columns["cohort"], dtype=np.float64), -1.0).astype(np.int64)
    if (cohort < 0).any():
        raise StoreError("the file has changed since it was surveyed", where=partition.readings, mend="Fit again.")
    sums = LifeSums(*(np.asarray(columns[name], dtype=np.float64) for name in LifeSums.__dataclass_fields__))
    return PartSums.of(sums, cohort, len(cohorts))
