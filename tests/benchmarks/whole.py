"""Load, fit, forecast, publish and backtest of a demo fleet, each in a process of its own."""

from __future__ import annotations

import tempfile
from functools import cache
from pathlib import Path

from timing import as_table, child, said, show, times

BEGIN = """
import sys, time
from datetime import date, datetime
from pathlib import Path
import demo_fleet, duckdb
from pipelines import backtest, fit, forecast, load, publish
folder, vehicles = Path(sys.argv[1]), int(sys.argv[2])
made_at = datetime(2026, 11, 20, 6, 0)
began = time.perf_counter()
def end(*more):
    seconds = time.perf_counter() - began
    print(seconds, peak() / 1024**3, *more)
"""
WRITE = """
written = demo_fleet.write(folder / "files", vehicles=vehicles)
(folder / "as_of").write_text(written.as_of.isoformat())
(folder / "names").write_text("\\n".join(str(path) for path in written.files))
end()
"""
LATER = """
as_of = date.fromisoformat((folder / "as_of").read_text())
store = folder / "store"
"""
COUNT = """
def counted(sql):
    with duckdb.connect(str(store / "store.duckdb"), read_only=True) as con:
        return con.execute(sql).fetchone()
"""
STEPS = {
    "load": """
names = [Path(name) for name in (folder / "names").read_text().splitlines()]
loaded = load.run(store, names, date(2026, 11, 20), loaded_at=made_at)
end(sum(summary.rows_in for summary in loaded))
""",
    "fit": """
fit.run(store, as_of=as_of, made_at=made_at)
end(*counted("select count(*) from posteriors"))
""",
    "forecast": """
forecast.run(store, as_of=as_of, made_at=made_at)
end(*counted("select count(*) from (select distinct vehicle_id, position_id from forecast_joints)"))
""",
    "publish": """
publish.run(store)
end(0)
""",
    "backtest": """
backtest.run(store, made_at=made_at, dates=[date(2025, 4, 30), date(2025, 10, 31)])
end(0)
""",
}


def step(name: str, folder: Path, vehicles: int) -> list[float]:
    return child(BEGIN + LATER + COUNT + STEPS[name], folder, vehicles)


@cache
def _kept() -> tempfile.TemporaryDirectory[str]:
    """The folder that both sections share, gone when the run ends."""
    return tempfile.TemporaryDirectory()


@cache
def forecast_store(vehicles: int) -> tuple[Path, dict[str, list[float]]]:
    """Make the store of a demo fleet, up to its forecast and snapshot, and return what each step took."""
    folder = Path(_kept().name)
    child(BEGIN + WRITE, folder, vehicles)
    taken = {}
    for name in ("load", "fit", "forecast", "publish"):
        taken[name] = step(name, folder, vehicles)
        show([name, said(taken[name][0]), f"{taken[name][1]:.2f} GiB"])
    return folder, taken


def forecast_section(*, vehicles: int) -> str:
    _, taken = forecast_store(vehicles)
    joints = taken["forecast"][2]
    rows = []
    for name, (seconds, memory, _) in taken.items():
        hours = seconds * 1e6 / joints / 3600.0
        rows.append([name, said(seconds), f"{1000.0 * seconds / joints:.2f} ms", f"{hours:.2f} h", f"{memory:.2f} GiB"])
    header = ["step", "seconds", "a joint", "a million joints", "most memory"]
    said_of_fleet = f"{taken['load'][2]:,.0f} rows of files, {joints:,.0f} joints, {taken['fit'][2]:,.0f} posteriors"
    return f"""The demo fleet with {vehicles:,} powered vehicles: {said_of_fleet}. One run, each step a
process of its own, its imports left out. *A million joints* is extrapolated in proportion, which overstates steps with
costs that do not grow with the fleet.

{as_table(header, rows)}"""


def backtest_section(*, vehicles: int) -> str:
    folder, taken = forecast_store(vehicles)
    seconds, memory, _ = step("backtest", folder, vehicles)
    once = sum(taken[name][0] for name in ("fit", "forecast"))
    row = [
        f"{vehicles:,}",
        said(seconds),
        said(seconds / 2.0),
        said(once),
        times(seconds / 2.0 / once),
        f"{memory:.2f} GiB",
    ]
    show(row)
    header = ["vehicles", "two dates", "a date", "fit and forecast", "a date / fit and forecast", "most memory"]
    return f"""A backtest of two past dates on the same store: each fits and forecasts with what was known then.

{as_table(header, [row])}"""
