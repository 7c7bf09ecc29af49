"""Loading a clean readings file of a million rows, beside DuckDB's own reading of the same file into text columns."""

from __future__ import annotations

import sys
import tempfile
from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd
from timing import as_table, child, show

VEHICLES, VISITS = 2_500, 20
MODEL = "unit,model\n"
POSITIONS = "model,axle,side,place,kind\n" + "".join(
    f"Bench,{axle},{side},lower,{kind}\n"
    for axle in ("front", "rear")
    for side in ("left", "right")
    for kind in ("ball joint", "tie rod end", "kingpin", "wheel bearing", "idler arm")
)
TODAY = date(2026, 1, 1)


def write_files(folder: Path, rows: int) -> list[Path]:
    """Write vehicles, positions and so many readings: 20 joints a visit, one stroke each."""
    joints = [
        f"{side} {axle} lower {kind}"
        for axle in ("front", "rear")
        for side in ("left", "right")
        for kind in ("ball joint", "tie rod end", "kingpin", "wheel bearing", "idler arm")
    ]
    n = np.arange(rows)
    joint, visit = n % len(joints), n // len(joints)
    vehicle, turn = visit % VEHICLES, visit // VEHICLES
    rng = np.random.default_rng(3)
    day = np.datetime64("2020-01-01") + (turn * 90 + vehicle % 80).astype("timedelta64[D]")
    frame = pd.DataFrame(
        {
            "unit": np.char.add("V", vehicle.astype(str)),
            "visit date": day.astype(str),
            "odometer (km)": 5_000 + turn * 9_000 + vehicle,
            "joint": np.array(joints)[joint],
            "direction": "in-out",
            "method": "lever under tyre",
            "technician": np.char.add("T", (visit % 7).astype(str)),
            "play (mm)": np.round(rng.gamma(4.0, 0.1, rows), 2),
        }
    )
    (folder / "vehicles.csv").write_text(MODEL + "".join(f"V{i},Bench\n" for i in range(VEHICLES)))
    (folder / "positions.csv").write_text(POSITIONS)
    frame.to_csv(folder / "readings.csv", index=False, lineterminator="\n")
    return [folder / "vehicles.csv", folder / "positions.csv", folder / "readings.csv"]


OURS = """
import sys, time
from datetime import date
from pathlib import Path
from fleetwear.intake import load_files
from fleetwear.store import Store
folder = Path(sys.argv[1])
store = Store.create_or_open(folder / "store")
today = date(2026, 1, 1)
load_files(store, [folder / "vehicles.csv", folder / "positions.csv"], today=today)
began, worked = time.perf_counter(), time.process_time()
(summary,) = load_files(store, [folder / "readings.csv"], today=today)
seconds, worked = time.perf_counter() - began, time.process_time() - worked
assert summary.rows_quarantined == 0, summary.reasons
print(seconds, worked, summary.rows_in, peak() / 1024**3)
"""
THEIRS = """
import sys, time
from pathlib import Path
import duckdb
folder = Path(sys.argv[1])
con = duckdb.connect(str(folder / "peer.duckdb"))
con.execute("set enable_progress_bar = false")
began, worked = time.perf_counter(), time.process_time()
con.execute("create table readings as select * from read_csv(?)", [str(folder / "readings.csv")])
con.execute("checkpoint")
seconds, worked = time.perf_counter() - began, time.process_time() - worked
print(seconds, worked, con.execute("select count(*) from readings").fetchone()[0], 0)
"""


def compare(rows: int) -> list[str]:
    """Return a row of the table: rows, both times, their ratio, that of processor seconds, and the largest memory."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        write_files(folder, rows)
        size = (folder / "readings.csv").stat().st_size
        theirs = child(THEIRS, folder)
        mine = child(OURS, folder)
        assert theirs[2] == mine[2] == rows
    row = [f"{rows:,}", f"{size / 1e6:.0f} MB", f"{mine[0]:.1f} s", f"{theirs[0]:.2f} s", f"{mine[0] / theirs[0]:.1f}"]
    row += [f"{mine[1] / theirs[1]:.1f}", f"{mine[3]:.2f} GiB"]
    show(row)
    return row


def load_section(*, quick: bool) -> str:
    rows = [compare(rows) for rows in ((100_000,) if quick else (100_000, 1_000_000))]
    header = ["rows", "file", "fleetwear", "DuckDB", "ratio", "of processor seconds", "most memory"]
    return f"""Loading a clean readings CSV, checked against the contract and the store, beside DuckDB's `create table
as select` from the same file, which checks nothing:

{as_table(header, rows)}"""


if __name__ == "__main__":
    compare(int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000)
