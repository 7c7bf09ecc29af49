"""Symptoms and the mate across the axle: counts against a plain loop, and words only where the record shows a tie."""

import numpy as np
import pandas as pd
import pytest

from fleetwear.forecast.mates import FEWEST, MateTie, mate_notes, tie_mates

DAY = pd.Timestamp("2025-01-01")


def fleet(rng, *, n_with, n_without, over_with, over_without):
    """Looks every 120 days; the first so many joints of each sort are over a hundred days after their start."""
    rows = []
    for number in range(n_with + n_without):
        noisy = number < n_with
        over = number < over_with if noisy else number - n_with < over_without
        since = DAY + pd.Timedelta(days=240) if noisy else pd.NaT
        rows += [
            {"vehicle_id": number, "position_id": 1, "kind": "ball joint", "mate_id": 2,
             "visit_date": DAY + pd.Timedelta(days=120 * look), "run_km": 20_000.0 * (1 + look),
             "is_over": over and look >= 3, "mate_symptom_date": since}
            for look in range(5)
        ]  # fmt: skip
    return pd.DataFrame(rows).sample(frac=1.0, random_state=int(rng.integers(1000)))


def test_counts_and_interval_where_there_is_a_tie():
    looks = fleet(np.random.default_rng(0), n_with=20, n_without=180, over_with=12, over_without=20)
    tie = tie_mates([looks])["ball joint"]
    assert (tie.over_with, tie.n_with, tie.over_without, tie.n_without) == (12, 20, 20, 180)
    assert tie.is_shown
    assert tie.lower > 1.0
    assert (
        "in this fleet, of 20 joints of this kind whose mate across the axle had a confirmed symptom, 12" in tie.words()
    )


def test_nothing_is_said_where_the_interval_holds_one():
    looks = fleet(np.random.default_rng(1), n_with=20, n_without=180, over_with=4, over_without=25)
    assert not tie_mates([looks])["ball joint"].is_shown


def test_nothing_is_said_with_too_few():
    looks = fleet(np.random.default_rng(2), n_with=FEWEST - 1, n_without=50, over_with=4, over_without=0)
    assert tie_mates([looks]) == {}
    assert tie_mates([looks.iloc[:0]]) == {}


def test_a_joint_over_before_and_one_not_read_again_are_left_out():
    looks = fleet(np.random.default_rng(3), n_with=10, n_without=30, over_with=0, over_without=0)
    before = (looks["vehicle_id"] == 0) & (looks["run_km"] == 20_000.0)
    looks.loc[before, "is_over"] = True
    unread = (looks["vehicle_id"] == 1) & (looks["visit_date"] >= looks["mate_symptom_date"])
    tie = tie_mates([looks[~unread]])["ball joint"]
    assert (tie.n_with, tie.n_without) == (8, 30)


def test_kinds_share_the_level_out():
    one = fleet(np.random.default_rng(4), n_with=20, n_without=60, over_with=10, over_without=10)
    both = pd.concat([one, one.assign(kind="kingpin")])
    alone, shared = tie_mates([one])["ball joint"], tie_mates(own for _, own in both.groupby("kind"))["ball joint"]
    assert shared.lower < alone.lower
    assert shared.upper > alone.upper


@pytest.mark.parametrize(("lower", "said"), [(1.2, True), (0.9, False)])
def test_the_note_stands_at_the_mate_alone_and_only_where_shown(lower, said):
    tie = MateTie("ball joint", 12, 20, 20, 180, 11.0, lower, 40.0)
    joints = pd.DataFrame(
        {
            "vehicle_id": [1, 1, 1, 2],
            "position_id": [1, 2, 3, 1],
            "kind": "ball joint",
            "symptom": ["knock", "", "", ""],
        }
    )
    positions = pd.DataFrame({"position_id": [1, 2], "mate_id": [2, 1]})
    notes = mate_notes(joints, positions, {"ball joint": tie})
    assert notes.ne("").tolist() == [False, said, False, False]
