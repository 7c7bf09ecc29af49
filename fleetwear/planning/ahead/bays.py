"""Bay hours: how long the jobs of each week and depot take, an alignment counted once a visit."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from fleetwear.planning.ahead.gathering import any_of
from fleetwear.planning.ahead.orders import quantity_that_covers

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import date

    from fleetwear.planning.ahead.jobs import Jobs


def bay_hours(jobs: Jobs, *, starts: Sequence[date], alignment_hours: float, cover: float) -> pd.DataFrame:
    """Return one row a week and depot: expected hours, the hours that cover most outcomes, jobs and alignments.

    Columns: week, week_start, depot, expected_hours, covers_hours, expected_jobs, expected_alignments, and
    without_hours (expected jobs whose part has no labour hours on record; they are in no sum).

    Parameters
    ----------
    jobs
        The jobs.
    starts
        Mondays of the weeks ahead.
    alignment_hours
        Hours of one alignment. A vehicle that is in for several jobs that call for one is aligned once.
    cover
        Share of outcomes that ``covers_hours`` covers.
    """
    live = np.flatnonzero(jobs.needed.any(axis=1))
    table = jobs.table.iloc[live].reset_index(drop=True)
    needed, week = jobs.needed[live], jobs.week[live]
    hours = table["hours"].to_numpy(dtype=np.float64)
    unknown = np.isnan(hours)
    # one visit is a vehicle at its service, or called in at once
    visit = table.groupby(["vehicle", "at_once"], sort=False).ngroup().to_numpy()
    rows = []
    for depot in sorted(table["depot"].unique()):
        at = np.flatnonzero((table["depot"] == depot).to_numpy())
        own = np.unique(visit[at], return_inverse=True)[1]
        for number, start in enumerate(starts):
            done = needed[at] & (week[at] == number)
            if not done.any():
                continue
            calls = done & table["alignment_after"].to_numpy(dtype=bool)[at][:, None]
            aligned = any_of(calls, own, int(own.max()) + 1)
            spent = np.where(unknown[at], 0.0, hours[at]) @ done + alignment_hours * aligned.sum(axis=0)
            rows.append(
                {
                    "week": number,
                    "week_start": start,
                    "depot": depot,
                    "expected_hours": float(spent.mean()),
                    "covers_hours": float(quantity_that_covers(spent, cover)),
                    "expected_jobs": float(done.sum(axis=0).mean()),
                    "expected_alignments": float(aligned.sum(axis=0).mean()),
                    "without_hours": float(done[unknown[at]].sum(axis=0).mean()) if unknown[at].any() else 0.0,
                }
            )
    columns = ["week", "week_start", "depot", "expected_hours", "covers_hours", "expected_jobs",
               "expected_alignments", "without_hours"]  # fmt: skip
    frame = pd.DataFrame(rows, columns=columns)
    return frame.sort_values(["week", "depot"]).reset_index(drop=True)
