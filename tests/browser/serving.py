"""Starts the real dashboard on a free port of this machine, and a Chromium that looks at it."""

from __future__ import annotations

import shutil
import socket
import subprocess
import time
import urllib.error
import urllib.request
from contextlib import contextmanager
from typing import TYPE_CHECKING

from dashboard import serve

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from dashboard.sign_in import SignIn

CHROMIUM = shutil.which("chromium")
CHROMIUM_ARGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
OVERFLOW = """() => {
  const main = document.querySelector('[data-testid="stMain"]');
  const edge = main.getBoundingClientRect().right + 0.5;
  const out = [...main.querySelectorAll('p, td, dd, h1, h3, button, input, svg, label')]
    .filter(e => e.getClientRects().length && getComputedStyle(e).clipPath === 'none')
    .filter(e => !e.closest('thead') && e.getBoundingClientRect().right > edge)
    .map(e => e.tagName + ' ' + e.textContent.slice(0, 40));
  return {wide: main.scrollWidth - main.clientWidth, out};
}"""
"""What reaches beyond the page's right edge, to be evaluated in the page."""
_PATIENCE_S = 60.0


def free_port() -> int:
    """Return a port of this machine that nobody listens on."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
        return port


@contextmanager
def served(
    store_folder: Path,
    *,
    log: Path,
    port: int | None = None,
    sign_in: SignIn | None = None,
    roles: Path | None = None,
    more_environment: dict[str, str] | None = None,
) -> Iterator[str]:
    """Serve the dashboard of a store and give its address; it is ended afterwards."""
    port = free_port() if port is None else port
    environment = serve.environment(store_folder, sign_in=sign_in, roles=roles) | {"OPENBLAS_NUM_THREADS": "1"}
    with log.open("wb") as out:
        process = subprocess.Popen(
            serve.command(store_folder, port=port, sign_in=sign_in),
            env=environment | (more_environment or {}),
            stdout=out,
            stderr=subprocess.STDOUT,
            stdin=subprocess.DEVNULL,
        )
        try:
            address = f"http://127.0.0.1:{port}"
            _wait(address, process, log)
            yield address
        finally:
            process.terminate()
            try:
                process.wait(timeout=10)
            except subprocess.TimeoutExpired:
                process.kill()
                process.wait()


def _wait(address: str, process: subprocess.Popen[bytes], log: Path) -> None:
    deadline = time.monotonic() + _PATIENCE_S
    while time.monotonic() < deadline:
        if process.poll() is not None:
            break
        try:
            with urllib.request.urlopen(address + serve.HEALTH_PATH, timeout=2) as answer:
                if answer.status == 200:
                    return
        except (urllib.error.URLError, OSError):
            time.sleep(0.1)
    raise RuntimeError(f"the dashboard did not start:\n{log.read_text(errors='replace')}")


def settle(page: object) -> None:
    """Wait until the page has run to its end, its charts are drawn, and nothing moves any more."""
    from playwright.sync_api import Page

    assert isinstance(page, Page)
    until_settled(page)
    page.wait_for_timeout(350)


def until_settled(page: object) -> None:
    """Wait until the page has run to its end and its charts are drawn."""
    from playwright.sync_api import Page

    assert isinstance(page, Page)
    page.wait_for_selector(".fw-caution", timeout=45_000)
    page.wait_for_function(
        '() => !document.querySelector(\'[data-testid="stApp"][data-test-script-state="running"]\')'
        " && !document.querySelector('[data-testid=\"stSpinner\"]')"
        " && [...document.querySelectorAll('[data-testid=\"stVegaLiteChart\"]')]"
        ".every(c => c.querySelector('canvas, svg'))",
        timeout=60_000,
    )


def choose(page: object, label: str, option: str) -> None:
    """Choose an option of a list, and wait until the page has run."""
    from playwright.sync_api import Page

    assert isinstance(page, Page)
    page.get_by_label(label, exact=True).click()
    page.get_by_role("option", name=option, exact=True).click()
    settle(page)
