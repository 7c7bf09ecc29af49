"""Parts with what they are ordered as, stock and actions: what is taken, what is refused, what is known again."""

from datetime import date

import pytest

JOINT = "left front lower ball joint"
PARTS = "part number,kind,lead days\nP,kingpin,3\nQ,kingpin,4\n"

REFUSED = [
    ("parts", "part number,kind,lead days,pieces per joint\nX,kingpin,3,0\n", 'joint "0" must be above zero'),
    ("parts", "part number,kind,lead days,ordered in pairs\nX,kingpin,3,both\n", '"both" is neither yes nor no'),
    (
        "parts",
        "part number,kind,lead days,superseded by\nX,kingpin,3,X\n",
        "the numbers supersede each other in a circle (X > X): leave the number that is ordered now without one",
    ),
    ("stock", "part number,depot,on hand,counted on\nZZ,Hill,1,2024-05-01\n", 'part number "ZZ" is not on record'),
    ("stock", "part number,depot,on hand,counted on\nP,Hill,-1,2024-05-01\n", 'on hand "-1" is negative'),
    ("stock", "part number,depot,on hand,on order,counted on\nP,Hill,1,-2,2024-05-01\n", 'on order "-2" is negative'),
    ("stock", "part number,depot,on hand,counted on\nP,Hill,1,2024-06-02\n", "lies in the future"),
    ("stock", "part number,depot,on hand,counted on\nP,,1,2024-05-01\n", "depot is empty"),
    ("actions", f"unit,action date,joint,action\nA1,2024-05-01,{JOINT},wished\n", 'action "wished" is not known'),
    ("actions", "unit,action date,joint,action\nA1,2024-05-01,tail,ordered\n", '"tail" is not a joint of model'),
    ("actions", f"unit,action date,joint,action\nA9,2024-05-01,{JOINT},ordered\n", 'unit "A9" is not a known vehicle'),
    ("actions", f"unit,action date,joint,action\nA1,2024-06-02,{JOINT},booked\n", "lies in the future"),
]  # fmt: skip


@pytest.mark.parametrize(("table", "text", "reason"), REFUSED, ids=[reason[:40] for _, _, reason in REFUSED])
def test_what_cannot_be_is_refused_with_a_reason(bench, table, text, reason):
    bench.load("parts0.csv", PARTS)
    summary = bench.load(f"{table}.csv", text)
    assert (summary.table, summary.rows_in, summary.rows_quarantined) == (table, 0, 1)
    ((told,),) = bench.reasons()
    assert reason in told


def test_a_circle_over_two_files_is_refused_and_a_chain_is_not(bench):
    bench.load("one.csv", "part number,kind,lead days,superseded by\nA,kingpin,3,B\nB,kingpin,3,C\n")
    assert bench.load("two.csv", "part number,kind,lead days,superseded by\nC,kingpin,3,D\n").rows_in == 1
    summary = bench.load("three.csv", "part number,kind,lead days,superseded by\nD,kingpin,3,A\n")
    assert summary.rows_quarantined == 1
    assert "in a circle (D > A > B > C > D)" in bench.reasons()[0][0]
    # the newest row of a number stands: A no longer leads to B, so that D may lead to A
    bench.load("four.csv", "part number,kind,lead days,superseded by\nA,kingpin,4,\n")
    assert bench.load("five.csv", "part number,kind,lead days,superseded by\nD,kingpin,3,A\n").rows_in == 1


def test_parts_stock_and_actions_are_kept_as_they_mean(bench):
    bench.load(
        "parts.csv", "part number,kind,lead days,superseded by,ordered in pairs,pieces per joint\nP,kingpin,3,Q,yes,2\n"
    )
    bench.load(
        "stock.csv",
        "part number,depot,on hand,on order,expected date,counted on\nP,Hill,1,2,2024-07-01,2024-05-31\n",
    )
    bench.load(
        "actions.csv", f"unit,action date,joint,action,by,note\na1,2024-05-31,{JOINT.upper()},Found Good,T3,dry\n"
    )
    assert bench.rows("select superseded_by, ordered_in_pairs, pieces_per_joint from parts") == [("Q", True, 2)]
    assert bench.rows("select on_hand, on_order, expected_date, counted_on from stock") == [
        (1, 2, date(2024, 7, 1), date(2024, 5, 31))
    ]
    assert bench.rows("select action, done_by, note from actions") == [("found good", "T3", "dry")]


def test_files_loaded_again_bring_nothing_and_a_parts_file_of_before_is_known(bench):
    bench.load("parts.csv", PARTS)
    keys = bench.rows("select row_key from parts order by part_id")
    files = {
        "again.csv": PARTS.replace("lead days", "lead days,ordered in pairs").replace(",3", ",3,").replace(",4", ",4,"),
        "stock.csv": "part number,depot,on hand,counted on\nP,Hill,1,2024-05-01\n",
        "actions.csv": f"unit,action date,joint,action\nA1,2024-05-01,{JOINT},ordered\n",
    }
    assert bench.load("again.csv", files["again.csv"]).rows_in == 0
    assert bench.rows("select row_key from parts order by part_id") == keys
    for name in ("stock.csv", "actions.csv"):
        assert bench.load(name, files[name]).rows_in == 1
        assert bench.load(name, files[name]).rows_known == 1
