"""What a visit tested: counts against a plain loop, and the words."""

import numpy as np
import pandas as pd
import pytest

from fleetwear.planning.coverage import mark_tested, say_coverage, vehicle_coverage
from fleetwear.vocabulary import Kind

KINDS = ["ball joint", "tie rod end", "kingpin", "drag link end"]


def fleet(rng):
    rows = [
        {"vehicle_id": v, "position_id": 10 * v + p, "kind": kind, "direction": str(direction)}
        for v in range(6)
        for p, kind in enumerate(KINDS)
        for direction in (*Kind(kind).test_directions, "up-down")
    ]
    joints = pd.DataFrame(rows).drop_duplicates(ignore_index=True)
    seen = joints[rng.random(len(joints)) < 0.5].assign(visit_date=pd.Timestamp("2026-09-01"))
    bare = pd.DataFrame({"vehicle_id": range(5), "visit_date": pd.Timestamp("2026-09-01")})
    return joints, pd.concat([seen[["vehicle_id", "visit_date", "position_id", "direction"]], bare], ignore_index=True)


@pytest.mark.parametrize("seed", range(5))
def test_counts_agree_with_a_plain_loop(seed):
    joints, tested = fleet(np.random.default_rng(seed))
    found = vehicle_coverage(mark_tested(joints, tested), tested)
    pairs = set(tested.dropna()[["vehicle_id", "position_id", "direction"]].itertuples(index=False, name=None))
    for vehicle in range(6):
        none = part = 0
        for p, kind in enumerate(KINDS):
            own = [(vehicle, 10 * vehicle + p, str(d)) in pairs for d in Kind(kind).test_directions]
            none += not any(own)
            part += any(own) and not all(own)
        row = found.loc[vehicle]
        assert (row["joints_untested"], row["joints_tested_in_part"], row["joints_to_test"]) == (none, part, len(KINDS))


DAY = pd.Timestamp("2026-09-01")
NOT_TESTED = "4 of 12 joints not tested at the last visit, 2026-09-01"
IN_PART = "1 of 12 joints tested in one load direction only at the last visit, 2026-09-01, which clears none"


@pytest.mark.parametrize(
    ("none", "part", "day", "words"),
    [
        (4, 0, DAY, NOT_TESTED),
        (4, 2, DAY, f"{NOT_TESTED}; 2 tested in one load direction only, which clears none"),
        (0, 1, DAY, IN_PART),
        (0, 0, DAY, "All of 12 joints tested in every load direction that tests them at the last visit, 2026-09-01"),
        (12, 0, None, "No visit is on record: none of 12 joints has been tested"),
        (0, 0, "none", ""),
    ],
)  # fmt: skip
def test_words(none, part, day, words):
    row = {"joints_to_test": 12, "joints_untested": none, "joints_tested_in_part": part, "last_visit_date": day}
    if day == "none":
        row["joints_to_test"] = np.nan
    assert say_coverage(row) == words
