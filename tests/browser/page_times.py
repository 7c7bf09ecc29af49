"""How long pages take in a real browser, from the navigation until they have settled: by hand, on any store.

Run it with the folder of a store that has a published forecast::

    python tests/browser/page_times.py STORE_FOLDER [--unit UNIT] [--times 3] [--wait SECONDS] [--page NAME]

Every view is a session of its own in a browser that keeps nothing. The first views begin as many seconds after the
start of the server as are said, in which it makes the pages ready. Prints a JSON object: seconds by page, "first" and
"again" (the median of the others), and what else kept the machine busy (the load average over its processors).
"""

from __future__ import annotations

import argparse
import json
import os
import statistics
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

from playwright.sync_api import Browser, sync_playwright
from serving import CHROMIUM, CHROMIUM_ARGS, served, until_settled

PAGES = {
    "Next service": "/",
    "Vehicle": "/vehicle?unit={unit}",
    "Vehicle, none chosen": "/vehicle",
    "Weeks ahead": "/weeks-ahead",
    "Record a visit": "/record",
    "Trends": "/trends",
    "Model check": "/model-check",
    "How well a reading is known": "/reading",
    "Do readings agree": "/readings-agree",
    "Take the data away": "/data",
}


def time_pages(browser: Browser, address: str, pages: dict[str, str], *, times: int) -> dict[str, list[float]]:
    """Return the seconds of every view of every page, each in a session of its own."""
    seconds: dict[str, list[float]] = {name: [] for name in pages}
    for _ in range(times):
        for name, path in pages.items():
            context = browser.new_context(viewport={"width": 1440, "height": 900})
            page = context.new_page()
            began = time.perf_counter()
            page.goto(address + path, wait_until="commit")
            until_settled(page)
            seconds[name].append(round(time.perf_counter() - began, 2))
            wrong = page.locator('[data-testid="stException"], .fw-said[role="status"]').all_inner_texts()
            assert not wrong, f"{name}: {wrong}"
            context.close()
    return seconds


def main() -> int:
    """Serve the store, time the pages and print what was found."""
    parser = argparse.ArgumentParser(description="Time the pages of a store in a real browser.")
    parser.add_argument("store", type=Path)
    parser.add_argument("--unit", default="V101", help="the vehicle whose page is shown")
    parser.add_argument("--times", type=int, default=3)
    parser.add_argument("--wait", type=float, default=0.0)
    parser.add_argument("--page", action="append", choices=list(PAGES), help="repeatable; all pages if not given")
    asked = parser.parse_args()
    pages = {name: PAGES[name].format(unit=asked.unit) for name in asked.page or PAGES}
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=CHROMIUM_ARGS)
        warm = browser.new_page()
        warm.goto("about:blank")
        with served(asked.store, log=Path(folder) / "log.txt") as address:
            time.sleep(asked.wait)
            seconds = time_pages(browser, address, pages, times=asked.times)
        browser.close()
    found = {
        name: {"first": each[0], "again": round(statistics.median(each[1:]), 2) if each[1:] else None}
        for name, each in seconds.items()
    }
    busy = round(os.getloadavg()[0] / (os.cpu_count() or 1), 1)
    print(json.dumps({"load a processor": busy, "seconds": found}, indent=1))
    return 0


if __name__ == "__main__":
    sys.exit(main())
