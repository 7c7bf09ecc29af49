"""Tables to take away, as they are asked for."""

from __future__ import annotations

import pytest

from fleetwear.errors import InputError
from fleetwear.planning.tidy_tables import depots, describe_tables, read_tidy, table_names
from fleetwear.store import open_snapshot


@pytest.fixture(scope="module")
def con(demo_store):
    con = open_snapshot(demo_store.folder)
    yield con
    con.close()


def test_all_tables_are_taken_unless_some_are_named(con):
    assert list(read_tidy(con).tables) == table_names()
    some = read_tidy(con, names=["series", "readings", "series"])
    assert list(some.tables) == ["readings", "series"]
    assert set(some.dictionary["table_name"]) == {"readings", "series"}
    assert some.meanings["readings"] == describe_tables(con)["readings"]


def test_a_depot_narrows_what_is_of_vehicles_and_says_what_it_does_not(con):
    whole, hill = read_tidy(con), read_tidy(con, depot="Hill")
    assert set(hill.fleet_wide) == {"limits", "cohorts", "models", "methods", "comparisons"}
    for name, table in hill.tables.items():
        if name in hill.fleet_wide:
            assert table.equals(whole.tables[name])
        else:
            assert set(table.column("depot").to_pylist()) == {"Hill"}
    parts = sum(read_tidy(con, names=["readings"], depot=depot).tables["readings"].num_rows for depot in depots(con))
    without = whole.tables["readings"].column("depot").null_count
    assert parts + without == whole.tables["readings"].num_rows


@pytest.mark.parametrize(
    ("asked", "words"),
    [
        ({"names": ["reading"]}, "no table 'reading'.*readings"),
        ({"depot": "Moon"}, "'Moon'.*Hill"),
        ({"names": []}, "no table"),
    ],
)
def test_what_is_not_there_is_told_with_what_is(con, asked, words):
    with pytest.raises(InputError, match=words):
        read_tidy(con, **asked)
