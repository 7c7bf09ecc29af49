"""What was done about a flag: recorded, shown beside the outcome, never softening it, settled by what comes later."""

import shutil
from datetime import date, datetime

import pytest

from fleetwear.errors import InputError
from fleetwear.planning.actions import (
    find_joint,
    read_actions,
    read_latest_actions,
    record_action,
    say_action,
)
from fleetwear.planning.flags import read_flags
from fleetwear.store import Store
from fleetwear.store.snapshots import open_snapshot, publish
from pipelines import load

TODAY = date(2026, 11, 25)
UNIT, JOINT = "V102", "left front lower ball joint"


@pytest.fixture
def store(demo_store, tmp_path):
    folder = tmp_path / "own"
    shutil.copytree(demo_store.folder, folder)
    return folder


def act(folder, action, *, on=date(2026, 11, 20), joint=JOINT, **options):
    return record_action(folder, unit=UNIT, joint=joint, action=action, on=on, today=TODAY, **options)


def flags_of(folder):
    publish(Store(folder))
    con = open_snapshot(folder)
    try:
        return read_flags(con)
    finally:
        con.close()


def test_an_action_stands_beside_the_outcome_and_changes_nothing_else(store):
    before = flags_of(store)
    assert act(store, "found good", by="T3", note="no play felt by hand") is True
    assert act(store, "found good", by="T3", note="no play felt by hand") is False  # on record already
    after = flags_of(store)
    said = ["outcome", "reason", "p_over_next", "accepted_risk", "unit", "joint", "direction"]
    assert after.joints[said].equals(before.joints[said])
    assert after.vehicles["outcome"].tolist() == before.vehicles["outcome"].tolist()
    row = after.vehicles.set_index("unit").loc[UNIT]
    assert row["outcome"] == "over limit"
    assert say_action(row, joint=row["action_joint"]) == f"found good on 2026-11-20 ({JOINT})"
    own = after.joints[(after.joints["unit"] == UNIT) & (after.joints["joint"] == JOINT)]
    assert set(own["action"]) == {"found good"}
    assert set(own["action_by"]) == {"T3"}
    assert after.joints["action"].notna().sum() == len(own)


def test_the_latest_action_is_shown_and_is_seen_before_it_is_published(store):
    act(store, "ordered")
    act(store, "booked", on=date(2026, 11, 22))
    act(store, "declined", on=date(2026, 11, 21))
    (row,) = read_latest_actions(store, 1).to_dict("records")
    assert say_action(row) == "booked on 2026-11-22"
    con = open_snapshot(store)
    assert read_actions(con, 1).empty
    con.close()


@pytest.mark.parametrize(
    ("table", "text", "settled"),
    [
        ("readings", f"unit,visit date,odometer,joint,direction,play\n{UNIT},2026-11-21,,{JOINT},in-out,0.3 mm", True),
        ("readings", f"unit,visit date,odometer,joint,direction,play\n{UNIT},2026-11-20,,{JOINT},in-out,0.3 mm", False),
        ("work", f"unit,work date,joint,work\n{UNIT},2026-11-20,{JOINT},replaced", True),
        ("work", f"unit,work date,joint,work\n{UNIT},2026-11-19,{JOINT},replaced", False),
        ("work", f"unit,work date,joint,work\n{UNIT},2026-11-21,{JOINT},greased", False),
    ],
)
def test_a_later_reading_or_replacement_settles_it(store, tmp_path, table, text, settled):
    act(store, "ordered")
    path = tmp_path / f"{table}.csv"
    if "odometer" in text:
        with Store(store).reader() as con:
            (km,) = con.execute(
                "select max(o.odometer_km) from odometer o join vehicles u using (vehicle_id) where u.unit = ?", [UNIT]
            ).fetchone()
        text = text.replace("-20,,", f"-20,{km + 3000:.0f} km,").replace("-21,,", f"-21,{km + 3000:.0f} km,")
    path.write_text(text + "\n")
    (summary,) = load.run(store, [path], TODAY, loaded_at=datetime(2026, 11, 25, 9))
    assert (summary.table, summary.rows_in, summary.rows_quarantined) == (table, 1, 0), summary.reasons
    (row,) = read_latest_actions(store, 1).to_dict("records")
    assert (row["settled_on"] == row["settled_on"]) is settled
    shown = flags_of(store).vehicles.set_index("unit").loc[UNIT, "action"]
    assert (shown == "ordered") is not settled


def test_what_cannot_be_recorded_is_told(store):
    with pytest.raises(InputError, match=r"action 'wished' is not known.*vehicle held out"):
        act(store, "wished")
    with pytest.raises(InputError, match="lies in the future"):
        act(store, "ordered", on=date(2026, 12, 1))
    with pytest.raises(InputError, match="is not a joint of model"):
        act(store, "ordered", joint="tail gate")
    with Store(store).reader() as con:
        assert find_joint(con, UNIT, "Left front, lower ball-joint") == JOINT
        with pytest.raises(InputError, match=r"has no joint 'front lower ball'.*left front lower ball joint"):
            find_joint(con, UNIT, "front lower ball")
        assert con.execute("select count(*) from actions").fetchone() == (0,)
