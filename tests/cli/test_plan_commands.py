"""The commands for the weeks ahead: every table and form, files, and what is refused."""

import json
import shutil
from io import StringIO

import pandas as pd
import pytest
import python_calamine
from icalendar import Calendar

from fleetwear import cli
from fleetwear.planning import ahead
from fleetwear.store import Store, open_snapshot


@pytest.fixture(scope="module")
def material(demo_store):
    """Return what plans of the demo store are made of, read once for the module."""
    con = open_snapshot(demo_store.folder)
    made = ahead.read_material(con)
    con.close()
    return made


@pytest.fixture
def run(demo_store, material, monkeypatch, capsys):
    def call(command, *arguments, store=None):
        folder = store or demo_store.folder
        monkeypatch.undo()
        if store is None:
            monkeypatch.setattr(ahead, "read_material", lambda con: material)
        monkeypatch.setattr("sys.argv", ["fleetwear", command, *map(str, arguments), "--store", str(folder)])
        with pytest.raises(SystemExit) as left:
            cli.main()
        out = capsys.readouterr()
        return left.value.code or 0, out.out, out.err

    return call


def test_a_plan_is_printed_in_every_form(run):
    code, out, err = run("plan", "--weeks", "8")
    assert code == 0
    for heading in ("By week", "Parts to order", "Bay hours", "Not covered"):
        assert f"\n{heading}\n" in f"\n{out}"
    assert "A forecast does not replace inspection" in err
    code, out, _ = run("plan", "--format", "json", "--shift-days", "-14")
    whole = json.loads(out)
    assert set(whole) == {
        "by_week", "parts_to_order", "bay_hours", "together", "next_checks", "not_covered", "assumptions",
    }  # fmt: skip
    assert "moved by -14 days" in whole["assumptions"][0]["assumption"]
    _, out, _ = run("plan", "--format", "csv", "--show", "next checks", "--depot", "Harbour")
    checks = pd.read_csv(StringIO(out))
    assert set(checks["depot"]) == {"Harbour"}
    assert {"by_odometer", "distance_unit", "accepted_risk"} <= set(checks.columns)


def test_a_workbook_and_a_calendar_are_written(run, tmp_path):
    code, _, err = run("plan", "--out", tmp_path / "plan.xlsx", "--show", "not covered")
    assert code == 0
    assert f"Written to {tmp_path / 'plan.xlsx'}." in err
    sheets = python_calamine.CalamineWorkbook.from_path(tmp_path / "plan.xlsx").sheet_names
    assert sheets[:3] == ["by week", "parts to order", "bay hours"]
    run("plan", "--out", tmp_path / "plan.ics", "--show", "not covered")
    assert Calendar.from_ical((tmp_path / "plan.ics").read_bytes()).walk("VEVENT")


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["--format", "csv"], "a CSV holds one table"),
        (["--out", "plan.pdf"], "neither a workbook nor a calendar"),
        (["--out", "/nowhere/at/all.ics"], "the plan cannot be written"),
        (["--cover", "2"], "cover 2"),
        (["--shift-days", "999"], "a shift of 999 days"),
        (["--depot", "Moon"], "no vehicle stands at depot 'Moon'"),
    ],
)
def test_what_cannot_be_is_refused_in_words(run, arguments, message):
    code, _, err = run("plan", *arguments)
    assert code == 1
    assert message in err


def test_an_action_is_recorded_and_listed_after_publication(run, demo_store, tmp_path):
    own = tmp_path / "own"
    shutil.copytree(demo_store.folder, own)
    joint = "left front lower ball joint"
    told = ("V102", joint, "ordered", "--by", "T3", "--note", "due on Friday", "--on", "2026-11-20")
    code, _, err = run("act", *told, store=own)
    assert code == 0
    assert f"Recorded: V102, {joint}, ordered on 2026-11-20." in err
    assert "On record already" in run("act", *told, store=own)[2]
    from pipelines import publish

    publish.run(own)
    _, out, _ = run("flags", "--format", "csv", store=own)
    flags = pd.read_csv(StringIO(out)).set_index("unit")
    assert flags.loc["V102", "done"] == f"ordered on 2026-11-20 ({joint})"
    assert flags.loc["V102", "outcome"] == "over limit"
    assert flags["done"].notna().sum() == 1
    _, out, _ = run("flags", store=own)
    assert "ordered on 2026-11-20" in " ".join(out.split())
    _, out, _ = run("plan", "--format", "csv", "--show", "by week", store=own)
    assert "ordered on 2026-11-20" in out


def test_an_unknown_joint_or_vehicle_records_nothing(run, demo_store, tmp_path):
    own = tmp_path / "own"
    shutil.copytree(demo_store.folder, own)
    code, _, err = run("act", "V102", "front ball", "ordered", store=own)
    assert code == 1
    assert "vehicle V102 has no joint 'front ball'. The nearest are:" in err
    code, _, err = run("act", "V9999", "x", "ordered", store=own)
    assert code == 1
    with Store(own).reader() as con:
        assert con.execute("select count(*) from actions").fetchone() == (0,)
        assert con.execute("select count(*) from quarantine where table_name = 'actions'").fetchone() == (0,)
