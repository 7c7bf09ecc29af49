"""Which part a joint takes, chains of superseded numbers, and what lies on the shelf."""

from datetime import date

import pandas as pd
import pytest

from fleetwear.errors import InputError
from fleetwear.planning.ahead.catalogue import fit_parts, follow, part_of, superseded_numbers
from fleetwear.planning.ahead.stock import shelf_of


def part(number, *, model=None, kind="ball joint", place=None, by=None, no=1, **other):
    row = {
        "part_number": number, "model": model, "kind": kind, "place": place, "supplier": None, "cost": 10.0,
        "lead_days": 4, "labour_hours": 1.0, "alignment_after": True, "superseded_by": by,
        "ordered_in_pairs": False, "pieces_per_joint": 1, "place_no": no,
    }  # fmt: skip
    return row | other


def fit_of(parts, **asked):
    return part_of(parts, superseded_numbers(parts), **asked)


def test_the_closest_part_is_taken():
    parts = pd.DataFrame(
        [
            part("ANY", no=1),
            part("VAN", model="Van", no=2),
            part("LOW", place="lower", no=3),
            part("VANLOW", model="Van", place="lower", no=4),
            part("VANLOW2", model="Van", place="lower", no=5),
        ]
    )
    fit = fit_of(parts, model="Van", kind="ball joint", place="lower")
    assert (fit.row["part_number"], fit.others) == ("VANLOW", ("VANLOW2",))
    assert fit_of(parts, model="Van", kind="ball joint", place="upper").row["part_number"] == "VAN"
    assert fit_of(parts, model="Bus", kind="ball joint", place="lower").row["part_number"] == "LOW"
    assert fit_of(parts, model="Bus", kind="ball joint", place=None).row["part_number"] == "ANY"
    assert fit_of(parts, model="Bus", kind="kingpin", place=None) is None


def test_a_chain_is_followed_to_its_end_with_the_figures_of_the_last():
    parts = pd.DataFrame([part("A", by="B"), part("B", by="C", no=2), part("C", no=3, lead_days=9)])
    fit = fit_of(parts, model="Van", kind="ball joint", place=None)
    assert fit.chain == ("A", "B", "C")
    assert (fit.row["part_number"], fit.row["lead_days"], fit.others) == ("C", 9, ())
    bare = fit_of(pd.DataFrame([part("A", by="Z")]), model="Van", kind="ball joint", place=None)
    assert (bare.row["part_number"], bare.row["lead_days"]) == ("Z", 4)


def test_a_circle_is_refused_with_its_numbers():
    with pytest.raises(InputError, match=r"in a circle: A > B > C > A\. Load a row of a parts file"):
        follow("A", {"A": "B", "B": "C", "C": "A"})
    with pytest.raises(InputError, match="in a circle: A > A"):
        follow("A", {"A": "A"})
    parts = pd.DataFrame([part("A", by="B"), part("B", by="A", no=2)])
    with pytest.raises(InputError, match="in a circle"):
        fit_of(parts, model="Van", kind="ball joint", place=None)


def test_a_joint_without_a_part_has_nothing_and_is_not_given_a_guess():
    joints = pd.DataFrame({"model": ["Van", "Van"], "kind": ["ball joint", "kingpin"], "place": [None, None]})
    fitted = fit_parts(joints, pd.DataFrame([part("A")]))
    assert fitted["part_number"].tolist()[0] == "A"
    assert fitted["part_number"].isna().tolist() == [False, True]
    assert fitted["lead_days"].isna().tolist() == [False, True]


def test_a_shelf_is_the_latest_count_and_an_order_counts_from_its_day():
    stock = pd.DataFrame(
        {
            "part_number": ["C", "A", "C"], "depot": ["Hill", "Hill", "Harbour"], "on_hand": [1, 2, 9],
            "on_order": [3, 0, 0], "expected_date": [pd.Timestamp("2026-11-12"), pd.NaT, pd.NaT],
            "counted_on": [pd.Timestamp("2026-10-30")] * 3,
        }
    )  # fmt: skip
    shelf = shelf_of(stock, "C", "hill", {"A": "B", "B": "C"})
    assert (shelf.on_hand, shelf.on_order) == (1, 3)
    assert [shelf.by(date(2026, 11, day)) for day in (11, 12, 13)] == [1, 1, 4]
    assert "2 of the superseded A not counted" in shelf.notes
    undated = shelf_of(stock.assign(expected_date=pd.NaT), "C", "Hill", {})
    assert undated.by(date(2030, 1, 1)) == 1
    assert "on order without an expected date: not counted on for dates" in undated.notes
    none = shelf_of(stock, "X", "Hill", {})
    assert (none.on_hand, none.notes) == (0, ("no stock count on record, taken as none",))


def test_superseded_numbers_come_from_rows_that_name_one():
    assert superseded_numbers(pd.DataFrame([part("A", by="B"), part("B")])) == {"A": "B"}
