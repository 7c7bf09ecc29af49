"""The summary of a fit as a text table."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from fleetwear.wear.results import WearResults


def summary_text(results: WearResults) -> str:
    """Return what was fitted, to how much, with what estimates and doubts."""
    method = "REML" if results.reml else "ML"
    head = [
        f"Mixed model of play, shape {results.shape}, {method}",
        f"readings {results.n_obs}   lives {results.n_groups}   log-likelihood {results.loglik:.4f}"
        f"   converged {'yes' if results.converged else 'no'}",
    ]
    if results.shape == "power":
        head.append(f"exponent {results.exponent:.3f}   reference distance {results.reference_distance:.6g}")
    table = results.conf_int()
    table.insert(0, "std error", results.bse)
    table.insert(0, "estimate", results.params)
    spread = np.sqrt(np.diag(results.cov_re.to_numpy()))
    tail = ["spread between lives (standard deviations):"]
    tail += [f"  {term} {sd:.6g}" for term, sd in zip(results.cov_re.index, spread, strict=True)]
    if len(spread) == 2 and (spread > 0).all():
        tail.append(f"  correlation {results.cov_re.iloc[0, 1] / (spread[0] * spread[1]):.4f}")
    tail.append(f"residual standard deviation {np.sqrt(results.residual_variance):.6g}")
    borrowed = [cohort for cohort, alone in results.estimation.alone.items() if not alone]
    if borrowed:
        tail.append(f"cohorts too small to stand alone, borrowing from their parents: {', '.join(borrowed)}")
    tail += [text for text in (results.estimation.note, results.doubt and f"Doubtful: {results.doubt}") if text]
    return "\n".join([*head, table.to_string(float_format=lambda value: f"{value:.6g}"), *tail])
