"""Parts to order: how many each part number's jobs take, the quantity that covers most outcomes, and by when.

Outcomes are joint draws: joints of a vehicle wear fast together, so that the spread of their number is wider than
that of independent joints (whose exact distribution is the Poisson binomial), and a quantity that covers 90 % of the
latter covers fewer of the true ones.
"""

from __future__ import annotations

from datetime import date, timedelta
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from fleetwear.planning.ahead.stock import shelf_of
from fleetwear.planning.wording import is_known, say_count, say_date

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from fleetwear.planning.ahead.jobs import Jobs
    from fleetwear.planning.ahead.stock import Shelf
    from fleetwear.wear.sums import Floats


def quantity_that_covers(counts: Floats, cover: float) -> Floats:
    """Return the least numbers that are not exceeded with probability ``cover`` at least.

    Parameters
    ----------
    counts
        Draws along the last axis.
    cover
        Share of outcomes, between 0 and 1.
    """
    return np.asarray(np.quantile(counts, cover, axis=-1, method="inverted_cdf"))


def pieces_by_week(jobs: Jobs, rows: NDArray[np.int64], weeks: int) -> Floats:
    """Return how many pieces some jobs have taken by the end of each week, draw by draw, (weeks, K)."""
    pieces = jobs.table["pieces"].to_numpy(dtype=np.float64)[rows]
    taken = np.zeros((weeks, jobs.needed.shape[1]))
    for row, count in zip(rows, pieces, strict=True):
        inside = jobs.needed[row] & (jobs.week[row] < weeks)
        draws = np.flatnonzero(inside)
        taken[jobs.week[row, draws], draws] += count
    return np.cumsum(taken, axis=0)


def parts_to_order(
    jobs: Jobs, stock: pd.DataFrame, superseded: dict[str, str], *, starts: Sequence[date], as_of: date, cover: float
) -> pd.DataFrame:
    """Return one row a part number and depot whose jobs may come within the weeks, the earliest order first.

    Columns: depot, part_number, supplier-free figures expected (mean pieces), covers (the quantity that covers
    ``cover`` of the outcomes), on_hand, on_order, to_order, order_by, late (days by which order_by lies before the
    as-of date, 0 if it does not), needed_from (Monday of the first week that stock does not cover), lead_days, note.

    Parameters
    ----------
    jobs
        Jobs of joints whose part is known.
    stock
        Rows of ``ahead/stock.sql``.
    superseded
        Which number takes the place of which.
    starts
        Mondays of the weeks ahead.
    as_of, cover
        The day that is looked from, and the share of outcomes to cover.
    """
    columns = ["depot", "part_number", "expected", "covers", "on_hand", "on_order", "to_order", "order_by", "late",
               "needed_from", "lead_days", "note"]  # fmt: skip
    live = np.flatnonzero(jobs.needed.any(axis=1))
    table = jobs.table.iloc[live].reset_index(drop=True)
    rows = []
    for (depot, number), group in table.groupby(["depot", "part_number"], sort=True):
        taken = pieces_by_week(jobs, live[group.index.to_numpy()], len(starts))
        if not taken[-1].any():
            continue
        shelf = shelf_of(stock, str(number), str(depot), superseded)
        rows.append(_order(str(depot), str(number), taken, group["lead_days"].iloc[0], shelf, starts, as_of, cover))
    frame = pd.DataFrame(rows, columns=columns)
    return frame.sort_values(["order_by", "depot", "part_number"], na_position="last").reset_index(drop=True)


def _order(
    depot: str,
    number: str,
    taken: Floats,
    lead_days: Any,
    shelf: Shelf,
    starts: Sequence[date],
    as_of: date,
    cover: float,
) -> dict[str, object]:
    need = quantity_that_covers(taken, cover)
    at_hand = np.array([shelf.by(start) for start in starts])
    short = np.flatnonzero(need > at_hand)
    to_order = max(0, int(need[-1]) - shelf.on_hand - shelf.on_order)
    notes = list(shelf.notes)
    from_ = starts[short[0]] if len(short) else None
    order_by, late = None, 0
    if to_order and from_ is not None and is_known(lead_days):
        order_by = from_ - timedelta(days=int(lead_days))
        late = max((as_of - order_by).days, 0)
        if late:
            notes.append(f"should have been ordered {say_count(late, 'day', 'days')} ago: order now")
    elif to_order and not is_known(lead_days):
        notes.append("no lead days on record: order-by date not known")
    elif from_ is not None:
        notes.append(f"what is on order may come too late for the week of {say_date(from_)}")
    return {
        "depot": depot, "part_number": number, "expected": float(taken[-1].mean()), "covers": int(need[-1]),
        "on_hand": shelf.on_hand, "on_order": shelf.on_order, "to_order": to_order, "order_by": order_by,
        "late": late, "needed_from": from_, "lead_days": lead_days, "note": "; ".join(notes),
    }  # fmt: skip
