"""A few sessions at once, as the script for many of them has them; and what they note when something is wrong."""

from __future__ import annotations

import asyncio
from concurrent.futures import ThreadPoolExecutor

from many_sessions import figures
from serving import served
from sessions import read_pages


def sessions_read(*given, **named):
    """What sessions saw, run in a thread of their own: the browser's driver keeps an event loop in this one."""
    with ThreadPoolExecutor(1) as pool:
        return pool.submit(lambda: asyncio.run(read_pages(*given, **named))).result()


def test_five_sessions_read_pages_to_their_end(address):
    seen = sessions_read(address, sessions=5, seconds=6.0, units=["V101", "V102"], think_s=(0.1, 0.3))
    assert seen.errors == []
    assert len(seen.seconds["next-service"]) >= 5  # each begins there and goes to a vehicle
    assert len(seen.seconds["vehicle"]) >= 5
    assert figures(seen.seconds["vehicle"])["p95_s"] < 30.0


def test_a_page_that_shows_an_error_is_told(demo_store, address):
    seen = sessions_read(address, sessions=1, seconds=3.0, units=["Z999"], think_s=(0.1, 0.2))
    assert any("no vehicle has the unit number" in error.lower() for error in seen.errors)


def test_a_server_that_is_gone_is_told(demo_store, tmp_path):
    with served(demo_store.folder, log=tmp_path / "log.txt") as gone:
        pass
    seen = sessions_read(gone, sessions=2, seconds=0.5, units=["V101"])
    assert len(seen.errors) == 2
    assert seen.seconds == {}
