"""A big fleet's first night and its second, with one vehicle in a hundred read anew: time and memory, step by step.

Run by path: ``python tests/benchmarks/nights.py FOLDER VEHICLES``. Files and the store of an earlier run in the folder
are used again. Every step is a process of its own, so that its peak memory is its own; what is being done goes to
standard error, the figures to standard output as JSON lines. Passes or fails nothing.
"""

from __future__ import annotations

import json
import multiprocessing
import os
import resource
import sys
import time
from datetime import date, datetime, timedelta
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import demo_fleet
from fleetwear.store import Store
from pipelines import fit, forecast, load, publish

AS_OF = demo_fleet.AS_OF
TODAY, MADE_AT = AS_OF + timedelta(days=19), datetime(2026, 11, 20, 6)
EVERY = 100
NEWS = """
with latest as (
    select v.unit, v.vehicle_id, d.odometer_km, p.joint, r.direction, r.play_mm
    from readings as r
    join visit_details as d on d.visit_id = r.visit_id
    join vehicles as v on v.vehicle_id = d.vehicle_id
    join positions as p on p.position_id = r.position_id
    where r.result = 'measured' and d.odometer_km is not null and v.vehicle_id % ? = 1
    qualify row_number() over (partition by v.vehicle_id order by d.visit_date desc, r.reading_id) = 1
),

furthest as (select vehicle_id, max(odometer_km) as odometer_km from odometer group by vehicle_id)

select
    l.unit, ?::date as "visit date", greatest(l.odometer_km, coalesce(f.odometer_km, 0)) + 9000 as "odometer (km)",
    l.joint, l.direction, 'lever under tyre' as method, 'measured' as result, round(l.play_mm + 0.03, 2) as "play (mm)"
from latest as l
left join furthest as f on f.vehicle_id = l.vehicle_id
order by l.unit
"""


def main(folder: Path, vehicles: int) -> None:
    """Run the steps and print what each took."""
    store, files = folder / "store", folder / "files"
    if not files.exists():
        step("generate", write, files, vehicles)
    if not store.exists():
        for block in sorted(files.glob("block_*")):
            step(f"load {block.name}", load_block, store, block)
    say_counts(store)
    step("first night: fit", fit_once, store, AS_OF, 0)
    step("first night: forecast", forecast_once, store, AS_OF)
    step("first night: publish", publish_once, store)
    step("load the day's readings", load_news, store, folder / "news.parquet")
    night = AS_OF + timedelta(days=1)
    step("second night: fit", fit_once, store, night, 7)
    step("second night: forecast", forecast_once, store, night)
    step("second night: publish", publish_once, store)
    say_made_anew(store)


def step(name: str, work, *given) -> None:
    """Do the work in a process of its own and print its time, processor time and peak memory."""
    print(name, file=sys.stderr, flush=True)
    one = multiprocessing.get_context("spawn").Process(target=measured, args=(name, work, given))
    one.start()
    one.join()
    if one.exitcode:
        raise SystemExit(f"{name} ended with {one.exitcode}")


def measured(name: str, work, given) -> None:
    """Do the work and print what it took; runs in the process of a step."""
    started = time.perf_counter()
    said = work(*given)
    used = resource.getrusage(resource.RUSAGE_SELF)
    figures = {
        "step": name,
        "seconds": round(time.perf_counter() - started, 1),
        "cpu_seconds": round(used.ru_utime + used.ru_stime, 1),
        "peak_gib": round(used.ru_maxrss / 2**20, 2),
        "load_average": round(os.getloadavg()[0], 1),
        **(said or {}),
    }
    print(json.dumps(figures), flush=True)


def progress(words: str, done: int, whole: int) -> None:
    """Say now and then how far a step is."""
    if time.monotonic() - progress.last > 30 or done == whole:
        progress.last = time.monotonic()
        print(f"  {words} {done:,} of {whole:,}", file=sys.stderr, flush=True)


progress.last = 0.0


def write(files: Path, vehicles: int):
    """Write the fleet's files."""
    written = sum(1 for _ in demo_fleet.write_blocks(files, vehicles=vehicles))
    return {"files": written, "megabytes": round(sum(f.stat().st_size for f in files.rglob("*.parquet")) / 1e6, 1)}


def load_block(store: Path, block: Path):
    """Load one block's files."""
    summaries = load.run(store, sorted(block.glob("*.parquet")), TODAY, loaded_at=MADE_AT)
    return {"rows": sum(one.rows_read for one in summaries)}


def load_news(store: Path, file: Path):
    """Load a reading of one vehicle in a hundred."""
    with Store(store).reader() as con:
        con.execute(NEWS, [EVERY, AS_OF]).df().to_parquet(file, index=False)
    (summary,) = load.run(store, [file], TODAY, loaded_at=MADE_AT)
    return {"rows": summary.rows_read, "rows_in": summary.rows_in}


def fit_once(store: Path, as_of: date, refit_days: int) -> None:
    """Fit."""
    fit.run(store, as_of=as_of, made_at=MADE_AT, refit_days=refit_days, on_progress=progress)


def forecast_once(store: Path, as_of: date) -> None:
    """Forecast."""
    forecast.run(store, as_of=as_of, made_at=MADE_AT, on_progress=progress)


def publish_once(store: Path):
    """Publish."""
    snapshot = publish.run(store)
    return {
        "store_megabytes": round((store / "store.duckdb").stat().st_size / 1e6, 1),
        "snapshot_megabytes": round(snapshot.stat().st_size / 1e6, 1),
    }


def say_counts(store: Path) -> None:
    """Print how large the fleet is."""
    with Store(store).reader() as con:
        vehicles, readings = (
            con.execute(f"select count({what}) from {table}").fetchall()[0][0]
            for what, table in (("distinct vehicle_id", "vehicles"), ("*", "readings"))
        )
        joints = con.execute(
            "select count(*) from (select distinct vehicle_id, model from vehicles) join positions using (model)"
        ).fetchall()[0][0]
    print(
        json.dumps({"vehicles": vehicles, "joints": joints, "readings": readings, "cores": os.cpu_count()}), flush=True
    )


def say_made_anew(store: Path) -> None:
    """Print of how many vehicles the second night knew the series anew, and how many it forecast anew."""
    with Store(store).reader() as con:
        fitted, drawn = (
            con.execute(
                f"select count(*) from {table} where {key} = {own} and {key} = (select max({key}) from {table})"
            ).fetchall()[0][0]
            for table, key, own in (
                ("fit_vehicles", "fit_id", "found_in"),
                ("forecast_sources", "forecast_id", "made_in"),
            )
        )
    print(json.dumps({"vehicles_known_anew": fitted, "vehicles_forecast_anew": drawn}), flush=True)


if __name__ == "__main__":
    if len(sys.argv) != 3:
        raise SystemExit(__doc__)
    main(Path(sys.argv[1]), int(sys.argv[2]))
