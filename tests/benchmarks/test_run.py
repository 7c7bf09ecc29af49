"""The benchmarks run: sections chosen by name, others kept."""

import sys
from pathlib import Path

import pytest

sys.path.append(str(Path(__file__).parent))

import run
import summing


def test_a_section_is_run_and_others_are_kept(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(summing, "SIZES", (200, 400))
    run.keep("load", "## Loading a file\n\nkept as it was\n", tmp_path)
    run.keep("sums", "old sums\n", tmp_path)
    assert run.main(["--only", "sums"], folder=tmp_path) == 0
    assert "sums (1 of 1)" in capsys.readouterr().out
    text = (tmp_path / "results.md").read_text(encoding="utf-8")
    assert "kept as it was" in text
    assert "old sums" not in text
    assert "| 400 | 2,000 |" in text
    assert "load average" in text
    assert text.index("From the sums") < text.index("Loading a file")


def test_a_section_that_is_none_is_refused(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit):
        run.main(["--only", "sums,nonsense"])
    assert "no section nonsense" in capsys.readouterr().err
