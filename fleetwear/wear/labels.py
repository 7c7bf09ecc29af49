"""Labels of lives and cohorts, turned into codes once at the door."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from fleetwear.errors import InputError
from fleetwear.wear.methods import ALL
from fleetwear.wear.population import ROOT
from fleetwear.wear.sums import ReadingArrays, as_numbers, reading_arrays

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    from fleetwear.wear.sums import Floats, Integers

Labels = pd.Index
"""The labels of J lives, unique, in the order of their codes."""


@dataclass(frozen=True)
class LabelledReadings:
    """Readings with the labels of their J lives and of the lives' cohorts."""

    readings: ReadingArrays
    lives: Labels
    cohorts: list[str]
    cohort_codes: Integers
    """Cohort of each life, shape (J,)."""
    methods: list[str]
    """Names of the methods that the readings' codes stand for."""


RESULTS = {"measured": 0, "none seen": -1, "seen, not measured": 1}
"""What a reading may be, as words and as a code."""


def labelled_readings(
    life: ArrayLike,
    distance: ArrayLike,
    play: ArrayLike,
    cohort: ArrayLike | None,
    *,
    variance_ratio: ArrayLike | None = None,
    result: ArrayLike | None = None,
    resolution: ArrayLike | None = None,
    method: ArrayLike | None = None,
    known_methods: list[str] | None = None,
) -> LabelledReadings:
    """Return readings with lives, cohorts and methods as codes.

    Parameters are those of :func:`fleetwear.wear.fit`; methods that are not among ``known_methods`` have the code -1.

    Raises
    ------
    InputError
        If a life stands in two cohorts, a label is missing, or a value cannot be taken.
    """
    codes, lives = pd.factorize(np.asarray(life), use_na_sentinel=True)
    if (codes < 0).any():
        at = int(np.flatnonzero(codes < 0)[0])
        raise InputError("the life has no label", where=f"reading {at}", mend="Give every reading a life.")
    method_codes, methods = _method_codes(method, len(codes), known_methods)
    readings = reading_arrays(
        codes.astype(np.int64), distance, play, n_lives=len(lives), variance_ratio=variance_ratio,
        seen=_result_codes(result, len(codes)), method=method_codes, resolution=resolution,
    )  # fmt: skip
    if cohort is None:
        return LabelledReadings(readings, pd.Index(lives), [ROOT], np.zeros(len(lives), dtype=np.int64), methods)
    given = np.asarray(cohort)
    if given.shape != codes.shape:
        raise InputError(f"cohort has shape {given.shape}, life {codes.shape}", mend="Give one cohort label a reading.")
    cohort_of_reading, names = pd.factorize(given)
    if (cohort_of_reading < 0).any():
        at = int(np.flatnonzero(cohort_of_reading < 0)[0])
        raise InputError("the cohort has no label", where=f"reading {at}", mend="Give every reading a cohort.")
    of_life = np.zeros(len(lives), dtype=np.int64)
    of_life[codes[::-1]] = cohort_of_reading[::-1]
    split = np.flatnonzero(of_life[codes] != cohort_of_reading)
    if len(split):
        at = int(split[0])
        raise InputError(
            f"life {said(lives[codes[at]])} stands in the cohorts {said(names[of_life[codes[at]]])} and "
            f"{said(names[cohort_of_reading[at]])}",
            where=f"reading {at}",
            mend="A life belongs to one cohort: give its readings the same label.",
        )
    return LabelledReadings(readings, pd.Index(lives), [str(name) for name in names], of_life, methods)


def _result_codes(result: ArrayLike | None, n: int) -> NDArray[np.int8] | None:
    if result is None:
        return None
    given = np.asarray(result, dtype=object)
    if given.shape != (n,):
        raise InputError(f"result has shape {given.shape} for {n} readings", mend="Give one result a reading.")
    codes = pd.Series(given).astype(str).map(RESULTS)
    if codes.isna().any():
        at = int(np.flatnonzero(codes.isna())[0])
        words = ", ".join(f'"{word}"' for word in RESULTS)
        raise InputError(f"result is {said(given[at])}", where=f"reading {at}", mend=f"Choose one of: {words}.")
    return np.asarray(codes.to_numpy(dtype=np.int8), dtype=np.int8)


def _method_codes(
    method: ArrayLike | None, n: int, known: list[str] | None
) -> tuple[NDArray[np.int64] | None, list[str]]:
    """Return the code of each reading's method, None where there is one method in all, and the methods' names."""
    if method is None:
        return None, known or [ALL]
    given = np.asarray(method, dtype=object)
    if given.shape != (n,):
        raise InputError(f"method has shape {given.shape} for {n} readings", mend="Give one method a reading.")
    missing = pd.isna(pd.Series(given)).to_numpy()
    if missing.any():
        at = int(np.flatnonzero(missing)[0])
        raise InputError("the method has no label", where=f"reading {at}", mend="Give every reading a method.")
    labels = pd.Index(pd.Series(given).astype(str))
    names = known or sorted(labels.unique())
    codes = pd.Index(names).get_indexer(labels).astype(np.int64)
    return (codes if len(names) > 1 or (codes < 0).any() else None), names


def label_codes(lives: Labels, life: ArrayLike, distance: ArrayLike) -> tuple[NDArray[np.int64], Floats]:
    """Return the codes of lives, and the distances, both of shape (n,).

    Raises
    ------
    InputError
        If a life is not among the labels, or a distance is negative or not finite.
    """
    x = np.atleast_1d(as_numbers("distance", distance))
    wanted = np.atleast_1d(np.asarray(life))
    if len(wanted) != len(x) and 1 not in (len(wanted), len(x)):
        raise InputError(
            f"{len(wanted)} lives and {len(x)} distances do not go together",
            mend="Give as many of one as of the other, or a single one.",
        )
    wanted, x = np.broadcast_arrays(wanted, x)
    if not (np.isfinite(x) & (x >= 0)).all():
        raise InputError("a distance is negative or not finite", mend="Give distances since installation, >= 0.")
    codes = lives.get_indexer(pd.Index(wanted))
    if (codes < 0).any():
        unknown = wanted[codes < 0][0]
        raise InputError(
            f"life {said(unknown)} is not in these results",
            mend="Lives with readings of their own are forecast by results.update(life, distance, play).",
        )
    return codes.astype(np.int64), np.array(x, dtype=np.float64)


def limits(limit: ArrayLike, n: int) -> Floats:
    """Return limits of play, shape (n,), from one for all or one a row.

    Raises
    ------
    InputError
        If there are neither one nor n of them, or one is not a number.
    """
    values = np.atleast_1d(as_numbers("limit", limit))
    if values.shape not in ((1,), (n,)):
        raise InputError(f"limit has shape {values.shape} for {n} rows", mend="Give one limit, or one a row.")
    if np.isnan(values).any():
        raise InputError("a limit is not a number", mend="Leave out lives without a limit.")
    return np.broadcast_to(values, (n,))


def said(label: object) -> str:
    """Return a label as Python writes it, without the name of a numpy type."""
    return repr(label.item() if isinstance(label, np.generic) else label)
