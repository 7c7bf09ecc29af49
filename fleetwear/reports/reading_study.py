"""How well a reading is known, in tables and in words: studies, budgets and decisions, in a person's own unit."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from fleetwear.errors import InputError
from fleetwear.measurement.study import POOL_ABOVE
from fleetwear.units import factor, parse_measure, say
from fleetwear.vocabulary import Verdict

if TYPE_CHECKING:
    from fleetwear.intake.study_file import StudyFile
    from fleetwear.measurement import Budget, Decision, StudyResults

_DIGITS = {"thou": 2, "in": 5, "mm": 4, "um": 1}
"""Digits of standard deviations: two more than readings have."""

_NONE = ""
_OF_READINGS = {"repeatability", "reproducibility", "gauge R&R"}
"""The variations that are the readings' own, and are set against a limit."""
_MANY_STROKES = 30
"""More strokes than this at one joint are said to be no way out."""

QUANTITY_WORDS = {
    "repeatability": "strokes of one joint by one person",
    "reproducibility": "between people",
    "gauge R&R": "one stroke by anyone: both together",
    "joint to joint": "between the joints of the study",
    "total": "all together",
}
CONTRIBUTION_WORDS = {
    "repeatability": "the scatter of strokes",
    "resolution": "the indicator's resolution",
    "setup": "the setup",
    "reproducibility": "the difference between people",
}
_SHRINK = {
    "repeatability": "take more strokes",
    "resolution": "use a finer indicator",
    "setup": "use a method whose setup repeats better (one support, one lever point, one place of the indicator)",
    "reproducibility": "agree on one procedure, or let one person read",
}


def say_small(value_mm: float, unit: str) -> str:
    """Return a standard deviation or an uncertainty in a person's unit, two significant digits: "0.051 mm"."""
    shown = value_mm * factor("mm", unit)
    if not np.isfinite(shown):
        return "not known" if np.isnan(shown) else "without bound"
    if shown == 0.0:
        return f"0 {unit}"
    digits = max(1 - int(np.floor(np.log10(abs(shown)))), 0)
    return f"{shown:,.{digits}f} {unit}"


def _percent(share: float) -> str:
    if np.isnan(share):
        return _NONE
    return f"{100.0 * share:.1f} %" if share < 0.9995 or share > 1.0005 else "100 %"


def variation_table(study: StudyResults, unit: str, *, limit_mm: float | None = None) -> pd.DataFrame:
    """Return the variations of a study for people, one row each; empty cells where the study cannot tell."""
    rows = study.frame(limit_mm)
    level = f"{study.level:.0%} interval".replace("%", " %")
    out = pd.DataFrame(
        {
            "variation": rows["quantity"],
            "meaning": rows["quantity"].map(QUANTITY_WORDS),
            "standard deviation": [say_small(value, unit) for value in rows["deviation"]],
            level: [
                _NONE
                if np.isnan(low)
                else f"{say_small(low, unit).removesuffix(' ' + unit)} to {say_small(high, unit)}"
                for low, high in zip(rows["lower"], rows["upper"], strict=True)
            ],
            "share of total": [_percent(value) for value in rows["share_of_total"]],
            "share of limit": [
                _percent(value) if quantity in _OF_READINGS else _NONE
                for quantity, value in zip(rows["quantity"], rows["share_of_limit"], strict=True)
            ],
        }
    )
    return out if limit_mm is not None else out.drop(columns="share of limit")


def variation_figures(study: StudyResults, unit: str, *, limit_mm: float | None = None) -> pd.DataFrame:
    """Return the variations of a study as figures: quantity, deviation, lower, upper in the unit, unit, shares."""
    rows = study.frame(limit_mm)
    scale = factor("mm", unit)
    for name in ("deviation", "lower", "upper"):
        rows[name] = (rows[name] * scale).replace([np.inf], np.nan).round(_DIGITS[unit] + 2)
    for name in ("share_of_variance", "share_of_total", "share_of_limit"):
        rows[name] = rows[name].round(5)
    rows.insert(4, "unit", unit)
    return rows


def study_words(study: StudyResults, unit: str, *, limit_mm: float | None = None) -> list[str]:
    """Return what a study says, sentence by sentence, and what it means for a limit."""
    fewest, most = study.strokes
    strokes = f"{fewest}" if fewest == most else f"{fewest} to {most}"
    who, by = ("this person", "") if study.n_people == 1 else ("anyone", " by two people")
    words = [
        f"{study.n_readings} readings: {_count(study.n_joints, 'joint')}, "
        f"{_count(study.n_people, 'person', 'people')}, {strokes} stroke{'' if most == 1 else 's'} each; "
        f"mean {say(study.mean, unit, stored_in='mm')}.",
        _method_words(study),
        f"One stroke by {who} has a standard deviation of {say_small(study.gauge, unit)} (gauge R&R); two such "
        f"readings of one joint{by} differ by more than {say_small(1.96 * np.sqrt(2.0) * study.gauge, unit)} once "
        f"in twenty times.",
        _share_words(study),
    ]
    if limit_mm is not None:
        words += _limit_words(study, unit, limit_mm)
    if study.intervals:
        words.append(f"Intervals: {study.interval_method}.")
    return [*(word for word in words if word), *study.notes]


def _count(number: int, one: str, many: str = "") -> str:
    return f"{number} {one if number == 1 else many or one + 's'}"


def _method_words(study: StudyResults) -> str:
    name = {
        "anova": "Analysis of variance",
        "average and range": "Average-and-range method",
        "reml": "Restricted maximum likelihood (the study is not complete and balanced)",
    }[study.method]
    if study.method == "average and range" or study.n_people == 1:
        return f"{name}."
    if np.isnan(study.interaction_p):
        return f"{name}; the interaction of people and joints could not be tested and counts as repeatability."
    test = f"F {study.interaction_f:.3f}, p {study.interaction_p:.4f}"
    if study.pooled:
        return (
            f"{name}; the interaction of people and joints ({test}) is pooled into repeatability, "
            f"as p is above {POOL_ABOVE:g}."
        )
    return (
        f"{name}; the interaction of people and joints ({test}) counts as reproducibility, "
        f"as p is not above {POOL_ABOVE:g}."
    )


def _share_words(study: StudyResults) -> str:
    if np.isnan(study.share_of_total):
        return ""
    groups = study.distinct_categories
    told = "any number" if np.isinf(groups) else f"{int(groups)}"
    interval = study.intervals.get("share")
    span = "" if interval is None else f" ({100 * interval[0]:.1f} to {100 * interval[1]:.1f} %)"
    return (
        f"Gauge R&R is {_percent(study.share_of_total)} of total variation{span}; readings tell {told} groups of these "
        f"joints apart (distinct categories {groups:.2f}). Custom calls below 10 % good, above 30 % too much, and asks "
        f"for five categories (AIAG 2010); it depends on how different the joints of the study are."
    )


def _limit_words(study: StudyResults, unit: str, limit_mm: float) -> list[str]:
    expanded = 2.0 * study.gauge
    limit = say(limit_mm, unit, stored_in="mm")
    low, high = (say(max(end, 0.0), unit, stored_in="mm") for end in (limit_mm - expanded, limit_mm + expanded))
    words = [
        f"Against a limit of {limit}: six standard deviations of gauge R&R take "
        f"{_percent(study.share_of_limit(limit_mm))} of the span from no play to the limit.",
        f"One stroke near {limit} is known to about {say_small(expanded, unit)} either way (k = 2; setup between "
        f"visits and resolution are not in it): a single stroke between {low} and {high} does not settle by itself "
        f"whether the play is over.",
    ]
    if study.share_of_limit(limit_mm) > 1.0:
        words.append("That is wider than the limit itself: read in this way, a single stroke cannot judge this limit.")
    return words


def anova_table(study: StudyResults) -> pd.DataFrame | None:
    """Return the analysis of variance rounded for people; none for other methods."""
    if study.table is None:
        return None
    out = study.table.copy()
    for name in ("sum_of_squares", "mean_square", "f", "p"):
        out[name] = [float(f"{value:.5g}") for value in out[name]]
    return out


def read_limit(text: str) -> float:
    """Return a limit such as "0.5 mm" in mm.

    Raises
    ------
    InputError
        If it is no number with a unit, or not above nought.
    """
    value, unit = parse_measure(text, "play")
    if value <= 0.0:
        raise InputError(f"the limit {text!r} is not above zero", mend='Write it like "0.5 mm" or "20 thou".')
    return value * factor(unit, "mm")


def study_json(study: StudyResults, file: StudyFile, *, limit_mm: float | None = None) -> str:
    """Return a study as JSON: how it was made, its variations, analysis of variance, words and refused rows."""
    unit = file.play_unit
    anova = anova_table(study)
    groups = study.distinct_categories
    out = {
        "file": file.name,
        "unit": unit,
        "method": study.method,
        "joints": study.n_joints,
        "people": study.n_people,
        "readings": study.n_readings,
        "mean": study.mean * factor("mm", unit),
        "interaction": {"f": study.interaction_f, "p": study.interaction_p, "pooled": study.pooled},
        "level": study.level,
        "interval_method": study.interval_method,
        "limit": None if limit_mm is None else limit_mm * factor("mm", unit),
        "variations": variation_figures(study, unit, limit_mm=limit_mm).to_dict(orient="records"),
        "share_of_total_interval": study.intervals.get("share"),
        "distinct_categories": groups,
        "analysis_of_variance_mm": None if anova is None else anova.to_dict(orient="records"),
        "words": study_words(study, unit, limit_mm=limit_mm),
        "refused": [{"row": row.row, "what": row.what, "mend": row.mend} for row in file.refused],
    }
    return json.dumps(_without_nan(out), indent=2, ensure_ascii=False) + "\n"


def _without_nan(value: object) -> object:
    """Return a value with null in the place of numbers that JSON does not know."""
    if isinstance(value, dict):
        return {name: _without_nan(one) for name, one in value.items()}
    if isinstance(value, (list, tuple)):
        return [_without_nan(one) for one in value]
    return None if isinstance(value, float) and not np.isfinite(value) else value


def refused_words(file: StudyFile) -> list[str]:
    """Return the refused rows, each with what is wrong and how to mend it."""
    return [f"{file.name}, {row}" for row in file.refused]


def budget_table(budget: Budget, unit: str) -> pd.DataFrame:
    """Return a budget for people: contribution, given, standard uncertainty, share, basis; combined and expanded."""
    rows = [
        (one.name, say_small(one.given, unit), say_small(one.standard, unit), _percent(one.share), one.basis)
        for one in budget.contributions
    ]
    rows.append(("combined", _NONE, say_small(budget.combined, unit), "100 %", "root of the sum of squares"))
    k = f"{budget.coverage_factor:g}"
    rows.append(("expanded", _NONE, say_small(budget.expanded, unit), _NONE, f"k = {k}: about 95 % of true plays within"
                 if budget.coverage_factor == 2.0 else f"k = {k}"))  # fmt: skip
    return pd.DataFrame(rows, columns=["contribution", "given", "standard uncertainty", "share", "basis"])


def decision_words(decision: Decision, budget: Budget, unit: str) -> list[str]:
    """Return what a reading says against its limit, sentence by sentence; the verdict itself is `decision.verdict`."""
    reading, limit = (say(value, unit, stored_in="mm") for value in (decision.reading, decision.limit))
    risk = f"{decision.accepted_risk:g}"
    words = [
        f"{reading}, known to {say_small(decision.expanded, unit)} either way (k = {budget.coverage_factor:g}), "
        f"against a limit of {limit}: the probability that the play is over it is "
        f"{_probability(decision.probability_over)}."
    ]
    if decision.verdict in (Verdict.BEYOND_DOUBT_OVER, Verdict.BEYOND_DOUBT_UNDER):
        side = "over" if decision.verdict == Verdict.BEYOND_DOUBT_OVER else "under"
        words.append(f"It lies {side} the limit by more than its expanded uncertainty (guard band, ISO 14253-1).")
    elif decision.verdict in (Verdict.OVER, Verdict.UNDER):
        words.append(
            f"It lies within its expanded uncertainty of the limit, but the risk that \u201c{decision.verdict}\u201d "
            f"is wrong is no more than the accepted {risk}."
        )
    else:
        words.append(
            f"It lies so near to the limit that either word, over or under, could be wrong with a probability above "
            f"the accepted {risk}."
        )
    if decision.settling is not None:
        words.append(_settling_words(decision, budget, unit))
    if decision.reading > decision.limit and decision.verdict == Verdict.TOO_CLOSE:
        words.append("A reading over its limit counts as over in the flags, however uncertain it is.")
    return words


def _settling_words(decision: Decision, budget: Budget, unit: str) -> str:
    settling = decision.settling
    assert settling is not None
    if settling.needed == 0.0:
        return "It lies at the limit itself: no number of strokes settles that; read again at another visit."
    enough = f"a standard uncertainty of {say_small(settling.needed, unit)}, an expanded one of "
    enough += say_small(settling.needed * budget.coverage_factor, unit)
    if settling.strokes_more is not None and settling.strokes_more <= _MANY_STROKES:
        more = _count(settling.strokes_more, "more stroke")
        return f"{more}, if their mean stays there, would settle it: that takes {enough}."
    if settling.strokes_more is not None:
        return (
            f"It takes {enough}: {settling.strokes_more:,} more strokes, more than anyone takes. "
            f"{_other_way(decision, unit)}"
        )
    return (
        f"No number of strokes settles it: that takes {enough}, and what strokes do not make smaller is "
        f"{say_small(settling.lasting, unit)} by itself. {_other_way(decision, unit)}"
    )


def _other_way(decision: Decision, unit: str) -> str:
    settling = decision.settling
    assert settling is not None
    largest = CONTRIBUTION_WORDS[settling.dominant]
    way = _SHRINK[settling.dominant]
    if settling.dominant_needed is None:
        return f"Most of that is {largest}: {way}, and take more strokes as well."
    return (
        f"Most of that is {largest}: {way}; with these strokes it would have to be "
        f"{say_small(settling.dominant_needed, unit)} or less."
    )


def _probability(p: float) -> str:
    if p < 0.005:
        return "below 0.01"
    return "above 0.99" if p > 0.995 else f"{p:.3f}" if p < 0.1 else f"{p:.2f}"


ACCEPTED_RISK_WORDS = (
    "The accepted risk is the highest probability of saying over or under and being wrong. 0.05 is the 95 % rule of "
    "ISO 14253-1:2017; where a joint over its limit that passes is dearer than a good one replaced, take it lower: "
    "with costs 9 to 1 the risk at which both cost the same is 0.1, with 99 to 1 it is 0.01. At 0.02275 and below, "
    "over and under fall together with beyond doubt."
)
