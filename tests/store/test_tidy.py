"""The documented views of a snapshot: complete, commented, told apart by their keys, and true."""

from __future__ import annotations

import numpy as np
import pytest

from fleetwear.errors import StoreError
from fleetwear.forecast.curves import growth_curve
from fleetwear.planning.flags import read_flags
from fleetwear.store import Store, open_snapshot, publish
from fleetwear.store.connection import connect
from fleetwear.store.tidy import KEYS, dictionary_entries, has_tidy, require_tidy

RUN = ["as_of", "forecast_number", "fit_number", "program_version"]


@pytest.fixture(scope="module")
def con(demo_store):
    con = open_snapshot(demo_store.folder)
    yield con
    con.close()


def columns_of(con, view):
    return [row[0] for row in con.execute(f"describe tidy.{view}").fetchall()]


def test_the_views_travel_into_the_snapshot_and_not_into_the_store(demo_store, con):
    views = con.execute("select view_name from duckdb_views() where schema_name = 'tidy'").fetchall()
    assert {row[0] for row in views} == set(KEYS)
    with Store(demo_store.folder).reader() as store:
        assert not has_tidy(store)


@pytest.mark.parametrize("view", KEYS)
def test_each_column_is_described_and_none_that_is_not_there(con, view):
    said = con.execute("select column_name from tidy.dictionary where table_name = ? order by place", [view]).fetchall()
    assert [row[0] for row in said] == columns_of(con, view)
    empty = con.execute(
        "select column_name from tidy.dictionary where table_name = ? and '' in (meaning, comes_from, unit)",
        [view],
    ).fetchall()
    assert empty == []


def test_no_entry_of_the_dictionary_is_idle(con):
    there = {(view, column) for view in KEYS for column in columns_of(con, view)}
    shared = {column for _, column in there}
    entries = dictionary_entries()
    for entry in entries:
        if entry.view == "*":
            assert entry.column in shared, entry
        elif entry.column:
            assert (entry.view, entry.column) in there, entry
        else:
            assert entry.view in KEYS, entry
    assert len({(entry.view, entry.column) for entry in entries}) == len(entries)


def test_comments_say_what_the_dictionary_says(con):
    rows = con.execute(
        "select d.meaning, d.unit, d.comes_from, c.comment from tidy.dictionary as d left join duckdb_columns() as c "
        "on c.schema_name = 'tidy' and c.table_name = d.table_name and c.column_name = d.column_name order by all"
    ).fetchall()
    assert len(rows) > 250
    for meaning, unit, comes_from, comment in rows:
        assert comment == f"{meaning}{f'; in {unit}' if unit else ''}; from {comes_from}"
    unsaid = con.execute(
        "select view_name from duckdb_views() where schema_name = 'tidy' and comment is null"
    ).fetchall()
    assert unsaid == []


@pytest.mark.parametrize("view", KEYS)
def test_keys_tell_rows_apart_and_every_row_says_what_it_is_as_of(con, view):
    frame = con.execute(f"select * from tidy.{view}").df()
    assert len(frame) > 0
    assert not frame.duplicated(list(KEYS[view])).any()
    assert set(RUN) <= set(frame.columns)
    assert frame[RUN].drop_duplicates().shape == (1, 4)
    for column in frame.columns:
        assert not (frame[column] == "").any(), f"{column} holds empty text where nothing is meant"
        if frame[column].dtype == float:
            unit = con.execute(
                "select unit from tidy.dictionary where table_name = ? and column_name = ?", [view, column]
            ).fetchall()[0][0]
            assert unit or column == "restricted_log_likelihood" or column in ("exponent", "pace"), column


def test_units_stand_in_the_names(con):
    rows = con.execute("select column_name, unit from tidy.dictionary where unit in ('mm', 'km', 'mm^2')").fetchall()
    assert len(rows) > 50
    for column, unit in rows:
        assert unit.replace("^", "") in column, column


def test_nothing_after_the_as_of_date_and_nothing_lost(con, demo_store):
    as_of, latest = con.execute("select any_value(as_of), max(visit_date) from tidy.readings").fetchall()[0]
    assert latest <= as_of
    told = con.execute("select count(*) from tidy.readings").fetchall()[0][0]
    with Store(demo_store.folder).reader() as store:
        kept = store.execute(
            "select count(*) from readings as r join visits as v using (visit_id) where v.visit_date <= ? "
            "and not exists (select 1 from set_aside as a where a.table_name = 'visits' and a.row_id = v.visit_id)",
            [as_of],
        ).fetchall()[0][0]
    assert told == kept
    written = con.execute("select count(*) from tidy.readings where play_mm is not null and play_written is null")
    assert written.fetchall() == [(0,)]


def test_series_hold_every_series_of_the_fit_and_every_joint_of_the_forecast(con):
    counts = con.execute(
        "select (select count(*) from tidy.series), (select count(*) from fit_series), "
        "(select count(*) from tidy.series where outcome is not null), (select count(*) from forecast_joints)"
    ).fetchall()[0]
    assert counts[0] == counts[1]
    assert counts[2] == counts[3]


def test_flags_stand_in_the_order_of_the_flags(con):
    flags = read_flags(con).vehicles
    told = con.execute(f"select * from tidy.flags order by {', '.join(KEYS['flags'])}").df()
    assert told["unit"].tolist() == flags["unit"].tolist()
    assert told["outcome"].tolist() == flags["outcome"].tolist()
    np.testing.assert_allclose(told["accepted_risk"], flags["accepted_risk"].astype(float))


def test_fitted_growth_is_that_of_the_fitted_curve(con):
    """A plain loop over a tenth of all lives, ended ones too, with the curve that the pages draw."""
    series = con.execute(
        "select s.*, f.vehicle_id, f.position_id from tidy.series as s join known.known_vehicles as v using (unit) "
        "join positions as p on p.model = v.model and p.joint = s.joint "
        "join fit_series as f on f.vehicle_id = v.vehicle_id and f.position_id = p.position_id "
        "and f.life_no = s.life_no and f.direction = s.load_direction "
        "where s.life_distance_read_km > 0 and s.fitted_growth_mm_per_10000_km is not null "
        "order by s.unit, s.joint, s.load_direction, s.life_no"
    ).df()
    assert (~series["life_is_current"]).sum() > 20
    posteriors = con.execute("select * from posteriors order by all").df()
    of_series = dict(list(posteriors.groupby(["vehicle_id", "position_id", "life_no", "direction"])))
    for row in series.iloc[::10].to_dict("records"):
        lines = of_series[row["vehicle_id"], row["position_id"], row["life_no"], row["load_direction"]]
        length = row["life_distance_read_km"]
        drawn = growth_curve(lines, np.array([0.0, length]))["play_mm"].to_numpy()
        assert row["fitted_growth_mm_per_10000_km"] == pytest.approx(
            1e4 * (drawn[1] - drawn[0]) / length, rel=1e-6, abs=1e-9
        )
        width = row["fitted_growth_mm_per_10000_km_upper"] - row["fitted_growth_mm_per_10000_km"]
        assert width >= 0.0


def test_a_snapshot_without_a_forecast_and_an_older_one_say_what_to_do(tmp_path):
    store = Store.create_or_open(tmp_path / "store")
    file = publish(store)
    con = open_snapshot(store.folder)
    with pytest.raises(StoreError, match=r"no forecast in it.*fleetwear forecast"):
        require_tidy(con)
    con.close()
    con = connect(file, read_only=False)
    con.execute(
        "insert into fits (as_of, made_at, elapsed_seconds, version, settings) "
        "values ('2024-01-01', '2024-01-01', 1, 'x', '{}')"
    )
    con.execute(
        "insert into forecasts (fit_id, as_of, made_at, elapsed_seconds, version, settings) "
        "values (1, '2024-01-01', '2024-01-01', 1, 'x', '{}')"
    )
    con.close()
    con = open_snapshot(store.folder)
    with pytest.raises(StoreError, match=r"an earlier program published it.*fleetwear forecast"):
        require_tidy(con, where=str(file))
    con.close()
