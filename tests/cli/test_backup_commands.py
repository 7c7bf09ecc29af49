"""Backup, restore, verify and loading what waits, as commands."""

import json

import pytest

from fleetwear import cli
from fleetwear.store import Store
from fleetwear.store.inbox import Inbox

TABLES = {
    "vehicles": "unit,model\nA1,Alpha",
    "positions": "model,axle,side,place,kind\nAlpha,front,left,lower,ball joint",
}


@pytest.fixture
def run(monkeypatch, capsys):
    def call(*arguments):
        monkeypatch.setattr("sys.argv", ["fleetwear", *map(str, arguments)])
        with pytest.raises(SystemExit) as left:
            cli.main()
        out = capsys.readouterr()
        return left.value.code or 0, out.out, out.err

    return call


def test_a_store_goes_into_a_file_and_comes_back(run, make_store, tmp_path):
    folder, file, elsewhere = make_store(TABLES), tmp_path / "store.zip", tmp_path / "elsewhere"
    code, _, err = run("backup", file, "--store", folder)
    assert code == 0
    assert "fleetwear restore" in err
    code, _, err = run("backup", file, "--store", folder)
    assert code == 1
    assert "already" in err
    assert run("restore", file, "--store", elsewhere)[0] == 0
    with Store(elsewhere).reader() as con:
        assert con.execute("select unit from vehicles").fetchall() == [("A1",)]
    code, _, err = run("restore", file, "--store", elsewhere)
    assert code == 1
    assert "--replace" in err
    (elsewhere / "roles.toml").write_text("[mail]\n")
    code, _, err = run("restore", file, "--replace", "--store", elsewhere)
    assert code == 0
    assert "What stood there is now" in err
    assert "Backups hold no roles.toml: copy back from there" in err
    _, out, _ = run("runs", "--what", "restore", "--format", "json", "--store", elsewhere)
    assert [row["outcome"] for row in json.loads(out)] == ["done"]


def test_verify_tells_what_is_wrong_and_ends_with_one(run, make_store):
    folder = make_store(TABLES)
    code, out, err = run("verify", "--store", folder)
    assert (code, out) == (0, "")
    assert "nothing wrong" in err
    with Store(folder).writer() as con:
        con.execute("delete from vehicles")
    code, out, _ = run("verify", "--store", folder)
    assert code == 1
    assert "brought 1 rows and 0 are there" in out


def test_loading_without_files_takes_what_waits(run, make_store, tmp_path):
    folder = make_store(TABLES)
    code, _, err = run("load", "--store", folder)
    assert code == 0
    assert "Nothing was waiting" in err
    (tmp_path / "late.csv").write_text("unit,model\nA2,Alpha\n")
    with Inbox(folder).deliver([tmp_path / "late.csv"], by="a form"):
        pass
    code, out, err = run("load", "--store", folder)
    assert code == 0
    assert "late.csv: vehicles, 1 rows read, 1 rows in" in out
    assert "Taken from the inbox" in err
