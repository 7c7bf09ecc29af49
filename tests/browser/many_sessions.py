"""Many sessions on the pages while a load and a forecast are under way: by hand, on a store that may be written to.

Run it with a copy of a store that has a published forecast, and a number of sessions::

    python tests/browser/many_sessions.py STORE_FOLDER 50 [--seconds 120] [--wait 60] [--think 1 3]

Sessions speak the pages' protocol (`sessions.py`); one real Chromium reads pages beside them. Meanwhile a file with new
visits is loaded, and then everything is forecast and published anew. Prints a JSON object: runs, p50 and p95 in seconds
by page, every error, and what ran beside.
"""

from __future__ import annotations

import argparse
import asyncio
import csv
import json
import os
import subprocess
import sys
import tempfile
import threading
import time
from contextlib import contextmanager
from datetime import date, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

sys.path.insert(0, str(Path(__file__).parent))

from serving import CHROMIUM, CHROMIUM_ARGS, served, until_settled
from sessions import Seen, read_pages

from fleetwear.store import open_snapshot

if TYPE_CHECKING:
    from collections.abc import Iterator

PROGRAM = [sys.executable, "-c", "from fleetwear.cli import main; main()"]
_VISITED = 200
_NEW_VISITS = """
select d.unit, f.as_of, v.odometer_now, p.joint, j.direction
from forecast_joints as j
join forecasts as f on f.forecast_id = j.forecast_id
join forecast_vehicles as v on v.forecast_id = j.forecast_id and v.vehicle_id = j.vehicle_id
join positions as p on p.position_id = j.position_id
join (select vehicle_id, any_value(unit) as unit from vehicles group by vehicle_id having count(*) = 1) as d
    on d.vehicle_id = j.vehicle_id
where j.forecast_id = (select max(forecast_id) from forecasts) and v.odometer_now is not null
qualify dense_rank() over (order by d.unit) <= $vehicles
order by d.unit, p.joint, j.direction
"""


def write_new_visits(store: Path, file: Path) -> tuple[list[str], date]:
    """Write a file of new visits of some vehicles; return their unit numbers and the day of the visits."""
    con = open_snapshot(store)
    rows = con.execute(_NEW_VISITS, {"vehicles": _VISITED}).fetchall()
    con.close()
    day = rows[0][1] + timedelta(days=1)
    rng = np.random.default_rng(1)
    with file.open("w", newline="", encoding="utf-8") as out:
        sheet = csv.writer(out)
        sheet.writerow(["unit", "visit date", "odometer (km)", "joint", "direction", "play (mm)"])
        for unit, _, odometer_km, joint, direction in rows:
            play_mm = f"{rng.gamma(4.0, 0.05):.2f}"
            sheet.writerow([unit, day, round(odometer_km) + 200, joint, direction, play_mm])
    return sorted({row[0] for row in rows}), day


def run_beside(store: Path, file: Path, day: date, beside: list[dict[str, Any]], until: float) -> None:
    """Load the file, then forecast and publish, as a night does; note what each took and how it ended.

    What still runs at a moment of `time.monotonic` is ended and has no code.
    """
    jobs = {
        "load": ["load", str(file), "--store", str(store)],
        "forecast": ["forecast", "--store", str(store), "--as-of", str(day)],
    }
    for name, words in jobs.items():
        began = time.perf_counter()
        code, said = None, "ended, because the sessions were done"
        with subprocess.Popen([*PROGRAM, *words], stderr=subprocess.PIPE, stdout=subprocess.DEVNULL, text=True) as job:
            try:
                said = job.communicate(timeout=max(until - time.monotonic(), 0.1))[1][-300:]
                code = job.returncode
            except subprocess.TimeoutExpired:
                job.terminate()
        beside.append({"what": name, "seconds": round(time.perf_counter() - began, 1), "code": code, "said": said})


def read_in_chromium(address: str, seconds: float, views: list[float], errors: list[str]) -> None:
    """Have one real browser look at pages for a while, and see that they show."""
    from playwright.sync_api import sync_playwright

    until = time.monotonic() + seconds
    try:
        with sync_playwright() as playwright:
            browser = playwright.chromium.launch(executable_path=CHROMIUM, args=CHROMIUM_ARGS)
            page = browser.new_page()
            while time.monotonic() < until:
                for path in ("/", "/vehicle?unit=V101", "/trends", "/model-check"):
                    began = time.perf_counter()
                    page.goto(address + path, wait_until="commit")
                    until_settled(page)
                    views.append(time.perf_counter() - began)
                    wrong = page.locator('[data-testid="stException"], .fw-said[role="status"]').all_inner_texts()
                    errors += [f"in the browser, {path}: {text}" for text in wrong]
            browser.close()
    except Exception as error:  # whatever it is, it is told
        errors.append(f"the browser ended: {type(error).__name__}: {error}")


@contextmanager
def beside_of(targets: list[threading.Thread]) -> Iterator[None]:
    """Run threads beside a block, and wait for them at its end."""
    for thread in targets:
        thread.start()
    yield
    for thread in targets:
        thread.join()


def figures(seconds: list[float]) -> dict[str, float]:
    """Return how many runs, their median and the value below which 95 % lie."""
    p50, p95 = np.quantile(seconds, [0.5, 0.95])
    return {"runs": len(seconds), "p50_s": round(float(p50), 2), "p95_s": round(float(p95), 2)}


def told(seen: Seen, views: list[float], beside: list[dict[str, Any]], sessions: int) -> dict[str, Any]:
    """Return what is printed."""
    pages = {name: figures(seconds) for name, seconds in sorted(seen.seconds.items())}
    busy = round(os.getloadavg()[0] / (os.cpu_count() or 1), 1)
    return {
        "sessions": sessions,
        "pages": pages,
        "all": figures([one for seconds in seen.seconds.values() for one in seconds]),
        "browser": figures(views) if views else None,
        "errors": seen.errors,
        "beside": beside,
        "load a processor": busy,
    }


def main() -> int:
    """Serve the store, have the sessions read it while others write, and print what was found."""
    parser = argparse.ArgumentParser(description="Have many sessions read a store's pages while others write to it.")
    parser.add_argument("store", type=Path, help="a copy that may be written to")
    parser.add_argument("sessions", type=int)
    parser.add_argument("--seconds", type=float, default=120.0)
    parser.add_argument("--wait", type=float, default=0.0, help="seconds after the start of the server")
    parser.add_argument("--patience", type=float, default=900.0, help="seconds that what runs beside may go on after")
    parser.add_argument(
        "--think", type=float, nargs=2, default=(1.0, 3.0), metavar=("LEAST", "MOST"),
        help="seconds for which a page is read before the next is asked for",
    )  # fmt: skip
    parser.add_argument("--alone", action="store_true", help="nothing is loaded or forecast meanwhile")
    asked = parser.parse_args()
    beside: list[dict[str, Any]] = []
    views: list[float] = []
    errors: list[str] = []
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        units, day = write_new_visits(asked.store, folder / "new_visits.csv")
        with served(asked.store, log=folder / "log.txt") as address:
            time.sleep(asked.wait)
            patience = time.monotonic() + asked.seconds + asked.patience
            threads = [
                threading.Thread(
                    target=run_beside, args=(asked.store, folder / "new_visits.csv", day, beside, patience)
                ),
                threading.Thread(target=read_in_chromium, args=(address, asked.seconds, views, errors)),
            ]
            with beside_of(threads[1:] if asked.alone else threads):
                seen = asyncio.run(
                    read_pages(
                        address,
                        sessions=asked.sessions,
                        seconds=asked.seconds,
                        units=units[:50],
                        think_s=(asked.think[0], asked.think[1]),
                    )
                )
    seen.errors += errors
    said = told(seen, views, beside, asked.sessions) | {"seconds a page is read": list(asked.think)}
    print(json.dumps(said, indent=1, ensure_ascii=False))
    return 1 if seen.errors or any(one["code"] for one in beside) else 0


if __name__ == "__main__":
    sys.exit(main())
