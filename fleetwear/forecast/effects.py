"""How the growth of play differs between depots, duties, sides, suppliers of parts and models.

Lives of a kind of joint are compared within their load direction, each factor adjusted for the others
(:mod:`fleetwear.wear.effects`), on the scale of distance on which that kind wears evenly
(:mod:`fleetwear.wear.curvature`); lives of one vehicle are one cluster. Where the parts of one level are all much
younger than those of another, readings at distances that the younger have not run do not take part
(:meth:`ComparedLives.reach_km`). Only measured readings count: "none seen" has no number, and standing one in for it
would tilt the comparison where eyes are used more. A life of unknown origin, or of a vehicle without an
odometer, does not take part.

What comes out is an association in the record, not an experiment: which part went into which vehicle was not drawn
by lot.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from fleetwear.errors import FitError, InputError
from fleetwear.forecast.compared_lives import LIVES_OF_A_KIND, ComparedLives
from fleetwear.forecast.effect_words import ALL_KINDS, NOT_RECORDED, ORIGINAL, say_comparison
from fleetwear.forecast.records import insert_frame
from fleetwear.vocabulary import Kind
from fleetwear.wear.comparisons import compare, confounders, holm
from fleetwear.wear.design import LEAST_CLUSTERS, LEAST_LIVES
from fleetwear.wear.effects import GrowthEffects, fit_effects

if TYPE_CHECKING:
    import duckdb

    from fleetwear.wear.sums import LifeSums

FACTORS = ("depot", "duty", "side", "supplier", "model")
"""What lives are compared by."""

EFFECTS_CAUTION = (
    "A comparison is an association in the record, not an experiment: parts, routes and vehicles were not dealt out "
    "by lot. Compare like with like before anything is bought or moved for it."
)
"""Stands with every list of comparisons."""

COLUMNS = [
    "kind", "factor", "level", "reference", "n_lives", "n_vehicles", "n_readings", "ratio", "lower", "upper",
    "simultaneous_lower", "simultaneous_upper", "p_value", "p_holm", "note", "says",
]  # fmt: skip


def compare_growth(
    con: duckdb.DuckDBPyConnection, *, kind: str | None = None, factor: str | None = None, reference: str | None = None
) -> pd.DataFrame:
    """Return how the growth of play differs, one row a comparison.

    Parameters
    ----------
    con
        A connection to a store or snapshot, after ``store.known.prepare``.
    kind
        A kind of joint, or "all kinds"; each kind and then all kinds together if not given.
    factor
        "depot", "duty", "side", "supplier" or "model"; all of them if not given.
    reference
        The level of ``factor`` that the others are compared with. If not given, the one with most lives; among
        suppliers, of those that are on record.

    Returns
    -------
    pandas.DataFrame
        kind, factor, level, reference (a level, or "mean of all levels"), n_lives, n_vehicles and n_readings of
        the level, ratio of its growth to that of the reference, lower and upper (95 % confidence),
        simultaneous_lower and simultaneous_upper (all comparisons of the factor in the kind hold together with 95 %),
        p_value, p_holm (adjusted for all comparisons in the frame), note (why there is no ratio, or what it is not
        adjusted for) and says (a sentence).

    Raises
    ------
    InputError
        If the kind, the factor or the reference is not one of those that there are.
    """
    check_kind_and_factor(kind, factor)
    lives = ComparedLives.read(con)
    _check_reference(lives, factor, reference)
    wanted = [*lives.kinds, *([ALL_KINDS] if lives.kinds else [])] if kind is None else [kind]
    references = {factor: reference} if factor and reference else {}
    kinds = [_Kind(lives, one, references) for one in wanted]
    frames = [one.comparisons(name) for one in kinds for name in ((factor,) if factor else FACTORS)]
    frame = pd.concat(frames, ignore_index=True) if frames else pd.DataFrame(columns=COLUMNS)
    frame = frame.astype({"n_lives": int, "n_vehicles": int, "n_readings": int})
    return with_holm(frame.reindex(columns=COLUMNS))


def check_kind_and_factor(kind: str | None, factor: str | None) -> None:
    """Raise InputError if there is no such kind or factor; None is any."""
    kinds = [*map(str, Kind), ALL_KINDS]
    if kind is not None and kind not in kinds:
        raise InputError(f"there is no kind of joint {kind!r}", mend=f"Choose one of: {', '.join(kinds)}.")
    if factor is not None and factor not in FACTORS:
        raise InputError(f"growth is not compared by {factor!r}", mend=f"Choose one of: {', '.join(FACTORS)}.")


def with_holm(frame: pd.DataFrame) -> pd.DataFrame:
    """Return comparisons with ``p_holm`` adjusted for all of them, and no others."""
    return frame.assign(p_holm=holm(frame["p_value"].to_numpy(dtype=float)))


def save_effects(con: duckdb.DuckDBPyConnection, fit_id: int, frame: pd.DataFrame) -> None:
    """Write the comparisons of a fit, in their order."""
    insert_frame(con, "fit_effects", frame.assign(fit_id=fit_id, row_no=np.arange(len(frame))))


def _check_reference(lives: ComparedLives, factor: str | None, reference: str | None) -> None:
    if reference is None:
        return
    if factor is None:
        raise InputError(f"{reference!r} is a reference of nothing", mend="Say which factor is to be compared, too.")
    levels = list(lives.factor(factor).levels)
    if reference not in levels:
        raise InputError(f"there is no {factor} {reference!r}", mend=f"Choose one of: {', '.join(levels)}.")


class _Kind:
    """The comparisons of one kind, or of all: a fit is made when it is first asked for."""

    def __init__(self, everything: ComparedLives, kind: str, references: dict[str, str]) -> None:
        self.kind = kind
        self._lives = everything.of_kind(kind)
        self._enough = bool(self._lives.rich_kinds)
        self._references = references
        self._sums: dict[str, tuple[ComparedLives, LifeSums]] = {}
        self._fits: dict[tuple[str, tuple[str, ...]], GrowthEffects] = {}

    def comparisons(self, name: str) -> pd.DataFrame:
        """Return the comparisons by one factor, and its levels that cannot be compared."""
        if not self._enough:
            why = f"fewer than {LIVES_OF_A_KIND} lives of this kind have two readings"
            return self._said(self._levels(name).assign(note=why))
        try:
            alike, cut = self._lives.within(name)
            lives = name if cut else ""
            if lives not in self._sums:
                self._sums[lives] = (alike, alike.sums())
            fitted, notes = self._fit(lives, FACTORS), [self._cut(cut)]
            mixed = confounders(fitted, name)
            if mixed and set(mixed) <= set(FACTORS) - {name}:
                again = self._fit(lives, tuple(factor for factor in FACTORS if factor not in mixed))
                if not confounders(again, name):
                    fitted = again
                    others = " and ".join(mixed)
                    notes.append(f"not adjusted for {others}, which cannot be told apart from {name} here")
        except FitError as error:
            return self._said(self._levels(name).assign(note=error.what))
        return self._said(self._of_factor(fitted, name, [*notes, fitted.doubt]))

    def _cut(self, cut: dict[str, float]) -> str:
        """Return what the comparison is cut to, in words."""
        if not cut:
            return ""
        far = f"the first {round(cut[self.kind], -3):,.0f} km" if self.kind in cut else "distances"
        return f"over {far} that all of them have run"

    def _fit(self, alike: str, names: tuple[str, ...]) -> GrowthEffects:
        if (alike, names) not in self._fits:
            compared, sums = self._sums[alike]
            lives = compared.lives
            stratum, labels = pd.factorize(lives["kind"] + " " + lives["direction"], sort=True)
            self._fits[alike, names] = fit_effects(
                sums,
                stratum.astype(np.int64),
                [str(label) for label in labels],
                [compared.factor(name, reference=self._reference(name)) for name in names],
                compared.vehicle,
                block=pd.factorize(lives["kind"], sort=True)[0].astype(np.int64),
            )
        return self._fits[alike, names]

    def _reference(self, name: str) -> str:
        """Return the level that is asked for; among suppliers, the one on record with most lives; or else none."""
        if name in self._references or name != "supplier":
            return self._references.get(name, "")
        counts = self._levels(name).set_index("level")
        enough = (counts["n_lives"] >= LEAST_LIVES) & (counts["n_vehicles"] >= LEAST_CLUSTERS)
        known = counts[enough].drop(index=[ORIGINAL, NOT_RECORDED], errors="ignore")
        return str(known["n_lives"].idxmax()) if len(known) else ""

    def _of_factor(self, fitted: GrowthEffects, name: str, notes: list[str]) -> pd.DataFrame:
        frame = compare(fitted, name).rename(columns={"n_clusters": "n_vehicles"})
        said = "; ".join(text for text in notes if text)
        frame["note"] = np.where(frame["ratio"].notna(), said, frame["note"])
        out = {level: why for (factor, level), why in fitted.left_out.items() if factor == name}
        if frame.empty:
            out.setdefault(fitted.design.references[name], "nothing to compare it with")
        levels = self._levels(name)
        levels = levels[levels["level"].isin(list(out))]
        if levels.empty:
            return frame
        missing = levels.assign(note=levels["level"].map(out))
        return pd.concat([frame, missing], ignore_index=True) if len(frame) else missing

    def _levels(self, name: str) -> pd.DataFrame:
        """Return factor, level, reference (empty), n_lives, n_vehicles and n_readings of every level."""
        of = self._lives.factor(name)
        frame = pd.DataFrame({"level": list(of.levels)}).assign(factor=name, reference="")
        frame["n_lives"], frame["n_vehicles"] = of.n_lives, of.n_clusters(self._lives.vehicle)
        read = of.codes[self._lives.readings.life]
        frame["n_readings"] = np.bincount(read, minlength=len(of.levels)).astype(np.int64)
        return frame.reindex(columns=COLUMNS)

    def _said(self, frame: pd.DataFrame) -> pd.DataFrame:
        frame = frame.assign(kind=self.kind)
        return frame.assign(says=[say_comparison(row) for row in frame.to_dict("records")])[
            [column for column in COLUMNS if column != "p_holm"]
        ]
