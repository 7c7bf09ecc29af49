"""The worked analysis runs on the demo's snapshot as it stands, and the two fits agree."""

from __future__ import annotations

import re
import runpy

from fleetwear.reports import examples


def test_the_worked_analysis_runs_and_the_two_fits_agree(demo_store, tmp_path, monkeypatch, capsys):
    """statsmodels' MixedLM is another implementation: cohorts within two stored standard errors, lives correlated."""
    monkeypatch.setenv("FLEETWEAR_STORE", str(demo_store.folder))
    monkeypatch.setenv("FLEETWEAR_EXAMPLE_OUT", str(tmp_path))
    found = runpy.run_path(f"{examples.__path__[0]}/worked_analysis.py")
    said = capsys.readouterr().out
    assert re.search(r"As of 2026-11-01: forecast 1, fit 1", said)
    assert found["fit"].converged
    cohorts = found["cohorts"]
    assert len(cohorts) == 4
    assert ((cohorts["stored"] - cohorts["anew"]).abs() < 2.0 * cohorts["stored_se"]).all()
    assert found["agreement"] > 0.95
    assert 0.9 < found["ratio"] < 1.1
    assert found["inside"] > 0.9
    picture = (tmp_path / "growth_two_fits.svg").read_text(encoding="utf-8")
    assert picture.startswith("<svg")
    assert "Growth fitted anew" in picture
