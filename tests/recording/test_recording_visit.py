"""A visit handed over: one entry, nothing doubled, nobody told of a lock, what was not tested said."""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
import threading
from dataclasses import replace
from datetime import date, datetime

import pytest

from fleetwear.errors import InputError, StoreError
from fleetwear.intake import take_files
from fleetwear.recording import (
    Drafts,
    JointReading,
    JointWork,
    Visit,
    hand_over_tables,
    opened,
    read_bay,
    record_draft,
    record_visit,
    untested,
)
from fleetwear.store import Store
from fleetwear.store.inbox import Inbox
from fleetwear.store.known import prepare
from fleetwear.vocabulary import Direction, Secured

TODAY = date(2026, 11, 20)
NOW = datetime(2026, 11, 20, 9, 30)
LEFT, RIGHT = "left front lower ball joint", "right front lower ball joint"
TABLES = {
    "vehicles": """unit,model,vin,plate,in service date,in service odometer,distance unit,play unit
        A1,Alpha,VIN1,P 1,2020-01-01,10,km,mm
        N1,Alpha,,,2020-01-01,,km,mm""",
    "positions": """model,axle,side,place,kind
        Alpha,front,left,lower,ball joint
        Alpha,front,right,lower,ball joint
        Alpha,front,left,,tie rod end""",
    "limits": """kind,limit,basis,source
        ball joint,1.0 mm,maker,handbook""",
}
VISIT = Visit(
    unit="A1",
    visit_date=date(2026, 11, 20),
    odometer="120000",
    technician="T4",
    shop="Bay 2",
    complaint="clunk",
    symptom_confirmed=True,
    symptom_joint=LEFT,
    secured=(str(Secured.CHOCKS), str(Secured.SUPPORTED)),
    note="heard over the ramp",
    play_unit="mm",
    step="0.01",
    readings=(
        JointReading(
            LEFT, "in-out", ("0.42", "0.42", "0.45"), method="lever under tyre", support="hanging", instrument="D2"
        ),
        JointReading(LEFT, "fore-aft", result="none seen", method="pry bar"),
        JointReading(RIGHT, "in-out", ("0.30",)),
    ),
)


@pytest.fixture(scope="module")
def template(tmp_path_factory):
    made = tmp_path_factory.mktemp("template")
    paths = []
    for name, text in TABLES.items():
        paths.append(made / f"{name}.csv")
        paths[-1].write_text("\n".join(line.strip() for line in text.splitlines()) + "\n")
    take_files(made / "store", paths, today=TODAY)
    return made / "store"


@pytest.fixture
def folder(template, tmp_path):
    shutil.copytree(template, tmp_path / "store")
    return tmp_path / "store"


def rows(folder, query):
    with Store(folder).reader() as con:
        return con.execute(query).fetchall()


def record(folder, visit=VISIT, **options):
    return record_visit(folder, visit, **({"name": "one", "today": TODAY, "received_at": NOW} | options))


def test_everything_given_is_in_the_store(folder):
    told = record(folder)
    assert (told.taken, told.rows_in, told.refused, told.questions) == (True, 6, (), 0)
    assert rows(
        folder,
        "select visit_date, odometer_km, technician, shop, complaint, symptom_confirmed, joint, secured, note "
        "from visit_details join positions on position_id = symptom_position_id",
    ) == [
        (date(2026, 11, 20), 120000.0, "T4", "Bay 2", "clunk", True, LEFT,
         "wheels chocked; supported at the maker's points", "heard over the ramp"),
    ]  # fmt: skip
    assert rows(
        folder,
        "select joint, direction, stroke, result, play_mm, play_written, resolution_mm, method, support, "
        "instrument from readings join positions using (position_id) order by reading_id",
    ) == [
        (LEFT, "in-out", 1, "measured", 0.42, "0.42", 0.01, "lever under tyre", "hanging", "D2"),
        (LEFT, "in-out", 2, "measured", 0.42, "0.42", 0.01, "lever under tyre", "hanging", "D2"),
        (LEFT, "in-out", 3, "measured", 0.45, "0.45", 0.01, "lever under tyre", "hanging", "D2"),
        (LEFT, "fore-aft", 1, "none seen", None, None, None, "pry bar", None, None),
        (RIGHT, "in-out", 1, "measured", 0.3, "0.30", 0.01, None, None, None),
    ]


def test_one_hand_over_is_one_entry_whose_file_says_what_was_given(folder):
    told = record(folder)
    inbox = Inbox(folder)
    entry = inbox.check(told.entry)
    assert entry.original_name == "visit-one.json"
    assert json.loads(inbox.content(entry).read_text()) == hand_over_tables(VISIT)
    assert rows(folder, f"select len(load_ids) from inbox_entries where entry = '{told.entry}'") == [(2,)]


def test_handing_over_twice_doubles_nothing(folder):
    first = record(folder)
    again = record(folder)
    assert again.entry == first.entry
    assert (again.rows_in, again.rows_known) == (0, 6)
    assert rows(folder, "select count(*) from readings") == [(5,)]
    assert rows(folder, "select count(*) from visits") == [(1,)]


HOLD = """
import sys
from pathlib import Path
from fleetwear.store import Store
with Store(Path(sys.argv[1])).writer():
    print("held", flush=True)
    sys.stdin.read()
"""


def test_where_another_process_writes_the_visit_is_safe_and_the_next_load_takes_it_once(folder):
    pipe = subprocess.PIPE
    with subprocess.Popen([sys.executable, "-c", HOLD, str(folder)], stdin=pipe, stdout=pipe, text=True) as other:
        assert other.stdout.readline() == "held\n"
        told = record(folder, wait_seconds=0.1)
        with (
            pytest.raises(StoreError, match=r"being written just now.*Nothing is lost"),
            opened(folder, wait_seconds=0.1),
        ):
            pass
        other.stdin.close()
    assert (told.taken, told.rows_in) == (False, 0)
    assert Inbox(folder).check(told.entry).entry == told.entry
    take_files(folder, today=TODAY)
    take_files(folder, today=TODAY)
    assert rows(folder, "select count(*) from readings") == [(5,)]


def test_while_this_process_reads_the_store_the_visit_is_safe(folder):
    with Store(folder).reader():
        told = record(folder, wait_seconds=0.1)
    assert not told.taken
    take_files(folder, today=TODAY)
    assert rows(folder, "select count(*) from readings") == [(5,)]


def test_many_at_once_lose_nothing(folder):
    visits = [replace(VISIT, visit_date=date(2026, 11, day), odometer=f"{100000 + day}") for day in range(1, 5)]
    threads = [
        threading.Thread(target=record, args=(folder, visit), kwargs={"name": f"v{i}"})
        for i, visit in enumerate(visits)
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    take_files(folder, today=TODAY)
    assert rows(folder, "select count(*) from visits") == [(4,)]
    assert rows(folder, "select count(*) from readings") == [(20,)]


def test_a_refused_row_is_told_and_stands_in_quarantine(folder):
    record(folder)
    back = replace(VISIT, visit_date=date(2026, 11, 19), odometer="130000")
    told = record(folder, back, name="two")
    assert told.taken
    assert told.rows_in == 0
    assert any("lies above 120,000 km on 2026-11-20" in reason for reason in told.refused)
    assert rows(folder, "select count(*) from quarantine") == [(6,)]


def test_a_swap_of_the_instrument_goes_into_the_same_entry(folder):
    record(folder)
    later = replace(VISIT, visit_date=TODAY, odometer="40", swap=("120100", "0"), readings=VISIT.readings[:1])
    told = record(folder, later, name="two")
    assert told.refused == ()
    assert rows(folder, "select odometer_km, new_odometer_km from odometer where event = 'swap'") == [(120100.0, 0.0)]
    assert len(Inbox(folder).names()) == len(TABLES) + 2
    assert told.rows_in == 1 + 1 + 3


def test_a_vehicle_without_readings_can_be_recorded(folder):
    told = record(folder, replace(VISIT, readings=(), complaint=None, symptom_confirmed=None, symptom_joint=None))
    assert told.rows_in == 1


@pytest.mark.parametrize("name", ["", "../x", "a b", "ä"])
def test_a_name_that_is_no_file_name_is_refused(folder, name):
    with pytest.raises(InputError, match="cannot name a visit"):
        record(folder, name=name)


def test_untested_directions_are_named():
    kinds = {LEFT: "ball joint", RIGHT: "ball joint", "left front tie rod end": "tie rod end"}
    found = untested(VISIT, kinds)
    assert found.half_tested == ((RIGHT, Direction.FORE_AFT),)
    assert found.not_read == ("left front tie rod end",)


REPLACED = JointWork(LEFT, "replaced", "P-77", "over its limit")
AFTER = JointReading(LEFT, "in-out", ("0.05",), timing="after work")


def test_work_goes_into_the_same_entry_and_the_reading_after_it_begins_a_new_life(folder):
    visit = replace(VISIT, work=(REPLACED,), readings=(*VISIT.readings, AFTER))
    told = record(folder, visit)
    assert (told.taken, told.rows_in, told.refused, told.questions) == (True, 8, (), 0)
    assert len(Inbox(folder).names()) == len(TABLES) + 1
    query = (
        "select work_date, odometer_km, joint, work, part_number, reason from work join positions using (position_id)"
    )
    assert rows(folder, query) == [(date(2026, 11, 20), 120000.0, LEFT, "replaced", "P-77", "over its limit")]
    with Store(folder).reader() as con:
        prepare(con, as_of=TODAY)
        lives = con.execute(
            "select life_no, timing, count(*) from known_readings where position_id = 1 group by all order by all"
        ).fetchall()
        origins = con.execute(
            "select life_no, origin from known_lives where vehicle_id = 1 and position_id = 1 order by life_no"
        ).fetchall()
    assert lives == [(1, "before work", 4), (2, "after work", 1)]
    assert origins == [(1, "in service"), (2, "replacement")]
    assert record(folder, visit).rows_in == 0


def test_work_without_more_words_and_without_readings_is_taken(folder):
    bare = Visit(unit="A1", visit_date=TODAY, odometer="120000", technician="T4", work=(JointWork(RIGHT, "adjusted"),))
    assert record(folder, bare).refused == ()
    assert rows(folder, "select work, odometer_km, part_number from work") == [("adjusted", 120000.0, None)]


def test_work_on_an_unknown_joint_is_told_and_stands_in_quarantine(folder):
    told = record(folder, replace(VISIT, work=(JointWork("rear left elbow", "replaced"),)))
    assert told.taken
    assert any("rear left elbow" in reason for reason in told.refused)


def test_what_was_read_before_work_tells_nothing_of_what_is_in_place_now():
    kinds = {LEFT: "ball joint", RIGHT: "ball joint"}
    worked = replace(VISIT, work=(REPLACED,))
    assert untested(worked, kinds).not_read_since_work == (LEFT,)
    assert untested(worked, kinds).half_tested == ((RIGHT, Direction.FORE_AFT),)
    again = untested(replace(worked, readings=(*VISIT.readings, AFTER)), kinds)
    assert again.not_read_since_work == ()
    assert again.half_tested == ((LEFT, Direction.FORE_AFT), (RIGHT, Direction.FORE_AFT))
    greased = replace(VISIT, work=(JointWork(LEFT, "greased"),))
    assert untested(greased, kinds) == untested(VISIT, kinds)


def test_a_draft_is_recorded_once_however_often_it_is_pressed(folder):
    drafts = Drafts(folder)
    draft = drafts.begin({"unit": "A1"}, now=NOW).draft
    first = record_draft(folder, draft, VISIT, today=TODAY, now=NOW)
    changed = replace(VISIT, odometer="121000")
    again = record_draft(folder, draft, changed, today=TODAY, now=NOW)
    assert again.entry == first.entry
    assert rows(folder, "select count(*) from readings") == [(5,)]
    assert rows(folder, "select odometer_km from visits") == [(120000.0,)]


def test_what_is_on_record_is_found_by_unit_vin_and_plate(folder):
    record(folder)
    with opened(folder) as con:
        found = [read_bay(con, name, on_date=TODAY) for name in ("a1", "vin1", "p 1")]
        with pytest.raises(InputError, match="no vehicle has"):
            read_bay(con, "Z9", on_date=TODAY)
    bay = found[0]
    assert {one.vehicle["unit"] for one in found} == {"A1"}
    assert bay.kinds == {LEFT: "ball joint", RIGHT: "ball joint", "left front tie rod end": "tie rod end"}
    last = bay.last.merge(bay.joints, on="position_id").set_index(["joint", "direction"])
    assert last.loc[(LEFT, "in-out"), "play_mm"] == pytest.approx(0.43)
    assert last.loc[(LEFT, "fore-aft"), "result"] == "none seen"
    assert bay.technicians == ("T4",)
    assert bay.instruments == ("D2",)
    assert bay.entries["odometer_km"].tolist() == [10.0, 120000.0]


def test_a_replaced_joint_has_no_last_reading(folder, tmp_path):
    record(folder)
    work = tmp_path / "work.csv"
    work.write_text(f"unit,work date,odometer,joint,work\nA1,2026-11-20,120000 km,{LEFT},replaced\n")
    take_files(folder, [work], today=TODAY)
    with opened(folder) as con:
        bay = read_bay(con, "A1", on_date=TODAY)
    joint_of = dict(zip(bay.joints["position_id"], bay.joints["joint"], strict=True))
    assert {joint_of[at] for at in bay.last["position_id"]} == {RIGHT}
    assert bay.joints.set_index("joint").loc[LEFT, "last_work_date"].date() == TODAY


def test_no_store_says_how_to_begin(tmp_path):
    with pytest.raises(StoreError, match=r"no store here yet.*fleetwear load vehicles.csv"), opened(tmp_path):
        pass
