"""The command trends: all forms tell the same, files read back, and what it refuses."""

import json
from io import StringIO

import pandas as pd
import pytest
from pypdf import PdfReader
from typer.testing import CliRunner

from fleetwear import cli


@pytest.fixture
def run(demo_store, monkeypatch, capsys):
    def call(*arguments):
        monkeypatch.setattr(
            "sys.argv", ["fleetwear", "trends", *map(str, arguments), "--store", str(demo_store.folder)]
        )
        with pytest.raises(SystemExit) as left:
            cli.main()
        out = capsys.readouterr()
        return left.value.code or 0, out.out, out.err

    return call


def test_all_forms_tell_the_same(run):
    code, out, err = run("--by", "duty", "--kind", "kingpin", "--format", "csv")
    frame = pd.read_csv(StringIO(out))
    assert code == 0
    assert set(frame["level"]) == {"long haul", "quarry", "regional"}
    assert (frame["growth_lower_mm_per_10000_km"] < frame["growth_mm_per_10000_km"]).all()
    assert "association in the record" in err
    assert "Too thin. Kingpin, long haul: 0 crossings among 16 parts" in err
    _, out, _ = run("--by", "duty", "--kind", "kingpin", "--format", "json")
    assert [row["level"] for row in json.loads(out)] == frame["level"].tolist()
    _, out, _ = run("--by", "duty", "--kind", "kingpin", "--units", "mm km")
    first = frame.set_index("level").loc["regional"]
    assert "mm per 10,000 km" in out
    assert f"{first['growth_mm_per_10000_km']:.4f} (" in out


def test_report_and_table_are_written(run, tmp_path):
    code, _, err = run("--kind", "drag link end", "--report", tmp_path / "trends.pdf", "--out", tmp_path / "trends.csv")
    assert code == 0
    assert "trends.pdf" in err
    assert "Trends of drag link ends" in PdfReader(tmp_path / "trends.pdf").pages[0].extract_text()
    back = pd.read_csv(tmp_path / "trends.csv")
    assert back["kind"].tolist() == ["drag link end"]
    assert back["n_parts"].tolist() == [55]


def test_what_is_not_there_is_refused_in_words(run, tmp_path):
    code, out, err = run("--kind", "wing nut")
    assert (code, out) == (1, "")
    assert "wheel bearing" in err
    code, _, err = run("--out", tmp_path / "trends.pdf")
    assert code == 1
    assert "trends.xlsx" in err
    assert CliRunner().invoke(cli.app, ["trends", "--by", "colour"]).exit_code == 2
