"""Limits begin on dates: the day decides which holds, against a plain loop."""

import numpy as np
import pandas as pd
import pytest

from fleetwear.forecast.limits import LIMIT, limits_on, with_limits


def candidates(rng, n_series):
    rows = []
    first = pd.Timestamp("2024-01-01")
    for series in range(n_series):
        for rank in range(1, 1 + int(rng.integers(0, 5))):
            begins = first + pd.Timedelta(days=int(rng.integers(0, 900)))
            rows.append({"series": series, "rank": rank, "limit_valid_from": begins, "limit_id": len(rows)})
    table = pd.DataFrame(rows)
    blank = dict.fromkeys(["limit_basis", "limit_method", "limit_support", "limit_read_at"])
    return table.assign(limit_mm=0.5 + 0.01 * table["limit_id"], limit_source="sheet", **blank)


@pytest.mark.parametrize("or_first", [False, True])
def test_the_lowest_rank_that_has_begun_holds(or_first):
    rng = np.random.default_rng(4)
    table = candidates(rng, 40)
    series = pd.Series(np.arange(40))
    day = pd.Series([pd.Timestamp("2024-06-01") + pd.Timedelta(days=int(d)) for d in rng.integers(0, 700, 40)])
    day[3] = pd.NaT
    found = limits_on(table, series, day, or_first=or_first)
    for at in range(40):
        own = table[table["series"] == at].to_dict("records")
        begun = [row for row in own if row["limit_valid_from"] <= day[at]]
        best = min(begun, key=lambda row: row["rank"], default=None)
        if best is None and or_first and day.notna()[at]:
            best = min(own, key=lambda row: (row["limit_valid_from"], row["rank"]), default=None)
        got = found.loc[at, "limit_id"]
        assert (np.isnan(got) and best is None) or got == best["limit_id"]


def test_a_reading_is_judged_by_its_day_and_the_forecast_by_the_next_service():
    table = pd.DataFrame(
        [
            {"series": 0, "rank": 2, "limit_valid_from": pd.Timestamp("2020-01-01"), "limit_id": 1, "limit_mm": 0.8},
            {"series": 0, "rank": 1, "limit_valid_from": pd.Timestamp("2026-12-01"), "limit_id": 2, "limit_mm": 0.7},
        ]
    ).assign(limit_source="sheet", limit_basis="shop", limit_method=None, limit_support=None, limit_read_at=None)
    facts = pd.DataFrame({"series": [0], "measured_date": [pd.Timestamp("2026-09-01")]}).assign(**dict.fromkeys(LIMIT))
    for next_service, limit in (("2026-11-30", 0.8), ("2026-12-01", 0.7)):
        found = with_limits(facts, table, np.array([pd.Timestamp(next_service)], dtype=object)).iloc[0]
        assert (found["limit_mm"], found["judged_limit_mm"]) == (limit, 0.8)
