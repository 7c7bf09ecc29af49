"""The command that compares growth: all forms, files to take away, and what it refuses."""

import json
from io import StringIO

import pandas as pd
import pytest
import python_calamine
from typer.testing import CliRunner

from fleetwear import cli


@pytest.fixture
def run(demo_store, monkeypatch, capsys):
    def call(*arguments):
        monkeypatch.setattr(
            "sys.argv", ["fleetwear", "effects", *map(str, arguments), "--store", str(demo_store.folder)]
        )
        with pytest.raises(SystemExit) as left:
            cli.main()
        out = capsys.readouterr()
        return left.value.code or 0, out.out, out.err

    return call


def test_all_forms_tell_the_same(run):
    code, out, err = run("--by", "depot", "--kind", "ball joint", "--format", "csv")
    frame = pd.read_csv(StringIO(out))
    assert code == 0
    assert set(frame["factor"]) == {"depot"}
    assert (frame["lower"] < frame["ratio"]).all()
    assert "not an experiment" in err
    assert f"{len(frame)} comparisons" in err
    _, out, _ = run("--by", "depot", "--kind", "ball joint", "--format", "json")
    assert [row["says"] for row in json.loads(out)] == frame["says"].tolist()
    _, out, _ = run("--by", "depot", "--kind", "ball joint")
    assert "Ball joints at depot Harbour wear" in out
    assert "all at once" in out


def test_what_could_not_be_compared_is_counted_and_told_in_full_forms(run):
    _, out, err = run("--by", "supplier", "--format", "csv")
    frame = pd.read_csv(StringIO(out))
    missing = frame["ratio"].isna()
    assert missing.any()
    assert frame.loc[missing, "note"].notna().all()
    assert f"{missing.sum()} more could not be made" in err


@pytest.mark.parametrize("ending", ["csv", "xlsx"])
def test_files_to_take_away_read_back(run, tmp_path, ending):
    path = tmp_path / f"effects.{ending}"
    code, out, err = run("--by", "side", "--out", path, "--format", "csv")
    assert code == 0
    assert str(path) in err
    told = pd.read_csv(StringIO(out))
    if ending == "csv":
        back = pd.read_csv(path)
    else:
        rows = python_calamine.CalamineWorkbook.from_path(path).get_sheet_by_index(0).to_python()
        back = pd.DataFrame(rows[1:], columns=rows[0])
    assert back["says"].tolist() == told["says"].tolist()
    assert pd.to_numeric(back["ratio"]).tolist() == pytest.approx(told["ratio"].tolist(), nan_ok=True)


def test_what_is_not_there_is_refused_in_words(run, tmp_path):
    code, out, err = run("--kind", "wing nut")
    assert (code, out) == (1, "")
    assert "wheel bearing" in err
    code, _, err = run("--out", tmp_path / "effects.pdf")
    assert code == 1
    assert "effects.xlsx" in err
    code, _, err = run("--out", tmp_path / "nowhere" / "effects.csv")
    assert code == 1
    assert "cannot be written" in err
    assert CliRunner().invoke(cli.app, ["effects", "--by", "colour"]).exit_code == 2
