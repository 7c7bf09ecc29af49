"""Pictures of every page, narrow and wide, light and dark, for people to look at: tests/screens/*.png.

Run it with the folder of a store that has a published forecast::

    python tests/browser/screens.py STORE_FOLDER [UNIT ...]
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

from playwright.sync_api import Browser, sync_playwright
from serving import CHROMIUM, CHROMIUM_ARGS, served, settle

FOLDER = Path(__file__).parents[1] / "screens"
WIDTHS = (390, 1440)
_HEIGHT = 900
_MAIN_HEIGHT = "() => document.querySelector('[data-testid=\"stMain\"]').scrollHeight"


def take(browser: Browser, address: str, pages: dict[str, str], folder: Path) -> None:
    """Take a picture of every page at every width in both themes."""
    for theme in ("light", "dark"):
        for width in WIDTHS:  # one context each, so that nothing is remembered
            context = browser.new_context(
                viewport={"width": width, "height": _HEIGHT}, color_scheme=theme, device_scale_factor=1
            )
            page = context.new_page()
            for name, path in pages.items():
                page.set_viewport_size({"width": width, "height": _HEIGHT})
                began = time.perf_counter()
                page.goto(address + path)
                settle(page)
                taken = time.perf_counter() - began
                page.set_viewport_size({"width": width, "height": page.evaluate(_MAIN_HEIGHT)})
                page.wait_for_timeout(700)
                file = folder / f"{name}_{width}_{theme}.png"
                page.screenshot(path=str(file))
                print(f"{file.name}: {taken:.1f} s")
            context.close()


def main(store: Path, units: list[str]) -> None:
    """Serve the store and take the pictures."""
    FOLDER.mkdir(exist_ok=True)
    pages = {"next_service": "/", "vehicle_none": "/vehicle", "vehicle_unknown": "/vehicle?unit=ZZZ9"}
    pages["model_check"] = "/model-check"
    pages["readings_agree"] = "/readings-agree"
    pages["data"] = "/data"
    pages |= {"trends": "/trends", "trends_depot": "/trends?by=Depot&kind=ball+joint"}
    pages["weeks_ahead"] = "/weeks-ahead"
    pages["record"] = "/record"
    pages |= {f"vehicle_{unit}": f"/vehicle?unit={unit}" for unit in units}
    with served(store, log=FOLDER / "server.log") as address, sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=CHROMIUM_ARGS)
        take(browser, address, pages, FOLDER)
        browser.close()
    empty = FOLDER / "no_store"
    with served(empty, log=FOLDER / "server_empty.log") as address, sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=CHROMIUM_ARGS)
        take(browser, address, {"no_store": "/"}, FOLDER)
        browser.close()


if __name__ == "__main__":
    main(Path(sys.argv[1]), sys.argv[2:] or ["B103"])
