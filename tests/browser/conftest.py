"""The real dashboard of the demo fleet, and a Chromium that looks at it."""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

if TYPE_CHECKING:
    from collections.abc import Iterator


def _load(name: str, *, room: str = "browser") -> Any:
    """Return a module that stands beside this file, or in another room of the tests."""
    if name not in sys.modules:
        spec = importlib.util.spec_from_file_location(name, Path(__file__).parents[1] / room / f"{name}.py")
        assert spec is not None
        assert spec.loader is not None
        module = importlib.util.module_from_spec(spec)
        sys.modules[name] = module
        spec.loader.exec_module(module)
    return sys.modules[name]


serving = _load("serving")
_load("sessions")
_load("many_sessions")
hostile_fleet = _load("hostile_fleet", room="hostile")
_load("bay_store")


@pytest.fixture(scope="session")
def chromium() -> Iterator[Any]:
    sync_api = pytest.importorskip("playwright.sync_api")
    if serving.CHROMIUM is None:
        pytest.skip("no chromium is installed on this machine")
    with sync_api.sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=serving.CHROMIUM, args=serving.CHROMIUM_ARGS)
        yield browser
        browser.close()


@pytest.fixture(scope="session")
def address(demo_store: Any, tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    log = tmp_path_factory.mktemp("served") / "log.txt"
    with serving.served(demo_store.folder, log=log) as where:
        yield where


@pytest.fixture
def open_page(chromium: Any, address: str) -> Iterator[Any]:
    """Return a function that opens a path at a width and waits until the page has settled."""
    contexts = []

    def go(path: str = "/", *, width: int = 1440, height: int = 900) -> Any:
        context = chromium.new_context(viewport={"width": width, "height": height}, accept_downloads=True)
        contexts.append(context)
        page = context.new_page()
        page.goto(address + path)
        serving.settle(page)
        return page

    yield go
    for context in contexts:
        context.close()
