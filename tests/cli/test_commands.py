"""The command line: data to standard output, talk to standard error, exit codes, safe to run twice."""

import json
import os
import subprocess
import sys
from io import StringIO

import pandas as pd
import pytest
from typer.testing import CliRunner

from fleetwear import cli

VEHICLES = "unit,model,in service date\nA1,Van,2023-01-01\n"
POSITIONS = "model,axle,side,place,kind\nVan,front,left,lower,ball joint\n"
READINGS = (
    "unit,visit date,odometer (km),joint,direction,play\n"
    "A1,2025-05-01,40000,left front lower ball joint,in-out,20 thou\n"
    "A1,2025-05-01,40000,left front lower ball joint,in-out,20 furlong\n"
    "A1,2025-05-01,40000,left front lower ball joint,fore-aft,45 mm\n"
)


def invoke(*arguments, monkeypatch=None):
    return CliRunner().invoke(cli.app, [str(argument) for argument in arguments])


def run_main(monkeypatch, capsys, *arguments):
    monkeypatch.setattr("sys.argv", ["fleetwear", *map(str, arguments)])
    with pytest.raises(SystemExit) as left:
        cli.main()
    out = capsys.readouterr()
    return left.value.code or 0, out.out, out.err


@pytest.fixture
def files(tmp_path):
    for name, text in (("vehicles", VEHICLES), ("positions", POSITIONS), ("readings", READINGS)):
        (tmp_path / f"{name}.csv").write_text(text)
    return [tmp_path / f"{name}.csv" for name in ("readings", "positions", "vehicles")]


def test_load_tells_what_became_of_every_row_and_changes_nothing_twice(files, tmp_path, monkeypatch, capsys):
    store = tmp_path / "store"
    code, out, err = run_main(monkeypatch, capsys, "load", *files, "--store", store)
    assert code == 0
    assert "readings.csv: readings, 3 rows read, 2 rows in, 1 in quarantine, 1 asked about" in out
    assert "furlong" in err
    assert "fleetwear quarantine" in err
    code, out, _ = run_main(monkeypatch, capsys, "load", *files, "--store", store)
    assert "readings.csv: readings, 3 rows read, 0 rows in, 2 known before, 1 in quarantine" in out
    code, out, _ = run_main(monkeypatch, capsys, "quarantine", "--store", store, "--format", "json")
    rows = json.loads(out)
    assert len(rows) == 1
    assert rows[0]["row"] == 3
    assert "furlong" in rows[0]["reasons"]


def test_questions_are_listed_answered_once_and_gone(files, tmp_path, monkeypatch, capsys):
    store = tmp_path / "store"
    run_main(monkeypatch, capsys, "load", *files, "--store", store)
    _, out, _ = run_main(monkeypatch, capsys, "questions", "--store", store, "--format", "csv")
    asked = pd.read_csv(StringIO(out))
    assert asked["play_written"].tolist() == [45]
    number = asked["question_id"][0]
    code, _, err = run_main(monkeypatch, capsys, "answer", number, "mistake", "--by", "T2", "--store", store)
    assert code == 0
    code, _, err = run_main(monkeypatch, capsys, "answer", number, "mistake", "--store", store)
    assert code == 1
    assert "answered" in err
    _, _, err = run_main(monkeypatch, capsys, "questions", "--store", store)
    assert "No question is open." in err


def test_flags_and_vehicle_in_all_formats(demo_store, monkeypatch, capsys):
    at = ("--store", demo_store.folder)
    code, out, err = run_main(monkeypatch, capsys, "flags", *at, "--format", "json")
    flags = json.loads(out)
    assert code == 0
    assert flags[0]["outcome"] == "over limit"
    assert "never clears a vehicle" in err
    _, out, _ = run_main(monkeypatch, capsys, "flags", *at, "--all", "--format", "csv")
    everything = pd.read_csv(StringIO(out))
    assert len(everything) == 82
    assert len(flags) < 82
    depot = flags[0]["depot"]
    _, out, _ = run_main(
        monkeypatch, capsys, "flags", *at, "--depot", depot, "--horizon", 60, "--all", "--format", "csv"
    )
    some = pd.read_csv(StringIO(out))
    assert set(some["depot"]) == {depot}
    assert (pd.to_datetime(some["next_service"]) <= pd.Timestamp("2026-12-31")).all()
    _, out, _ = run_main(monkeypatch, capsys, "flags", *at, "--joints", "--all", "--format", "csv")
    assert len(pd.read_csv(StringIO(out))) > 1000
    _, out, _ = run_main(monkeypatch, capsys, "flags", *at)
    assert flags[0]["unit"] in out
    code, out, err = run_main(monkeypatch, capsys, "vehicle", flags[0]["unit"].lower(), *at)
    assert code == 0
    assert "over limit" in out
    _, out, _ = run_main(monkeypatch, capsys, "vehicle", flags[0]["unit"], *at, "--format", "csv")
    assert {"last_play", "play_unit", "crossing_date_50"} <= set(pd.read_csv(StringIO(out)).columns)


def test_a_planted_case_each_is_flagged_as_it_should(demo_store, monkeypatch, capsys):
    _, out, _ = run_main(
        monkeypatch, capsys, "flags", "--store", demo_store.folder, "--joints", "--all", "--format", "csv"
    )
    joints = pd.read_csv(StringIO(out))
    events = pd.read_csv(demo_store.files.truth["events"])
    wanted = {
        "over limit, not replaced": {"over limit"},
        "noise confirmed, joint under its limit": {"symptom confirmed"},
        "one direction only": {"not tested", "crosses before next service"},
        "implausible reading": {"recheck", "crosses before next service"},
    }
    for case, outcomes in wanted.items():
        rows = events[events["case"] == case]
        assert len(rows)
        for event in rows.itertuples():
            own = joints[joints["unit"] == event.unit]
            own = own[own["joint"] == event.joint] if isinstance(event.joint, str) else own
            assert outcomes & set(own["outcome"]), (case, event.unit, own["outcome"].tolist())
    alone = events[events["case"] == "one direction only"].iloc[0]
    untested = joints[
        (joints["unit"] == alone["unit"]) & (joints["joint"] == alone["joint"]) & joints["last_read"].isna()
    ]
    assert len(untested) == 1
    assert "ot tested in this load direction" in untested["reason"].iloc[0]
    trailers = joints[joints["unit"].str.startswith("T1")]
    assert trailers["reason"].str.contains("Distance estimated from dates").all()
    assert trailers["crossing_odometer_50"].isna().all()
    stabilizers = joints[joints["joint"].str.endswith("stabilizer link") & joints["limit"].isna()]
    assert len(stabilizers)
    assert not stabilizers["outcome"].str.startswith("no crossing").any()


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["flags", "--store", "nowhere"], "fleetwear demo"),
        (["quarantine", "--store", "nowhere"], "Load a file first"),
        (["load", "no_such_file.csv", "--store", "STORE"], "no_such_file.csv"),
        (["forecast", "--cost-ratio", "-1", "--store", "STORE"], "positive number"),
    ],
)
def test_what_cannot_be_done_is_said_in_words_with_exit_code_one(arguments, words, tmp_path, monkeypatch, capsys):
    given = [str(tmp_path / "store") if word == "STORE" else word for word in arguments]
    monkeypatch.chdir(tmp_path)
    code, out, err = run_main(monkeypatch, capsys, *given)
    assert code == 1
    assert out == ""
    assert words in err
    assert "Traceback" not in err


def test_an_unknown_vehicle_gets_the_nearest_unit_numbers(demo_store, monkeypatch, capsys):
    code, _, err = run_main(monkeypatch, capsys, "vehicle", "V-101", "--store", demo_store.folder)
    assert code == 1
    assert "V101" in err


def test_a_command_that_is_not_understood_exits_with_two():
    assert invoke("flags", "--no-such-option").exit_code == 2


def test_a_night_s_work_gives_way_to_what_somebody_waits_for(tmp_path):
    told = (
        "import os, atexit; from fleetwear.cli import main; "
        "atexit.register(lambda: print(os.getpriority(os.PRIO_PROCESS, 0))); main()"
    )
    own = os.getpriority(os.PRIO_PROCESS, 0)
    for asked, expected in (("forecast", max(own, 10)), ("flags", own)):
        done = subprocess.run(
            [sys.executable, "-c", told, asked, "--store", str(tmp_path)], capture_output=True, text=True, check=False
        )
        assert done.returncode == 1, "there is no store"
        assert done.stdout.split() == [str(expected)]


def test_debug_shows_the_traceback(tmp_path, monkeypatch):
    from fleetwear.errors import StoreError

    monkeypatch.setattr("sys.argv", ["fleetwear", "--debug", "flags", "--store", str(tmp_path)])
    monkeypatch.delenv("FLEETWEAR_DEBUG", raising=False)
    with pytest.raises(StoreError):
        cli.main()
    monkeypatch.delenv("FLEETWEAR_DEBUG", raising=False)
