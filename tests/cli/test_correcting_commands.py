"""correct, withdraw, reinstate and history, as commands."""

import json

import pytest

from fleetwear import cli

TABLES = {
    "vehicles": "unit,model\nA1,Alpha",
    "positions": "model,axle,side,place,kind\nAlpha,front,left,lower,ball joint",
    "readings": "unit,visit date,odometer (km),joint,direction,play\n"
    "A1,2024-02-10,2000,left front lower ball joint,in-out,20 thou",
}


@pytest.fixture
def run(monkeypatch, capsys, make_store):
    folder = make_store(TABLES)

    def call(*arguments):
        monkeypatch.setattr("sys.argv", ["fleetwear", *map(str, arguments), "--store", str(folder)])
        with pytest.raises(SystemExit) as left:
            cli.main()
        out = capsys.readouterr()
        return left.value.code or 0, out.out, out.err

    return call


def test_a_row_is_corrected_withdrawn_reinstated_and_shown(run):
    said = ("--why", "misread; again", "--by", "T2")
    code, _, err = run("correct", "reading", 1, "--play", "18 thou", "--read-at=tyre tread", *said)
    assert (code, "reading 2 stands in its place" in err) == (0, True), err
    code, _, err = run("correct", "reading", 1, "--play", "19 thou", *said)
    assert code == 1
    assert "already corrected by T2" in err
    assert run("withdraw", "visit", 1, *said)[0] == 0
    assert run("reinstate", "visit", 1, *said)[0] == 0
    code, out, _ = run("history", "A1", "--format", "json")
    rows = {(row["row"], row["number"]): row for row in json.loads(out)}
    assert rows["reading", 1]["state"] == "superseded by reading 2"
    assert "play=18 thou" in rows["reading", 2]["says"]
    assert rows["reading", 2]["changes"] == "play=18 thou; read at=tyre tread"
    assert rows["visit", 1]["state"] == "superseded by visit 2"
    assert rows["visit", 2]["why"] == "misread; again"
    code, out, _ = run("history", "A1", "--corrected")
    assert "vehicle" not in out.splitlines()[2]
    assert run("history", "A9")[0] == 1


def test_what_is_not_understood_is_told(run):
    said = ("--why", "x", "--by", "T2")
    code, _, err = run("correct", "reading", 1, "--plai", "18 thou", *said)
    assert code == 1
    assert 'nearest is "play"' in err
    assert run("correct", "reading", 1, *said)[0] == 2
    assert run("correct", "reading", 1, "--play", *said)[0] in (1, 2)
    assert run("correct", "colour", 1, "--play", "1 mm", *said)[0] == 2
