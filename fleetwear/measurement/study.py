"""A repeatability study: joints, people and strokes, crossed; how much of what is read is the reading itself.

The interaction of people and joints is pooled into repeatability where its F test gives p above 0.25 (AIAG 2010,
chapter III), and where there is one stroke a cell, which cannot tell the two apart.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

from fleetwear.errors import FitError, InputError
from fleetwear.measurement import anova, ranges, reml
from fleetwear.measurement.cells import gather, interaction_test
from fleetwear.measurement.results import StudyResults

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

    from fleetwear.measurement.cells import Cells

POOL_ABOVE = 0.25
"""The interaction is pooled where its p is above this."""

_SAID = {"joint": "joint to joint", "people": "people", "interaction": "the interaction of people and joints"}


def analyse(
    joint: ArrayLike,
    person: ArrayLike,
    play: ArrayLike,
    *,
    method: Literal["auto", "anova", "average and range", "reml"] = "auto",
    level: float = 0.95,
    pool_above: float = POOL_ABOVE,
) -> StudyResults:
    """Return what a crossed study says of repeatability, reproducibility and joints.

    Parameters
    ----------
    joint, person
        What was read and who read it, one a reading; compared as text (n,).
    play
        The readings, in one unit (n,).
    method
        "auto" takes the analysis of variance where every person read every joint equally often, else restricted
        maximum likelihood.
    level
        The level of the intervals.
    pool_above
        The interaction is pooled where its p is above this.

    Raises
    ------
    InputError
        If the arrays do not go together or the level is not between 0 and 1.
    FitError
        If the study is too small, its people share no joints, or the method needs a balanced study and it is not.
    """
    if not 0.0 < level < 1.0:
        raise InputError(f"the level {level} is not between 0 and 1", mend="Give 0.95, say.")
    cells = gather(joint, person, play)
    chosen = ("anova" if cells.is_balanced else "reml") if method == "auto" else method
    if chosen != "reml" and not cells.is_balanced:
        raise FitError(
            f'the method "{chosen}" needs every person to read every joint equally often',
            mend='Use the method "reml", or complete the study.',
        )
    _, _, f, p = interaction_test(cells)
    pooled = not p <= pool_above  # nan: no test, nothing to keep apart
    table = None
    loglik = float("nan")
    below: set[str] = set()
    if chosen == "anova":
        components, below = anova.estimate(cells, pooled=pooled)
        intervals = anova.intervals(cells, pooled=pooled, level=level)
        table, how = anova.table(cells, pooled=pooled), anova.INTERVAL_METHOD
    elif chosen == "average and range":
        components, below = ranges.estimate(cells)
        intervals, how = {}, ranges.INTERVAL_METHOD
    else:
        components, loglik = reml.estimate(cells, pooled=pooled)
        intervals, how = reml.intervals(cells, pooled=pooled, level=level), reml.INTERVAL_METHOD
    filled = cells.counts[cells.counts > 0]
    return StudyResults(
        method=chosen,
        variances=components,
        intervals=intervals,
        level=level,
        interval_method=how,
        pooled=pooled,
        interaction_f=f,
        interaction_p=p,
        table=table,
        n_joints=len(cells.joints),
        n_people=len(cells.people),
        n_readings=cells.n_readings,
        strokes=(int(filled.min()), int(filled.max())),
        mean=cells.mean,
        loglik=loglik,
        notes=(*_notes(cells), *(f"The estimate of {_SAID[name]} came out below nought and is set to nought."
                                 for name in sorted(below))),
    )  # fmt: skip


def _notes(cells: Cells) -> list[str]:
    notes = []
    people, joints = len(cells.people), len(cells.joints)
    if people == 1:
        notes.append("One person took part, so differences between people are not in these figures.")
    elif people < 3:
        notes.append(f"With {people} people, reproducibility is known only roughly; three or more are usual.")
    if joints < 5:
        notes.append(f"With {joints} joints, joint-to-joint variation is known only roughly; ten are usual.")
    if cells.within_df == 0:
        notes.append("No cell holds two strokes, so repeatability includes the interaction of people and joints.")
    elif cells.within_ss == 0.0:
        notes.append(
            "Strokes of one joint by one person never differ: the indicator is too coarse for repeatability to show. "
            "Count its resolution instead."
        )
    empty = int((cells.counts == 0).sum())
    if empty:
        notes.append(f"{empty} of {cells.counts.size} pairs of joint and person were not read.")
    return notes
