from __future__ import annotations

import pytest

from fleetwear.intake import list_quarantine, load_files, open_questions
from fleetwear.store import Store


@pytest.fixture(scope="module")
def loaded(demo, tmp_path_factory):
    """The store after the files were loaded one by one, in their order, with what each load brought."""
    store = Store.create_or_open(tmp_path_factory.mktemp("store"))
    summaries = [row for path in demo.files.files for row in load_files(store, [path], today=demo.files.as_of)]
    return store, summaries


def test_just_the_wrong_rows_are_refused(demo, loaded):
    store, _ = loaded
    with store.reader() as con:
        quarantined = list_quarantine(con)
    events = demo.truth.events
    wrong = events[events["case"].isin(["refused", "odometer typo"])]
    assert sorted(zip(quarantined["file"], quarantined["row"], strict=True)) == sorted(
        zip(wrong["file"], wrong["row"], strict=True)
    )


def test_every_header_is_known_and_every_other_row_is_in(demo, loaded):
    _, summaries = loaded
    assert not [summary.ignored for summary in summaries if summary.ignored]
    for summary in summaries:
        assert summary.rows_read == len(demo.tables[summary.file])
        assert summary.rows_in == summary.rows_read - summary.rows_quarantined


def test_the_implausible_reading_is_asked_about_and_no_other(demo, loaded):
    store, _ = loaded
    with store.reader() as con:
        questions = open_questions(con)
    case = demo.cases("implausible reading").iloc[0]
    assert list(zip(questions["file"], questions["row"], strict=True)) == [(case["file"], case["row"])]


def test_stored_play_is_what_was_measured(demo, loaded):
    store, _ = loaded
    with store.reader() as con:
        stored = con.execute("""
            select loads.file_name as file, readings.source_row as row, readings.play_mm
            from readings inner join loads on loads.load_id = readings.load_id
            order by file, row
        """).df()
    both = demo.truth.readings.merge(stored, on=["file", "row"], validate="one_to_one")
    assert len(both) == len(demo.truth.readings) == len(stored)
    assert both["play_mm"].isna().equals(both["measured_mm"].isna())
    odd = demo.cases("implausible reading")["row"].iloc[0]
    both = both[(both["row"] != odd) | (both["file"] != "readings_north_yard.csv")]
    # A cell written in mm where the indicator showed thou is rounded once more.
    assert (both["play_mm"] - both["measured_mm"]).abs().max() < 0.0051


def test_the_sheet_with_other_headers_loads_with_its_map(demo, loaded):
    """It repeats readings of the last visits, so every one of them is one that the store has."""
    store, _ = loaded
    (summary,) = load_files(store, [demo.files.folder / "other_headers" / "tyre_bay.csv"], today=demo.files.as_of)
    assert summary.rows_quarantined == 0
    assert summary.rows_in == summary.rows_read > 30
    with store.reader() as con:
        others = con.execute("""
            select count(*)
            from readings as r
            inner join loads as l on l.load_id = r.load_id and l.file_name = 'tyre_bay.csv'
            semi join (
                select visit_id, position_id, direction, round(play_mm, 2) as play_mm
                from readings inner join loads using (load_id)
                where file_name <> 'tyre_bay.csv'
            ) as o
                on o.visit_id = r.visit_id and o.position_id = r.position_id and o.direction = r.direction
                and o.play_mm = round(r.play_mm, 2)
        """).fetchall()
    assert others == [(summary.rows_in,)]
