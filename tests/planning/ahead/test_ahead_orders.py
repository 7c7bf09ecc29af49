"""Jobs, orders and bay hours against plain loops, and joint draws against the exact independent distribution."""

from datetime import date, timedelta

import numpy as np
import pandas as pd
import pytest
from scipy.stats import norm, poisson_binom

from fleetwear.planning.ahead.bays import bay_hours
from fleetwear.planning.ahead.gathering import any_of
from fleetwear.planning.ahead.jobs import make_jobs
from fleetwear.planning.ahead.orders import parts_to_order, quantity_that_covers
from fleetwear.planning.ahead.weeks import week_numbers, week_starts
from fleetwear.wear.shared import Sharing, draw_shared

AS_OF = date(2026, 11, 1)
STARTS = week_starts(AS_OF, 6)
NO_STOCK = pd.DataFrame(
    columns=["part_number", "depot", "on_hand", "on_order", "expected_date", "counted_on"], dtype=object
)


def joints(n, **changed):
    values = {
        "vehicle": np.arange(n) // 2, "vehicle_id": np.arange(n) // 2 + 100, "position_id": np.arange(n),
        "depot": "Hill", "axle": "front", "kind": "ball joint", "place": "lower", "at_once": False,
        "part_number": "P", "lead_days": 10.0, "labour_hours": 1.5, "pieces_per_joint": 1.0,
        "alignment_after": True, "ordered_in_pairs": False,
    }  # fmt: skip
    return pd.DataFrame(values | changed, index=range(n))


def drawn(n, n_draws=400, *, p=0.3, seed=2):
    rng = np.random.default_rng(seed)
    return rng.random((n, n_draws)) < p, rng.integers(0, 8, (n // 2, n_draws))


def test_weeks_begin_on_the_monday_of_the_following_day():
    assert STARTS[:2] == [date(2026, 11, 2), date(2026, 11, 9)]  # a Sunday's plan begins on the day after
    assert week_starts(date(2026, 11, 4), 1) == [date(2026, 11, 2)]
    assert week_numbers(AS_OF, np.array([0.5, 1.0, 7.0, 7.2, 8.0])).tolist() == [0, 0, 0, 1, 1]
    assert week_numbers(date(2026, 11, 4), np.array([4.0, 5.0])).tolist() == [0, 1]


def test_groups_are_gathered_as_a_loop_does():
    draws = np.random.default_rng(0).random((7, 50)) < 0.3
    group = np.array([3, 0, 3, 1, 0, 0, 1])
    gathered = any_of(draws, group, 5)
    for g in range(5):
        expected = [any(draws[row, k] for row in range(7) if group[row] == g) for k in range(50)]
        assert gathered[g].tolist() == expected


def test_the_quantity_of_independent_joints_is_that_of_the_poisson_binomial():
    """A sum of independent joints has the Poisson binomial distribution; scipy.stats.poisson_binom is exact."""
    p = np.array([0.05, 0.1, 0.3, 0.5, 0.7, 0.2, 0.9, 0.4])
    over = np.random.default_rng(4).random((len(p), 60_000)) < p[:, None]
    counts = over.sum(axis=0)
    exact = poisson_binom(p)
    for cover in (0.5, 0.8, 0.9, 0.95, 0.99):
        least = next(n for n in range(9) if exact.cdf(n) >= cover)
        margin = np.abs(exact.cdf(np.arange(9)) - cover).min()
        assert margin > 5 * np.sqrt(cover * (1 - cover) / 60_000), "the case must not lie on an edge"
        assert quantity_that_covers(counts, cover) == least
    assert counts.mean() == pytest.approx(exact.mean(), abs=0.03)


def test_independent_sums_undercover_when_joints_of_a_vehicle_wear_fast_together():
    """Eight joints of one vehicle, each over with probability 0.25, growth effects tied by 0.9."""
    n, n_draws, p = 8, 40_000, 0.25
    effect, reliability = np.zeros(n), np.zeros(n)
    z = draw_shared(
        Sharing(0.9, 0.9, ""), effect, reliability, np.zeros(n, dtype=np.int64), np.arange(n),
        n_draws=n_draws, rng=np.random.default_rng(8),
    )  # fmt: skip
    over = z > norm.ppf(1 - p)
    assert over.mean(axis=1) == pytest.approx(np.full(n, p), abs=0.02)
    independent = next(k for k in range(n + 1) if poisson_binom(np.full(n, p)).cdf(k) >= 0.9)
    counts = over.sum(axis=0)
    joint = int(quantity_that_covers(counts, 0.9))
    assert (counts <= independent).mean() < 0.84  # 90 % was asked for
    assert (counts <= joint).mean() >= 0.9
    assert joint > independent


def test_orders_are_what_plain_loops_count():
    frame = joints(12)
    over, week = drawn(12)
    jobs = make_jobs(frame, over, week)
    orders = parts_to_order(jobs, NO_STOCK, {}, starts=STARTS, as_of=AS_OF, cover=0.9)
    counts = np.zeros((len(STARTS), over.shape[1]))
    for w in range(len(STARTS)):
        for k in range(over.shape[1]):
            counts[w, k] = sum(over[j, k] and week[j // 2, k] <= w for j in range(12))
    needs = [sorted(counts[w])[int(np.ceil(0.9 * counts.shape[1])) - 1] for w in range(len(STARTS))]
    (row,) = orders.to_dict("records")
    assert row["expected"] == pytest.approx(counts[-1].mean())
    assert row["covers"] == needs[-1] == row["to_order"]
    first = next(w for w, need in enumerate(needs) if need > 0)
    assert row["needed_from"] == STARTS[first]
    assert row["order_by"] == STARTS[first] - timedelta(days=10)
    assert row["late"] == (AS_OF - row["order_by"]).days
    assert "order now" in row["note"]


def stock_of(on_hand, on_order, expected):
    return pd.DataFrame(
        {
            "part_number": ["P"], "depot": ["Hill"], "on_hand": [on_hand], "on_order": [on_order],
            "expected_date": [pd.Timestamp(expected) if expected else pd.NaT],
            "counted_on": [pd.Timestamp("2026-10-30")],
        }
    )  # fmt: skip


def test_stock_and_orders_are_taken_off_and_put_the_date_back():
    over = np.ones((4, 10), dtype=bool)
    week = np.array([[1] * 10, [4] * 10])
    jobs = make_jobs(joints(4, lead_days=7.0), over, week)

    def order(stock):
        return parts_to_order(jobs, stock, {}, starts=STARTS, as_of=AS_OF, cover=0.9).iloc[0]

    bare = order(NO_STOCK)
    assert (bare["to_order"], bare["needed_from"], bare["order_by"]) == (4, STARTS[1], AS_OF + timedelta(days=1))
    some = order(stock_of(2, 0, None))
    assert (some["to_order"], some["needed_from"], some["order_by"]) == (2, STARTS[4], date(2026, 11, 23))
    coming = order(stock_of(1, 1, "2026-11-04"))
    assert (coming["to_order"], coming["needed_from"]) == (2, STARTS[4])
    too_late = order(stock_of(2, 2, "2026-12-24"))
    assert (too_late["to_order"], too_late["order_by"]) == (0, None)
    assert "may come too late for the week of 2026-11-30" in too_late["note"]
    unknown = parts_to_order(
        make_jobs(joints(4, lead_days=np.nan), over, week), NO_STOCK, {}, starts=STARTS, as_of=AS_OF, cover=0.9
    ).iloc[0]
    assert unknown["order_by"] is None
    assert "no lead days on record: order-by date not known" in unknown["note"]


def test_pairs_take_both_sides_of_an_axle_once_and_pieces_count():
    over = np.zeros((4, 3), dtype=bool)
    over[0, 0] = over[0, 1] = over[1, 1] = over[2, 2] = True  # one side; both sides; the other vehicle
    week = np.zeros((2, 3), dtype=np.int64)
    jobs = make_jobs(joints(4, ordered_in_pairs=True), over, week)
    assert jobs.table["pieces"].tolist() == [2.0, 2.0]
    assert jobs.needed.sum(axis=0).tolist() == [1, 1, 1]
    alone = make_jobs(joints(1, ordered_in_pairs=True), over[:1], week)
    assert alone.table["pieces"].tolist() == [2.0]
    many = make_jobs(joints(4, pieces_per_joint=3.0), over, week)
    assert many.table["pieces"].tolist() == [3.0] * 4
    other_axles = joints(4, ordered_in_pairs=True, axle=["front", "rear", "front", "rear"])
    assert len(make_jobs(other_axles, over, week).table) == 4


def test_what_is_over_already_is_done_in_the_first_week_whatever_the_draw():
    over, week = drawn(4, p=0.0)
    jobs = make_jobs(joints(4, at_once=[True, False, False, False]), over, week + 3)
    assert jobs.needed[0].all()
    assert (jobs.week[0] == 0).all()
    assert not jobs.needed[1:].any()


def test_bay_hours_are_what_plain_loops_count_with_one_alignment_a_visit():
    frame = joints(12, labour_hours=[1.5, 2.0, np.nan] * 4, alignment_after=[True, True, False] * 4)
    frame["at_once"] = [k == 3 for k in range(12)]
    over, week = drawn(12)
    hours = bay_hours(make_jobs(frame, over, week), starts=STARTS, alignment_hours=0.75, cover=0.9)
    for w in range(len(STARTS)):
        spent = np.zeros(over.shape[1])
        for k in range(over.shape[1]):
            aligned = set()
            for j in range(12):
                at_once = j == 3
                if not (at_once or over[j, k]) or (0 if at_once else week[j // 2, k]) != w:
                    continue
                spent[k] += np.nan_to_num(frame["labour_hours"][j])
                if frame["alignment_after"][j]:
                    aligned.add((j // 2, at_once))
            spent[k] += 0.75 * len(aligned)
        row = hours[hours["week"] == w].iloc[0]
        assert row["expected_hours"] == pytest.approx(spent.mean())
        assert row["covers_hours"] == pytest.approx(sorted(spent)[int(np.ceil(0.9 * len(spent))) - 1])
    assert (hours["without_hours"] > 0).all()
