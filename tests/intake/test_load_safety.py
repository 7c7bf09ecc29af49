"""Loading twice, loading more, dying half-way, loading at once: the store holds the same in the end."""

from __future__ import annotations

import os
import random
import signal
import subprocess
import sys
import textwrap
import time
from datetime import date
from pathlib import Path

from hypothesis import given, settings
from hypothesis import strategies as st

from fleetwear.intake import load_files
from fleetwear.intake.loading import best_order, handed, read_file

ROOT = Path(__file__).parents[2]
JOINT = "left front lower ball joint"
HEAD = "unit,visit date,odometer (km),joint,direction,play (thou)\n"
LOAD = textwrap.dedent("""
    import sys
    from datetime import date, datetime
    from pathlib import Path
    from pipelines.load import run
    print("begun", flush=True)
    run(Path(sys.argv[1]), [Path(name) for name in sys.argv[2:]], date(2024, 6, 1),
        loaded_at=datetime(2024, 6, 1, 12), wait_seconds=60)
""")


def readings(n, *, unit="A1", bad_every=50):
    lines = []
    for i in range(n):
        day = date.fromordinal(date(2020, 2, 1).toordinal() + i // 4)
        play = "bad" if i % bad_every == 0 else str(i % 60)
        lines.append(f"{unit},{day},{1000 + 100 * (i // 4)},{JOINT},{'in-out' if i % 2 else 'fore-aft'},{play}\n")
    return HEAD + "".join(lines)


def start(*arguments):
    return subprocess.Popen(
        [sys.executable, "-c", LOAD, *map(str, arguments)],
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        stdout=subprocess.PIPE,
        text=True,
    )


def test_the_same_file_twice_changes_nothing(bench):
    bench.load("r.csv", readings(200))
    before = bench.dump()
    summary = bench.load("r.csv")
    assert (summary.rows_in, summary.rows_known) == (0, 196)
    assert (summary.rows_quarantined, summary.rows_quarantined_before) == (0, 4)
    assert bench.dump() == before


def test_a_re_export_with_more_rows_brings_only_those(two_benches):
    parts, whole = two_benches
    parts.load("r.csv", readings(100))
    summary = parts.load("r.csv", readings(200))
    assert (summary.rows_in, summary.rows_known) == (98, 98)
    whole.load("r.csv", readings(200))
    columns = "visit_id, position_id, direction, session, stroke, play_mm, source_row, row_key"
    query = f"select {columns} from readings order by reading_id"
    assert parts.rows(query) == whole.rows(query)
    assert parts.reasons() == whole.reasons()


def test_a_load_killed_half_way_leaves_nothing_half_done(two_benches):
    killed, undisturbed = two_benches
    text = readings(2400)
    names = []
    for bench in (killed, undisturbed):
        names = [bench.write("a.csv", text), bench.write("b.csv", readings(1200, unit="A2"))]
    undisturbed.load("a.csv")
    undisturbed.load("b.csv")
    empty = killed.rows("select count(*) from loads")
    paths = [killed.folder / path.name for path in names]
    rng = random.Random(11)
    for _ in range(2):
        with start(killed.store.folder, *paths) as process:
            assert process.stdout.readline() == "begun\n"
            time.sleep(rng.uniform(0.05, 0.8))
            process.send_signal(signal.SIGKILL)
        n_loads = killed.rows("select count(*) from loads")[0][0] - empty[0][0]
        assert killed.rows("select count(*) from readings")[0][0] == (0, 2352, 2352 + 1176)[n_loads]
    with start(killed.store.folder, *paths) as process:
        process.communicate(timeout=60)
    assert process.returncode == 0
    assert killed.dump() == undisturbed.dump()


def test_a_failure_inside_a_file_undoes_all_of_it(bench, monkeypatch):
    import pytest

    from fleetwear.intake import sheet_loading

    def fail(*args, **kwargs):
        raise RuntimeError("the disk is gone")

    before = bench.dump()
    monkeypatch.setattr(sheet_loading, "ask", fail)
    with pytest.raises(RuntimeError):
        bench.load("r.csv", readings(100))
    assert bench.dump() == before


def test_two_processes_load_at_once(bench):
    one = bench.write("a.csv", readings(400))
    two = bench.write("b.csv", readings(400, unit="A2"))
    processes = [start(bench.store.folder, path) for path in (one, two)]
    assert [process.wait(timeout=60) for process in processes] == [0, 0]
    for process in processes:
        process.stdout.close()
    assert bench.rows("select count(*) from readings") == [(784,)]
    assert bench.rows("select count(*) from quarantine") == [(16,)]


def test_files_are_loaded_after_those_that_they_refer_to(bench):
    names = ["r.csv", "w.csv", "p.csv", "v.csv"]
    texts = [
        readings(10).replace("A1", "Z1"),
        f"unit,work date,joint,work\nZ1,2023-01-01,{JOINT},greased\n",
        "model,axle,side,place,kind\nZeta,front,left,lower,ball joint\n",
        "unit,model\nZ1,Zeta\n",
    ]
    paths = [bench.write(name, text) for name, text in zip(names, texts, strict=True)]
    assert [file.path.name for file in best_order([read_file(handed(path)) for path in paths])] == [
        "v.csv", "p.csv", "r.csv", "w.csv",
    ]  # fmt: skip
    progress = []
    summaries = load_files(bench.store, paths, today=date(2024, 6, 1), on_progress=progress.append)
    assert [summary.rows_in for summary in summaries] == [1, 1, 9, 1]
    assert progress[0] == "reading r.csv"
    assert progress[-1] == "loading w.csv"


@settings(max_examples=25, deadline=None)
@given(
    st.lists(
        st.one_of(
            st.decimals(0, 99999, places=4).map(str),
            st.floats(0, 1e6, allow_nan=False).map(repr),
            st.integers(0, 10**9).map(lambda i: f"+{i}."),
            st.integers(0, 999).map(lambda i: f".{i}e-2"),
        ),
        min_size=1,
        max_size=30,
    )
)
def test_every_plain_spelling_of_a_number_is_read_as_python_reads_it(spellings):
    import duckdb

    from fleetwear.intake.sheet_loading import prepare

    con = duckdb.connect()
    prepare(con)
    got = con.execute("select plain_number(unnest($cells::varchar[]))", {"cells": spellings}).fetchall()
    con.close()
    assert [row[0] for row in got] == [float(text) for text in spellings]
