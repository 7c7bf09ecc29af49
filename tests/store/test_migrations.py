from __future__ import annotations

import duckdb
import pytest

from fleetwear.errors import StoreError
from fleetwear.store import Store
from fleetwear.store.connection import connect
from fleetwear.store.migrations import Migration, migrate, migrations, schema_version


def test_a_new_store_has_every_step_recorded_once(tmp_path):
    store = Store.create_or_open(tmp_path / "store")
    Store.create_or_open(tmp_path / "store")
    with store.reader() as con:
        recorded = con.execute("select number, name from schema_migrations order by number").fetchall()
    assert recorded == [(step.number, step.name) for step in migrations()]


def test_steps_are_numbered_without_gaps():
    assert [step.number for step in migrations()] == list(range(1, len(migrations()) + 1))


def test_a_failing_step_leaves_nothing_behind(tmp_path):
    con = connect(tmp_path / "x.duckdb", read_only=False)
    good = Migration(1, "good", "create table a (i integer)")
    bad = Migration(2, "bad", "create table b (i integer); create table a (i integer)")
    with pytest.raises(StoreError, match=r"step 2 \(bad\) failed"):
        migrate(con, steps=(good, bad))
    assert schema_version(con) == 1
    tables = {row[0] for row in con.execute("select table_name from duckdb_tables()").fetchall()}
    assert tables == {"a", "schema_migrations"}
    assert migrate(con, steps=(good, Migration(2, "mended", "create table b (i integer)"))) == 2
    con.close()


@pytest.mark.parametrize("how", ["writer", "reader", "create_or_open"])
def test_a_newer_store_is_refused_in_words(tmp_path, how):
    store = Store.create_or_open(tmp_path)
    with store.writer() as con:
        con.execute("insert into schema_migrations values (999, 'later', current_timestamp::timestamp)")

    def use():
        if how == "create_or_open":
            Store.create_or_open(tmp_path)
        with getattr(store, how)():
            pass

    with pytest.raises(StoreError, match=r"schema 999.*newer fleetwear"):
        use()


def test_fits_and_forecasts_of_before_stand_as_they_were(tmp_path):
    """Step 12 puts the rows of fits and forecasts into tables of their own; what is asked of them stays the same."""
    con = connect(tmp_path / "x.duckdb", read_only=False)
    migrate(con, steps=migrations()[:11])
    made = "as_of, made_at, elapsed_seconds, version, settings"
    for fit in (1, 2):
        con.execute(f"insert into fits ({made}) values ('2026-01-0{fit}', '2026-01-02', 1, 'x', '{{}}')")
        con.execute(
            f"insert into forecasts (fit_id, {made}) values ({fit}, '2026-01-0{fit}', '2026-01-02', 1, 'x', '{{}}')"
        )
    con.execute(
        "insert into fit_series (fit_id, vehicle_id, position_id, life_no, direction, model_group, cohort, whose_line, "
        "n_visits, effect, reliability, doubt) "
        "select f.fit_id, v.n, p.n, 1, 'in-out', 'g', 'c', 'c', 3, v.n / 10, 0.5, '' "
        "from fits as f, range(1, 4) as v(n), range(1, 3) as p(n)"
    )
    con.execute(
        "insert into forecast_vehicles (forecast_id, vehicle_id, km_per_day, next_service_date_05, "
        "next_service_date_50, next_service_date_95, overdue, distance_note, joints_in_probability, "
        "symptom, outcome, reason) "
        "select f.forecast_id, v.n, 90 + v.n, '2026-02-01', '2026-03-01', '2026-04-01', false, '', 2, '', 'o', 'r' "
        "from forecasts as f, range(1, 4) as v(n)"
    )
    asked = {table: f"select * from {table} order by all" for table in ("fit_series", "forecast_vehicles")}
    before = {table: con.execute(text).fetchall() for table, text in asked.items()}
    columns = {table: [row[0] for row in con.execute(text).description] for table, text in asked.items()}
    migrate(con)
    assert {table: con.execute(text).fetchall() for table, text in asked.items()} == before
    assert {table: [row[0] for row in con.execute(text).description] for table, text in asked.items()} == columns
    assert len(before["fit_series"]) == 12
    sources = con.execute("select forecast_id, vehicle_id, made_in, looked_from from forecast_sources order by all")
    assert [(number, made_in) for number, _, made_in, _ in sources.fetchall()] == [(1, 1)] * 3 + [(2, 2)] * 3
    con.close()


def test_readings_with_their_questions_and_answers_outlive_the_lighter_tables(tmp_path):
    con = connect(tmp_path / "store.duckdb", read_only=False)
    migrate(con, steps=tuple(step for step in migrations() if step.number < 15))
    con.execute("""
        insert into loads (file_name, sha256, table_name, rows_read, rows_in, rows_known, rows_quarantined, loaded_at,
            elapsed_seconds, version) values ('r.csv', 'a', 'readings', 2, 2, 0, 0, '2024-06-01', 1.0, '0.1');
        insert into positions (model, axle, side, place, kind, joint, load_id, source_row, row_key)
            values ('Alpha', 'front', 'left', 'lower', 'ball joint', 'left front lower ball joint', 1, 2, 'p');
        insert into visits (vehicle_id, visit_date, odometer_km, load_id, source_row, row_key)
            values (1, '2022-03-01', 10.0, 1, 2, 'v');
        insert into readings (visit_id, vehicle_id, position_id, direction, session, stroke, timing, result, play_mm,
            load_id, source_row, row_key, instrument)
            values (1, 1, 1, 'in-out', 1, 1, 'before work', 'measured', 0.5, 1, 2, 'k', 'D7'),
                (1, 1, 1, 'in-out', 1, 2, 'before work', 'none seen', null, 1, 3, 'l', null),
                (1, 1, 1, 'in-out', 1, 3, 'before work', 'measured', 0.7, 1, 4, 'm', 'D7'),
                (1, 1, 1, 'fore-aft', 1, 1, 'before work', 'measured', 0.2, 1, 5, 'n', 'D7');
        insert into questions (reading_id, question, load_id) values (1, 'Is it?', 1);
        insert into answers values (1, 'mistake', 'T1', '2024-06-02')
    """)
    tables = {name: f"select * from {name} order by all" for name in ("readings", "questions", "answers")}
    before = {name: con.execute(query).fetchall() for name, query in tables.items()}
    columns = con.execute("select column_name, column_type from (describe readings)").fetchall()
    migrate(con)
    assert {name: con.execute(query).fetchall() for name, query in tables.items()} == before
    assert con.execute("select column_name, column_type from (describe readings)").fetchall() == columns
    assert con.execute("select count(*) from reading_ways").fetchall() == [(3,)]
    con.execute(
        "insert into reading_rows (visit_id, vehicle_id, position_id, way_id, session, stroke, result, load_id, "
        "source_row, row_key) values (1, 1, 1, 1, 1, 4, 'none seen', 1, 6, 'o')"
    )
    assert con.execute("select max(reading_id) from readings").fetchall() == [(5,)]
    for wrong in (
        "update reading_ways set direction = 'sideways'",
        "update reading_rows set result = 'measured'",
        "update reading_rows set way_id = null",
    ):
        with pytest.raises(duckdb.ConstraintException):
            con.execute(wrong)
    con.close()
