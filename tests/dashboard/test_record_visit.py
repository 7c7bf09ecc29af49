"""The page Record a visit, run without a browser: empty states, drafts, one hand-over."""

from __future__ import annotations

import shutil
from datetime import date, datetime, timedelta

import pytest
from streamlit.testing.v1 import AppTest

from fleetwear.recording import Drafts
from fleetwear.recording.form import series_field, work_field
from fleetwear.store import Store
from fleetwear.store.inbox import Inbox
from fleetwear.vocabulary import Secured

TABLES = {
    "vehicles": "unit,model,in service date,in service odometer,distance unit,play unit\nA1,Alpha,2020-01-01,10,km,mm",
    "positions": "model,axle,side,place,kind\nAlpha,front,left,lower,ball joint\nAlpha,front,left,,tie rod end",
    "limits": "kind,limit,basis,source\nball joint,1.0 mm,maker,handbook",
}
NOW = datetime(2026, 11, 20, 9, 30)
LATER = date.today() + timedelta(days=3)


def _script():
    from dashboard.messages import told_calmly
    from dashboard.tasks import record_visit

    with told_calmly():
        record_visit.show()


def page(monkeypatch, folder, draft=None):
    monkeypatch.setenv("FLEETWEAR_STORE", str(folder))
    app = AppTest.from_function(_script, default_timeout=60)
    if draft:
        app.query_params["draft"] = draft
    return app.run()


def said(app):
    return "\n".join([*(element.proto.body for element in app.get("html")), *(text.value for text in app.markdown)])


def button(app, label):
    return next(one for one in app.button if one.label.startswith(label))


@pytest.fixture
def folder(make_store):
    return make_store(TABLES)


@pytest.fixture
def draft(folder):
    fields = {
        "unit": "A1",
        "odometer": 120000,
        "technician_other": "T4",
        "date": date.today().isoformat(),
        series_field(1, "in-out", "s1"): 0.42,
        series_field(1, "in-out", "s2"): 1.2,
    }
    return Drafts(folder).begin(fields, now=NOW).draft


def test_no_store_tells_how_to_begin(monkeypatch, tmp_path):
    app = page(monkeypatch, tmp_path / "nothing")
    assert not app.exception
    assert "fleetwear load vehicles.csv positions.csv" in app.code[0].value
    assert not (tmp_path / "nothing").exists()


def test_without_a_forecast_a_visit_is_begun_answered_and_recorded(monkeypatch, folder, draft):
    app = page(monkeypatch, folder, draft)
    assert not app.exception
    assert "no forecast of this vehicle yet" in said(app)
    assert "Over limit" in said(app)
    assert "left front lower ball joint, fore-aft" in said(app)
    button(app, "Record the visit").click().run()
    assert not app.exception
    assert "Saved" in said(app)
    with Store(folder).reader() as con:
        assert con.execute("select play_mm from readings order by stroke").fetchall() == [(0.42,), (1.2,)]
    (entry,) = [name for name in Inbox(folder).names() if Inbox(folder).check(name).original_name.startswith("visit-")]
    assert entry in said(app)
    again = page(monkeypatch, folder, draft)
    assert "The visit of A1 is recorded" in "".join(one.value for one in again.subheader)
    assert Drafts(folder).waiting() == ([], [])


def test_a_visit_that_was_cut_off_while_it_was_handed_over_is_finished_by_opening_it(monkeypatch, folder, draft):
    from fleetwear.recording import list_joints, opened, read_bay
    from fleetwear.recording.form import visit_of
    from fleetwear.recording.handing_over import hand_over_text

    with opened(folder) as con:
        bay = read_bay(con, "A1", on_date=date.today())
    visit = visit_of(Drafts(folder).read(draft).fields, bay, list_joints(bay, None))
    Drafts(folder).freeze(draft, hand_over_text(visit), now=NOW)
    app = page(monkeypatch, folder, draft)
    assert "Saved" in said(app)
    with Store(folder).reader() as con:
        assert con.execute("select count(*) from readings").fetchall() == [(2,)]


def test_a_visit_that_leaves_nothing_open_says_so(monkeypatch, folder, draft):
    whole = {
        series_field(1, "fore-aft", "result"): "none seen",
        series_field(2, "in-out", "s1"): 0.3,
        "secured": [str(word) for word in Secured],
    }
    Drafts(folder).change(draft, whole, now=NOW)
    app = page(monkeypatch, folder, draft)
    assert not app.exception
    assert "Every joint is read in every load direction" in said(app)
    button(app, "Record the visit").click().run()
    assert not app.exception
    assert "Saved" in said(app)


def test_open_drafts_are_listed_and_go_on(monkeypatch, folder, draft):
    app = page(monkeypatch, folder)
    assert f"record?draft={draft}" in said(app)
    going_on = page(monkeypatch, folder, draft)
    assert next(box for box in going_on.number_input if box.label == "Stroke 2, mm").value == 1.2
    assert next(box for box in going_on.text_input if box.label == "Technician (code)").value == "T4"


def test_a_field_is_on_the_disk_when_it_is_completed(monkeypatch, folder, draft):
    app = page(monkeypatch, folder, draft)
    next(box for box in app.text_input if box.label == "What the driver says").set_value("clunk").run()
    assert Drafts(folder).read(draft).fields["complaint"] == "clunk"
    next(box for box in app.text_input if box.label == "What the driver says").set_value("").run()
    assert "complaint" not in Drafts(folder).read(draft).fields


def test_a_change_made_on_another_tablet_is_taken_over_and_loses_nothing(monkeypatch, folder, draft):
    app = page(monkeypatch, folder, draft)
    Drafts(folder).change(draft, {"odometer": 121000, "note": "from elsewhere"}, now=NOW)
    next(box for box in app.text_input if box.label == "What the driver says").set_value("clunk").run()
    fields = Drafts(folder).read(draft).fields
    assert (fields["odometer"], fields["note"], fields["complaint"]) == (121000, "from elsewhere", "clunk")
    assert app.number_input[0].value == 121000


def test_the_indicators_number_is_asked_for_once_and_goes_into_every_reading_but_those_by_eye(
    monkeypatch, folder, draft
):
    Drafts(folder).change(draft, {series_field(2, "in-out", "result"): "none seen"}, now=NOW)
    app = page(monkeypatch, folder, draft)
    assert "Read with indicator" not in said(app)
    given = {"instrument": "D2", series_field(1, "in-out", "indicator"): "dial indicator"}
    Drafts(folder).change(draft, given, now=NOW)
    app = page(monkeypatch, folder, draft)
    assert "with the dial indicator D2" in said(app)
    fields = {series_field(2, "in-out", "indicator"): "eye"}
    Drafts(folder).change(draft, fields, now=NOW)
    app = page(monkeypatch, folder, draft)
    assert "Read with indicator D2, but for what was read by eye." in said(app)
    button(app, "Record the visit").click().run()
    assert "Read with indicator D2, but for what was read by eye." in said(app)
    with Store(folder).reader() as con:
        query = "select position_id, stroke, instrument from readings order by position_id, stroke"
        assert con.execute(query).fetchall() == [(1, 1, "D2"), (1, 2, "D2"), (2, 1, None)]
    again = page(monkeypatch, folder, Drafts(folder).begin({"unit": "A1"}, now=NOW).draft)
    assert next(box for box in again.selectbox if box.label == "Number of the indicator").options == ["D2"]


WORKED = {
    work_field(1, "done"): "replaced",
    work_field(1, "part"): "P-77",
    work_field(1, "reason"): "over its limit",
    series_field(1, "in-out", "s1", after_work=True): 0.05,
    series_field(1, "fore-aft", "result", after_work=True): "none seen",
}


def test_a_joint_replaced_at_the_visit_is_recorded_with_readings_before_and_after(monkeypatch, folder, draft):
    Drafts(folder).change(draft, WORKED | {"instrument": "D2"}, now=NOW)
    app = page(monkeypatch, folder, draft)
    assert not app.exception
    assert "Replaced: left front lower ball joint (part P-77; over its limit)." in said(app)
    assert "Left front lower ball joint, loaded in-out, after the work" in said(app)
    assert "in-out after work 0.05 mm" in button(app, "**Left front lower ball joint**").label
    assert not [box.label for box in app.selectbox if box.label == "Taken (in-out)"]
    button(app, "Record the visit").click().run()
    assert not app.exception
    assert "The visit with 4 readings and work on 1 joint is in the store" in said(app)
    with Store(folder).reader() as con:
        query = (
            "select direction, timing, coalesce(play_mm::varchar, result), instrument from readings "
            "order by timing desc, direction desc, stroke"
        )
        assert con.execute(query).fetchall() == [
            ("in-out", "before work", "0.42", "D2"),
            ("in-out", "before work", "1.2", "D2"),
            ("in-out", "after work", "0.05", "D2"),
            ("fore-aft", "after work", "none seen", "D2"),
        ]
        assert con.execute("select work, part_number, reason from work").fetchall() == [
            ("replaced", "P-77", "over its limit")
        ]


def test_a_reading_after_work_is_not_held_against_the_life_that_ended(monkeypatch, folder, draft):
    Drafts(folder).change(draft, {series_field(1, "in-out", "timing"): "after work"}, now=NOW)
    app = page(monkeypatch, folder, draft)
    assert "Read after work, but no work is recorded here: left front lower ball joint." in said(app)
    choose_work(app, "adjusted")
    assert "Read after work, but" not in said(app)
    assert "Adjusted: left front lower ball joint." in said(app)
    assert "loaded in-out, after the work" not in said(app)  # the one reading is of after it
    assert "loaded fore-aft, after the work" in said(app)


def test_what_was_not_read_since_the_work_is_said(monkeypatch, folder, draft):
    app = page(monkeypatch, folder, draft)
    assert button(app, "**Left front lower ball joint**").label.endswith("not tested: fore-aft")
    choose_work(app, "replaced")
    assert button(app, "**Left front lower ball joint**").label.endswith("replaced; not tested: in-out, fore-aft")
    assert "Not read since the work: left front lower ball joint. What is in place now has not been tested." in said(
        app
    )
    assert Drafts(folder).read(draft).fields[work_field(1, "done")] == "replaced"


def test_a_part_number_without_a_word_on_what_was_done_is_asked_about(monkeypatch, folder, draft):
    Drafts(folder).change(draft, {work_field(1, "part"): "P-77"}, now=NOW)
    app = page(monkeypatch, folder, draft)
    assert "give what was done to the left front lower ball joint (it has a part number or a reason)." in said(app)
    assert button(app, "Record the visit").disabled
    choose_work(app, "replaced")
    assert not button(app, "Record the visit").disabled


def choose_work(app, word):
    asked = "Work on this joint at this visit"
    next(one for one in app.get("button_group") if one.label == asked).set_value(word).run()


def test_the_odometer_is_asked_about_until_it_is_confirmed(monkeypatch, folder, draft):
    Drafts(folder).change(draft, {"odometer": 5}, now=NOW)
    app = page(monkeypatch, folder, draft)
    assert "5 km is less than the last value on record, 10 km on 2020-01-01" in said(app)
    assert button(app, "Record the visit").disabled
    app.checkbox[0].check().run()
    assert not button(app, "Record the visit").disabled


def test_a_draft_set_aside_can_be_taken_up(monkeypatch, folder, draft):
    app = page(monkeypatch, folder, draft)
    button(app, "Set this draft aside").click().run()
    assert Drafts(folder).read(draft).state == "set aside"
    app = page(monkeypatch, folder, draft)
    button(app, "Take it up again").click().run()
    assert Drafts(folder).read(draft).state == "open"


@pytest.mark.parametrize("name", ["../../etc/passwd", "abcdefghij"])
def test_an_unknown_draft_is_a_message(monkeypatch, folder, name):
    app = page(monkeypatch, folder, name)
    assert not app.exception
    assert "draft" in said(app)


def test_a_model_without_positions_says_what_to_load(monkeypatch, make_store):
    folder = make_store({"vehicles": TABLES["vehicles"]})
    draft = Drafts(folder).begin({"unit": "A1", "date": date.today().isoformat()}, now=NOW).draft
    app = page(monkeypatch, folder, draft)
    assert not app.exception
    assert "load a positions file" in said(app)


@pytest.mark.parametrize("odd", [{"step": 1e300}, {"play_unit": "furlong"}, {"date": LATER.isoformat()}])
def test_a_draft_with_a_value_beyond_all_bounds_can_be_opened_and_mended(monkeypatch, demo_store, tmp_path, odd):
    folder = tmp_path / "store"
    shutil.copytree(demo_store.folder, folder)
    fields = {"unit": "V101", "odometer": 220000, "technician_other": "T4", "date": date.today().isoformat()}
    strokes = {series_field(1, "in-out", "s1"): 0.42}
    draft = Drafts(folder).begin(fields | strokes | odd, now=NOW).draft
    app = page(monkeypatch, folder, draft)
    assert not app.exception
    if "date" in odd:  # the clock was set back since: the day is there to be put right
        app.date_input[0].set_value(date.today()).run()
        assert Drafts(folder).read(draft).fields["date"] == date.today().isoformat()
    assert button(app, "Record the visit")
    assert not app.exception
