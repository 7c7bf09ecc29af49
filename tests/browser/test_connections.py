"""No process of this project asks another machine: every address that one connects to, sends to or looks up is told.

An audit hook (PEP 578) that Python runs at its start writes the addresses down; DuckDB, which is not written in Python,
is told never to fetch an extension (tests/store).
"""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest
from serving import served, settle

from fleetwear.reports.blank_files import write_blank_files

HOOK = """
import os, sys
_WATCHED = ("socket.connect", "socket.sendto", "socket.sendmsg", "socket.getaddrinfo", "socket.gethostbyname")
def _tell(event, arguments):
    if event in _WATCHED:
        asked = arguments[0] if event.startswith("socket.geth") or event == "socket.getaddrinfo" else arguments[1]
        line = f"{event} {asked!r}\\n".encode()
        os.write(_OUT, line)
_OUT = os.open(os.environ["FLEETWEAR_TOLD"], os.O_WRONLY | os.O_CREAT | os.O_APPEND)
os.write(_OUT, b"hook at work\\n")
sys.addaudithook(_tell)
"""
_HERE = ("127.0.0.1", "localhost", "::1", "b'localhost'", "b'127.0.0.1'")


@pytest.fixture
def told(tmp_path):
    """Return the environment that has the hook, and a function that returns what it told."""
    (tmp_path / "hook").mkdir()
    (tmp_path / "hook" / "sitecustomize.py").write_text(HOOK)
    file = tmp_path / "told.txt"
    path = os.pathsep.join([str(tmp_path / "hook"), *(part for part in [os.environ.get("PYTHONPATH")] if part)])

    def lines():
        return file.read_text().splitlines()

    return {"PYTHONPATH": path, "FLEETWEAR_TOLD": str(file), "OPENBLAS_NUM_THREADS": "1"}, lines


def elsewhere(lines):
    assert "hook at work" in lines
    return [line for line in lines if line != "hook at work" and not any(here in line for here in _HERE)]


def run(environment, *arguments):
    code = "from fleetwear.cli import main; main()"
    done = subprocess.run(
        [sys.executable, "-c", code, *map(str, arguments)], env=os.environ | environment, capture_output=True, text=True
    )
    assert done.returncode == 0, done.stderr


def test_the_hook_would_tell(told):
    environment, lines = told
    code = "import socket; socket.socket(socket.AF_INET, socket.SOCK_DGRAM).connect(('192.0.2.1', 9))"
    subprocess.run([sys.executable, "-c", code], env=os.environ | environment, check=False, capture_output=True)
    assert any("192.0.2.1" in line for line in elsewhere(lines()))


def test_commands_ask_nobody(told, tmp_path):
    environment, lines = told
    write_blank_files(tmp_path / "files")
    store = tmp_path / "store"
    run(environment, "load", *(tmp_path / "files/examples").glob("*.csv"), "--store", store)
    run(environment, "forecast", "--store", store)
    run(environment, "flags", "--all", "--store", store)
    run(environment, "vehicle", "EX1", "--pdf", tmp_path / "page.pdf", "--store", store)
    run(environment, "partition", tmp_path / "parts", "--partitions", "2", "--store", store)
    run(environment, "forecast-partitions", tmp_path / "parts", "--workers", "1")
    assert Path(tmp_path / "page.pdf").stat().st_size > 1000
    assert (tmp_path / "parts/forecasts/part-0001.parquet").exists()
    assert lines().count("hook at work") > 6, "the worker has no hook"
    assert elsewhere(lines()) == []


@pytest.mark.browser
def test_the_dashboard_asks_nobody(told, chromium, demo_store, tmp_path):
    environment, lines = told
    with served(demo_store.folder, log=tmp_path / "log.txt", more_environment=environment) as address:
        page = chromium.new_context().new_page()
        for path in ("/", "/vehicle?unit=V101", "/model-check", "/reading"):
            page.goto(address + path)
            settle(page)
        # another site that opens a connection is refused without asking for this machine's outer address
        page.goto("about:blank")
        page.evaluate(f"new WebSocket('{address.replace('http', 'ws')}/_stcore/stream', ['streamlit'])")
        page.wait_for_timeout(500)
        page.context.close()
    assert elsewhere(lines()) == []
