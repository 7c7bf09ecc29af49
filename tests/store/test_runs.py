"""What was done, and what failed, leaves a row and a line of the log."""

import json
import subprocess
import sys
from datetime import date

import pytest

from fleetwear import cli
from fleetwear.errors import InputError
from fleetwear.recording import Visit, record_visit
from fleetwear.store import Store
from fleetwear.store.runs import read_runs, running
from pipelines import fit, load

TABLES = {"vehicles": "unit,model\nA1,Alpha"}


def told(folder, **options):
    with Store(folder).reader() as con:
        return read_runs(con, **options)


@pytest.fixture
def call(monkeypatch, capsys):
    def run(*arguments):
        monkeypatch.setattr("sys.argv", ["fleetwear", *map(str, arguments)])
        with pytest.raises(SystemExit) as left:
            cli.main()
        out = capsys.readouterr()
        return left.value.code or 0, out.out, out.err

    return run


def test_a_load_leaves_what_it_counted_and_a_failure_its_words(make_store, tmp_path):
    folder = make_store(TABLES)
    (tmp_path / "odd.csv").write_text("colour,taste\nred,sweet\n")
    with pytest.raises(InputError):
        load.run(folder, [tmp_path / "odd.csv"], date(2026, 11, 20))
    failed, done = told(folder).to_dict("records")
    assert (done["what"], done["outcome"], json.loads(done["counts"])["rows_in"]) == ("load", "done", 1)
    assert json.loads(done["settings"])["files"] == ["vehicles.csv"]
    assert done["seconds"] > 0
    assert failed["outcome"] == "failed"
    assert "odd.csv" in failed["said"]
    assert "Traceback" not in failed["said"]
    with pytest.raises(Exception, match=r"."):
        fit.run(folder, as_of=date(2026, 11, 1), made_at=None)
    assert told(folder, what="fit")["outcome"].tolist() == ["failed"]
    assert len(told(folder, last=1)) == 1


def test_a_failure_where_there_is_no_store_is_told_all_the_same(tmp_path):
    with pytest.raises(InputError, match="told"), running(tmp_path, "load"):
        raise InputError("told")
    assert list(tmp_path.iterdir()) == []


def test_runs_and_json_lines(call, make_store, monkeypatch):
    folder = make_store(TABLES)
    code, _, err = call("--log", "json", "verify", "--store", folder)
    assert code == 0
    lines = [json.loads(line) for line in err.splitlines()]
    done = next(line for line in lines if line.get("what") == "verify")
    assert (done["outcome"], done["counts"]["wrong"], done["level"]) == ("done", 0, "info")
    assert any("nothing wrong" in line["message"] for line in lines), "talk is lines too"
    code, out, err = call("runs", "--what", "verify", "--format", "json", "--store", folder)
    assert [row["what"] for row in json.loads(out)] == ["verify"]
    assert err == ""
    code, _, err = call("--log", "text", "verify", "--store", folder)
    assert "INFO verify done in" in err
    monkeypatch.setenv("FLEETWEAR_LOG", "loud")
    assert call("verify", "--store", folder)[0] == 2


def test_what_a_page_hands_over_leaves_a_row_as_a_load_does(make_store):
    folder = make_store(TABLES)
    visit = Visit(unit="A1", visit_date=date(2026, 11, 19), odometer="1200", distance_unit="km", technician="T4")
    record_visit(folder, visit, name="one", today=date(2026, 11, 20))
    latest = told(folder, last=1).to_dict("records")[0]
    assert (latest["what"], latest["outcome"]) == ("load", "done")
    assert json.loads(latest["settings"])["by"].startswith("fleetwear record")
    assert json.loads(latest["counts"])["rows_in"] == 1


KILLED = """
import os, signal, sys
from pathlib import Path
from fleetwear.store.runs import running
with running(Path(sys.argv[1]), "fit", settings={"as_of": "2026-11-20"}):
    os.kill(os.getpid(), getattr(signal, sys.argv[2]))
"""


@pytest.mark.parametrize("signal", ["SIGKILL", "SIGTERM"])
def test_a_run_that_was_killed_is_told_of(call, make_store, signal):
    folder = make_store(TABLES)
    done = subprocess.run([sys.executable, "-c", KILLED, str(folder), signal], check=False)
    assert done.returncode < 0
    with running(folder, "verify"):  # which notes it, and is itself not taken for one that was killed
        assert told(folder, what="fit")["outcome"].tolist() == ["failed"]
        assert call("runs", "--store", folder)[0] == 0
    code, out, _ = call("runs", "--format", "json", "--store", folder)
    assert code == 0
    assert [row["what"] for row in json.loads(out)] == ["verify", "fit", "load"]
    row = json.loads(out)[1]
    assert "ended before it was done" in row["said"]
    assert json.loads(row["settings"]) == {"as_of": "2026-11-20"}
    assert not list(folder.glob("running.*"))


def test_the_list_of_runs_notes_what_was_killed_itself(call, make_store):
    folder = make_store(TABLES)
    subprocess.run([sys.executable, "-c", KILLED, str(folder), "SIGKILL"], check=False)
    (folder / "running.torn.json").write_text('{"what": "fi')
    _, out, _ = call("runs", "--format", "json", "--store", folder)
    assert [row["outcome"] for row in json.loads(out)] == ["failed", "done"]
    assert not list(folder.glob("running.*"))
