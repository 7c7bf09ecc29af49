"""Loads killed at random moments and begun again, against the same files loaded in peace.

Run by path: ``python tests/store/kill_loading.py FOLDER KILLS [SEED]``. Each load is a process of its own, forked after
the imports, so that the kills fall into the work. What has been seen so far goes to standard error, the figures as JSON
to standard output; exit code 1 if anything differs.
"""

from __future__ import annotations

import json
import os
import random
import signal
import sys
import time
from datetime import date, datetime
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

import duckdb  # noqa: F401

from fleetwear.store import Store
from fleetwear.store.inbox import Inbox
from pipelines import load

TODAY, LOADED_AT = date(2026, 11, 20), datetime(2026, 11, 20, 6)
JOINT = "left front lower ball joint"
SHOWN = {
    "vehicles": "select unit, model, source_row, row_key from vehicles",
    "positions": "select model, joint, source_row, row_key from positions",
    "visits": "select visit_date, odometer_km, row_key from visits",
    "readings": "select direction, session, stroke, play_mm, source_row, row_key from readings",
    "quarantine": "select file_name, source_row, cells::varchar, reasons from quarantine",
}


def write_files(folder: Path, *, n_files: int, rows: int) -> list[Path]:
    """Write a vehicle a file with readings, one row in ten bad; vehicles and positions come first."""
    folder.mkdir(parents=True, exist_ok=True)
    units = [f"A{i}" for i in range(n_files)]
    texts = {
        "vehicles": "unit,model\n" + "".join(f"{unit},Alpha\n" for unit in units),
        "positions": "model,axle,side,place,kind\nAlpha,front,left,lower,ball joint\n",
    }
    for unit in units:
        lines = ["unit,visit date,odometer (km),joint,direction,play (thou)\n"]
        for i in range(rows):
            day = date.fromordinal(date(2023, 2, 1).toordinal() + 7 * i)
            lines.append(f"{unit},{day},{1000 + 100 * i},{JOINT},in-out,{'bad' if i % 10 == 3 else i % 40}\n")
        texts[f"readings_{unit}"] = "".join(lines)
    paths = []
    for name, text in texts.items():
        paths.append(folder / f"{name}.csv")
        paths[-1].write_text(text)
    return paths


def start(folder: Path, paths: list[Path]) -> int:
    """Begin a load in a process of its own and return its number."""
    child = os.fork()
    if child:
        return child
    code = 1
    try:
        load.run(folder, paths, TODAY, loaded_at=LOADED_AT)
        code = 0
    except BaseException as error:
        sys.stderr.write(f"{type(error).__name__}: {error}\n")
    finally:
        os._exit(code)


def content(folder: Path) -> dict[str, list[tuple[object, ...]]]:
    """Return what the store holds, without the numbers that depend on the order of loads."""
    with Store(folder).reader() as con:
        return {name: con.execute(f"{query} order by all").fetchall() for name, query in SHOWN.items()}


def peaceful(folder: Path, paths: list[Path]) -> float:
    """Load the files in peace and return how long it took."""
    began = time.monotonic()
    assert os.waitpid(start(folder, paths), 0)[1] == 0
    return time.monotonic() - began


def run(folder: Path, *, kills: int, seed: int = 1, n_files: int = 1, rows: int = 20) -> dict[str, object]:
    """Kill loads so many times, over as many stores as that needs, and return the figures."""
    rng = random.Random(seed)
    paths = write_files(folder / "files", n_files=n_files, rows=rows)
    seconds = peaceful(folder / "peace", paths)
    expected = content(folder / "peace")
    killed = stores = wrong = failed = untimely = 0
    while killed < kills:
        stores += 1
        store = folder / f"store{stores}"
        for _ in range(5):
            resumed = rng.random() < 0.3 and (store / "inbox").is_dir() and len(Inbox(store).names()) == len(paths)
            child = start(store, [] if resumed else paths)
            time.sleep(rng.uniform(0.0, 1.1 * seconds))
            os.kill(child, signal.SIGKILL)
            status = os.waitpid(child, 0)[1]
            if os.WIFSIGNALED(status):
                killed += 1
            else:
                untimely += 1
                failed += status != 0
        failed += os.waitpid(start(store, paths), 0)[1] != 0
        wrong += content(store) != expected
        sys.stderr.write(f"{killed} kills, {stores} stores, {wrong} differ\n")
    return {
        "kills": killed,
        "ended before the kill": untimely,
        "stores": stores,
        "stores that differ": wrong,
        "loads that failed": failed,
        "rows a store": {name: len(rows_) for name, rows_ in expected.items()},
        "seconds of a load in peace": round(seconds, 2),
    }


if __name__ == "__main__":
    figures = run(Path(sys.argv[1]), kills=int(sys.argv[2]), seed=int(sys.argv[3]) if len(sys.argv) > 3 else 1)
    print(json.dumps(figures))
    sys.exit(bool(figures["stores that differ"] or figures["loads that failed"]))
