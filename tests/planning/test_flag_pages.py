"""A page of the flags says what the flags of the whole fleet say, whatever is asked for."""

import itertools

import pandas as pd
import pytest

from fleetwear.errors import InputError
from fleetwear.planning.coverage import to_test
from fleetwear.planning.flag_pages import Asked, read_fleet, read_page, read_to_test, read_vehicles
from fleetwear.planning.flag_tables import has_flag_tables
from fleetwear.planning.flags import narrow, read_flags
from fleetwear.planning.pressing import pressing_joints
from fleetwear.reports.flag_files import flag_file, with_lead
from fleetwear.store import open_snapshot
from fleetwear.vocabulary import Outcome

RISKS = (None, 0.01, 0.35)


@pytest.fixture(scope="module")
def con(demo_store):
    con = open_snapshot(demo_store.folder)
    yield con
    con.close()


@pytest.fixture(scope="module")
def whole(con):
    """The flags of the whole fleet at each accepted risk."""
    return {risk: read_flags(con, accepted_risk=risk) for risk in RISKS}


ASKED = [
    Asked(accepted_risk=risk, **which)
    for risk, which in itertools.product(
        RISKS,
        (
            {},
            {"depot": "Hill"},
            {"horizon_days": 60.0},
            {"outcomes": (str(Outcome.CROSSES),)},
            {"outcomes": (str(Outcome.OVER_LIMIT), str(Outcome.RECHECK)), "depot": "Harbour"},
            {"outcomes": (str(Outcome.NO_CROSSING),), "horizon_days": 30.0},
        ),
    )
]


def twin(whole, asked):
    flags = narrow(whole[asked.accepted_risk], depot=asked.depot, horizon_days=asked.horizon_days)
    return flags, narrow(flags, outcomes=asked.outcomes or None)


def same(found, expected, *, sort=False):
    """Compare frames in the columns of the second, whatever stands for nothing."""
    columns = list(expected.columns)
    assert not set(columns) - set(found.columns)
    pair = [frame[columns].reset_index(drop=True).astype(object) for frame in (found, expected)]
    pair = [frame.where(frame.notna(), None) for frame in pair]
    pd.testing.assert_frame_equal(*pair, check_dtype=False)


def test_the_published_snapshot_keeps_the_tables(con):
    assert has_flag_tables(con)


@pytest.mark.parametrize("asked", ASKED, ids=str)
def test_a_page_says_what_the_whole_says(con, whole, asked):
    before, shown = twin(whole, asked)
    pressing = pressing_joints(shown)
    counted = before.vehicles["outcome"].value_counts()
    expected = with_lead(shown).drop(columns=["vin", "plate", "owner", "action_by", "action_note"])
    for first, rows, drawn in ((0, 25, 15), (25, 10, 0), (0, 500, 500)):
        page = read_page(con.cursor(), asked, first=first, rows=rows, drawn=drawn)
        assert page.counts == {str(one): counted[str(one)] for one in Outcome if str(one) in counted}
        assert page.shown == len(shown.vehicles)
        assert page.pressing_in_all == len(pressing)
        same(page.vehicles, expected.iloc[first : first + rows])
        drawn_rows = pressing.head(drawn).drop(
            columns=["distance_note", "action", "action_date", "action_by", "action_note"]
        )
        same(page.pressing, drawn_rows)


@pytest.mark.parametrize("asked", ASKED[::2], ids=str)
def test_what_to_test_and_the_file_are_those_of_the_whole(con, whole, asked):
    _, shown = twin(whole, asked)
    expected = to_test(shown)
    found = read_to_test(con.cursor(), asked)
    same(found.rows, expected)
    assert found.in_all == len(expected)
    assert found.vehicles_in_all == expected["unit"].nunique()
    some = read_to_test(con.cursor(), asked, vehicles=3)
    same(some.rows, expected[expected["unit"].isin(expected["unit"].drop_duplicates().head(3))])
    run, vehicles = read_vehicles(con.cursor(), asked)
    same(flag_file(run, vehicles), flag_file(shown.run, with_lead(shown)))


def test_a_store_that_keeps_no_tables_says_the_same(demo_store, whole):
    from fleetwear.store import Store

    with Store(demo_store.folder).reader() as con:
        assert not has_flag_tables(con)
        fleet = read_fleet(con)
        assert fleet.depots == sorted(whole[None].vehicles["depot"].unique())
        assert fleet.vehicles == len(whole[None].vehicles)
        assert fleet.first_units == whole[None].vehicles["unit"].head(5).tolist()
        page = read_page(con, Asked(unit=fleet.first_units[0]), first=0, rows=25, drawn=15)
        assert page.vehicles["unit"].tolist() == fleet.first_units[:1]


def test_what_makes_no_sense_is_refused(con):
    for asked, words in (
        (Asked(depot="nowhere"), "nowhere"),
        (Asked(accepted_risk=1.5), "1.5"),
        (Asked(horizon_days=-1.0), "-1"),
    ):
        with pytest.raises(InputError, match=words):
            read_page(con.cursor(), asked, first=0, rows=25, drawn=15)
