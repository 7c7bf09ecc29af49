"""A reading against an upper limit, with what is not known of it.

The true play is taken as normal about the reading (a flat prior, JCGM 106:2012, 7.2), so the probability that it is
over the limit is Phi((reading - limit) / u). Beyond doubt is a reading further from the limit than the expanded
uncertainty (the guard band of ISO 14253-1; with k = 2 the risk at its edge is 0.02275). Within the guard band it is
over or under where the risk of being wrong is at most the accepted one, and too close to call otherwise.

References
----------
ISO 14253-1:1998 (guard band U = 2 u; form of the rule from memory; the edition of 2017 takes a 95 % rule, which is an
accepted risk of 0.05). JCGM 106:2012, 7.4.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy import stats

from fleetwear.errors import InputError
from fleetwear.vocabulary import Verdict

if TYPE_CHECKING:
    from fleetwear.measurement.budget import Budget

ACCEPTED_RISK = 0.05
"""The risk of being wrong that is accepted, if no other is given: that of the 95 % rule of ISO 14253-1:2017."""


@dataclass(frozen=True)
class Settling:
    """What would settle a reading that is too close to call, if the mean of all strokes stayed where it is.

    Attributes
    ----------
    needed
        The combined standard uncertainty that would be small enough; nought at the limit itself.
    strokes_more
        How many more strokes of the same setup would bring it there; none if no number would.
    lasting
        What strokes do not make smaller, all together.
    dominant
        The largest contribution of that.
    dominant_needed
        How small it would have to be, all else as it is; none if that would not do either.
    """

    needed: float
    strokes_more: int | None
    lasting: float
    dominant: str
    dominant_needed: float | None


@dataclass(frozen=True)
class Decision:
    """What a reading says against an upper limit.

    Attributes
    ----------
    verdict
        Beyond doubt over, over, too close to call, under, beyond doubt under.
    reading, limit, standard, expanded
        What was compared, and the standard and expanded uncertainty.
    probability_over
        The probability that the true play is over the limit.
    accepted_risk
        The risk of being wrong that was accepted.
    settling
        What would settle it; none unless it is too close to call.
    """

    verdict: Verdict
    reading: float
    limit: float
    standard: float
    expanded: float
    probability_over: float
    accepted_risk: float
    settling: Settling | None


def probability_within(reading: float, standard: float, *, lower: float = -np.inf, upper: float = np.inf) -> float:
    """Return the probability of conformity: that the true value lies between the limits (JCGM 106:2012, 7.4).

    Parameters
    ----------
    reading, standard
        The reading and its standard uncertainty, above nought.
    lower, upper
        The limits; without one, that side is open.

    Raises
    ------
    InputError
        If the uncertainty is not above nought, or the limits are the wrong way round.
    """
    if not (np.isfinite(standard) and standard > 0.0):
        raise InputError(f"the standard uncertainty is {standard}", mend="Give a number above nought.")
    if not lower < upper:
        raise InputError(f"the limits {lower} and {upper} hold nothing", mend="Give the lower one first.")
    low, high = (lower - reading) / standard, (upper - reading) / standard
    if low > 0.0:  # the tails of the other side keep their digits
        return float(stats.norm.sf(low) - stats.norm.sf(high))
    return float(stats.norm.cdf(high) - stats.norm.cdf(low))


def decide(reading: float, limit: float, budget: Budget, *, accepted_risk: float = ACCEPTED_RISK) -> Decision:
    """Return what a reading says against an upper limit.

    Parameters
    ----------
    reading
        The reading, the mean of the budget's strokes.
    limit
        The upper limit, in the same unit.
    budget
        The uncertainty of the reading.
    accepted_risk
        The highest probability of a wrong word, over or under, that is accepted; below 0.5.

    Raises
    ------
    InputError
        If the limit is not above nought, the reading not finite or below nought, or the risk not between 0 and 0.5.
    """
    if not (np.isfinite(limit) and limit > 0.0):
        raise InputError(f"the limit is {limit}", mend="Give a number above nought.")
    if not (np.isfinite(reading) and reading >= 0.0):
        raise InputError(f"the reading is {reading}", mend="Give a play of nought or more.")
    if not 0.0 < accepted_risk < 0.5:
        raise InputError(f"the accepted risk is {accepted_risk}", mend="Give a probability between 0 and 0.5.")
    u, away = budget.combined, reading - limit
    needed_factor = float(stats.norm.isf(accepted_risk))
    over = 1.0 - probability_within(reading, u, upper=limit) if away <= 0.0 else float(stats.norm.cdf(away / u))
    if abs(away) > max(budget.expanded, needed_factor * u):
        verdict = Verdict.BEYOND_DOUBT_OVER if away > 0.0 else Verdict.BEYOND_DOUBT_UNDER
    elif abs(away) >= needed_factor * u:
        verdict = Verdict.OVER if away > 0.0 else Verdict.UNDER
    else:
        verdict = Verdict.TOO_CLOSE
    settling = _settle(abs(away) / needed_factor, budget) if verdict == Verdict.TOO_CLOSE else None
    return Decision(verdict, reading, limit, u, budget.expanded, over, accepted_risk, settling)


def _settle(needed: float, budget: Budget) -> Settling:
    """Return what would bring the combined standard uncertainty down to what is needed."""
    lasting, stroke = budget.lasting_variance, budget.stroke_variance
    largest = budget.largest_lasting
    room = needed**2 - lasting
    more = None
    if room > 0.0:
        # the last bits of a quotient do not ask for one stroke more
        more = max(int(np.ceil(stroke / room * (1.0 - 1e-12))) - budget.strokes, 1)
    left = needed**2 - (lasting - largest.standard**2) - stroke / budget.strokes
    return Settling(
        needed=needed,
        strokes_more=more,
        lasting=float(np.sqrt(lasting)),
        dominant=largest.name,
        dominant_needed=float(np.sqrt(left)) if left > 0.0 else None,
    )
