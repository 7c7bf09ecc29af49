"""Several processes record at the same time, and a cut hand-over is resumed in its order."""

from __future__ import annotations

import json
import subprocess
import sys
from datetime import date
from pathlib import Path

import pytest

from fleetwear.errors import StoreBusyError
from fleetwear.intake import taking
from fleetwear.store import Store
from pipelines import load

SCRIPT = Path(__file__).with_name("many_writers.py")
TODAY = date(2026, 11, 20)
TABLES = {
    "vehicles": "unit,model\nA1,Alpha",
    "positions": "model,axle,side,place,kind\nAlpha,front,left,lower,ball joint",
}


def test_writers_at_the_same_time_lose_nothing_and_are_shown_no_lock(tmp_path):
    done = subprocess.run([sys.executable, SCRIPT, tmp_path, "3", "2"], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
    figures = json.loads(done.stdout)
    assert (figures["visits"], figures["lost"], figures["twice"], figures["errors"]) == (6, 0, 0, 0)


def test_a_load_that_cannot_get_in_leaves_its_file_for_the_next(make_store, tmp_path):
    folder = make_store(TABLES)
    file = tmp_path / "more.csv"
    file.write_text("unit,model\nA2,Alpha\n")
    hold = (
        "import sys; from pathlib import Path; from fleetwear.store import Store\n"
        "with Store(Path(sys.argv[1])).writer():\n    print('holding', flush=True); sys.stdin.readline()"
    )
    with subprocess.Popen(
        [sys.executable, "-c", hold, str(folder)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as process:
        process.stdout.readline()
        told = []
        with pytest.raises(StoreBusyError, match=r"1 files handed over are safe in the inbox.*`fleetwear load`"):
            load.run(folder, [file], TODAY, wait_seconds=0.2, on_wait=lambda: told.append(1))
        assert told == [1]
        process.stdin.close()
        process.wait(timeout=30)
    (summary,) = load.run(folder, [], TODAY)
    assert (summary.file, summary.rows_in) == ("more.csv", 1)


def test_hand_overs_that_were_cut_off_are_resumed_one_after_the_other(make_store, tmp_path, monkeypatch):
    """Each needs its own vehicles first, and the second one's vehicles do not come before the first one's visits."""
    folder = make_store(TABLES)
    hand_overs = []
    for i in range(2):
        files = [tmp_path / f"visits{i}.csv", tmp_path / f"vehicles{i}.csv"]
        files[0].write_text(f"unit,visit date,odometer (km)\nB{i},2024-01-0{1 + i},100\n")
        files[1].write_text(f"unit,model\nB{i},Alpha\n")
        hand_overs.append(files)

    def cut(*_, **__):
        raise KeyboardInterrupt

    with monkeypatch.context() as patched:
        patched.setattr(taking, "read_files", cut)
        for files in hand_overs:
            with pytest.raises(KeyboardInterrupt):
                load.run(folder, files, TODAY)
    resumed = load.run(folder, [], TODAY)
    assert [one.file for one in resumed] == ["vehicles0.csv", "visits0.csv", "vehicles1.csv", "visits1.csv"]
    assert all(one.rows_quarantined == 0 for one in resumed)
    with Store(folder).reader() as con:
        assert con.execute("select count(*) from visits").fetchall() == [(2,)]
