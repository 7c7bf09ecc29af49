"""The coordinator: one mixed model a kind of joint, from what partitions say of themselves."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import pandas as pd

from fleetwear.errors import FitError
from fleetwear.partitions.sums import Partition, life_sums, survey
from fleetwear.wear.parted import fit_parts

if TYPE_CHECKING:
    from collections.abc import Callable

    from fleetwear.partitions.place import Place
    from fleetwear.wear import WearResults
    from fleetwear.wear.parts import Parted
    from fleetwear.wear.shapes import ShapeName


@dataclass(frozen=True)
class PartedFit:
    """The models of a place, by kind, without the lives that they were fitted to."""

    fits: dict[str, WearResults]
    unfitted: dict[str, str]
    """Kinds without a model, and why."""
    cohorts: pd.DataFrame
    """What there is of each cohort: kind, cohort, readings, distance_km, not_measured, of_unknown_origin."""

    @property
    def models(self) -> pd.DataFrame:
        """One row a kind: what its model says, or why there is none."""
        rows = []
        for kind, own in self.cohorts.groupby("kind"):
            row: dict[str, object] = {
                "kind": kind,
                "readings": int(own["readings"].sum()),
                "not_measured": int(own["not_measured"].sum()),
                "of_unknown_origin": int(own["of_unknown_origin"].sum()),
                "lives": None,
                "shape": "",
                "doubt": self.unfitted.get(str(kind), ""),
            }
            fit = self.fits.get(str(kind))
            if fit is not None:
                cov = fit.cov_re.to_numpy()
                row |= {
                    "lives": fit.n_groups,
                    "shape": fit.shape,
                    "exponent": fit.exponent,
                    "reference_km": fit.reference_distance,
                    "residual_variance": fit.residual_variance,
                    "cov_intercept": cov[0, 0],
                    "cov_cross": cov[0, 1],
                    "cov_growth": cov[1, 1],
                    "loglik": fit.loglik,
                    "converged": fit.converged,
                    "doubt": fit.doubt,
                }
            rows.append(row)
        return pd.DataFrame(rows)

    @property
    def lines(self) -> pd.DataFrame:
        """One row a cohort of a fitted kind: its mean line with standard errors, as ``WearResults.cohorts``."""
        frames = [fit.cohorts.reset_index().assign(kind=kind) for kind, fit in self.fits.items()]
        return pd.concat(frames, ignore_index=True) if frames else pd.DataFrame({"kind": [], "cohort": []})


def fit_partitions(
    partitions: Parted,
    *,
    shape: ShapeName = "straight",
    on_progress: Callable[[str, int, int], None] | None = None,
) -> PartedFit:
    """Return a model of every kind in the partitions.

    Parameters
    ----------
    partitions
        Parts that are `Partition`, from :func:`partitions_of` or in a cluster.
    shape
        "straight" or "power".
    on_progress
        Called with the kind and the step at work, kinds done and kinds in all.

    Raises
    ------
    StoreError
        If a partition is missing or cannot be read.
    """
    tell = on_progress or (lambda *_: None)
    tell("partitions surveyed", 0, 1)
    surveyed = pd.concat(partitions.ask(survey), ignore_index=True)
    cohorts = surveyed.groupby(["kind", "cohort"], as_index=False, sort=True).sum()
    fits: dict[str, WearResults] = {}
    unfitted: dict[str, str] = {}
    kinds = sorted(cohorts["kind"].unique())
    for done, kind in enumerate(kinds):
        own = cohorts[(cohorts["kind"] == kind) & (cohorts["readings"] > 0)]
        labels = [str(label) for label in own["cohort"]]
        reference = float(own["distance_km"].sum() / own["readings"].sum()) or 1.0 if len(own) else 1.0

        def sums_at(
            exponent: float, kind: str = kind, labels: list[str] = labels, reference: float = reference
        ) -> Parted:
            return partitions.keep(life_sums, kind, labels, exponent, reference)

        def say(words: str, kind: str = kind, done: int = done) -> None:
            tell(f"{kind}  {words}", done, len(kinds))

        try:
            if not labels:
                raise FitError("no reading was measured on a part of known origin")
            fits[kind] = fit_parts(sums_at, labels, reference=reference, shape=shape, on_step=say)
        except FitError as error:
            unfitted[kind] = error.what
    tell("", len(kinds), len(kinds))
    return PartedFit(fits, unfitted, cohorts)


def partitions_of(place: Place) -> list[Partition]:
    """Return the partitions of a place, in order.

    Raises
    ------
    StoreError
        If there are none.
    """
    return [Partition(place, number) for number in range(int(place.about()["partitions"]))]
