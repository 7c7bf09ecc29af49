"""Sessions that ask the dashboard for pages as browsers do: Streamlit's own messages over a web socket.

A browser's drawing is not among what they measure; what the server sends for a page, and how long it takes, is.
"""

from __future__ import annotations

import asyncio
import random
import time
from dataclasses import dataclass, field
from urllib.parse import urlsplit

from streamlit.proto.BackMsg_pb2 import BackMsg
from streamlit.proto.ForwardMsg_pb2 import ForwardMsg
from websockets.asyncio.client import ClientConnection, connect

_LONGEST_S = 120.0
_MESSAGE = '<p class="fw-said" role="status">'


@dataclass
class Seen:
    """What all sessions saw: seconds of every run by page, and what was wrong."""

    seconds: dict[str, list[float]] = field(default_factory=dict)
    errors: list[str] = field(default_factory=list)


@dataclass
class Session:
    """One reader: opens a page, looks at it for a while, and goes on to another one."""

    address: str
    seen: Seen
    units: list[str]
    rng: random.Random
    pages: dict[str, str] = field(default_factory=dict)
    """The hash of each page by its path, as the server says them."""

    async def run(self, *, until: float, think_s: tuple[float, float]) -> None:
        """Read pages until a moment of `time.monotonic`; what goes wrong is noted, and ends this session."""
        parts = urlsplit(self.address)
        try:
            async with connect(
                f"ws://{parts.netloc}/_stcore/stream", origin=self.address, max_size=None, subprotocols=["streamlit"]
            ) as socket:
                await self._view(socket, "")
                await self._view(socket, "vehicle")
                while time.monotonic() < until:
                    await asyncio.sleep(self.rng.uniform(*think_s))
                    await self._view(socket, self.rng.choice([*self.pages, *["", "vehicle", "vehicle"]]))
        except Exception as error:  # whatever it is, it is an error of this session and is told
            self.seen.errors.append(f"a session ended: {type(error).__name__}: {error}")

    async def _view(self, socket: ClientConnection, path: str) -> None:
        """Ask for a page and wait until its script has run."""
        asked = BackMsg()
        if path in self.pages:
            asked.rerun_script.page_script_hash = self.pages[path]
        asked.rerun_script.page_name = path
        query = f"unit={self.rng.choice(self.units)}" if path == "vehicle" else ""
        asked.rerun_script.query_string = query
        began = time.perf_counter()
        await socket.send(asked.SerializeToString())
        has_caution = False
        async with asyncio.timeout(_LONGEST_S):
            while True:
                told = ForwardMsg()
                told.ParseFromString(await socket.recv(decode=False))
                has_caution |= self._look_at(told, path)
                if told.WhichOneof("type") == "script_finished":
                    if told.script_finished == ForwardMsg.FINISHED_EARLY_FOR_RERUN:
                        continue
                    break
        name = path or "next-service"
        self.seen.seconds.setdefault(name, []).append(time.perf_counter() - began)
        if told.script_finished != ForwardMsg.FINISHED_SUCCESSFULLY:
            self.seen.errors.append(f"{name}?{query} did not run to its end")
        elif not has_caution:
            self.seen.errors.append(f"{name}?{query} came without the caution at its end")

    def _look_at(self, told: ForwardMsg, path: str) -> bool:
        """Take in what a message says of pages and errors; return whether it is the caution of the page's end."""
        kind = told.WhichOneof("type")
        if kind == "navigation":
            self.pages = {page.url_pathname: page.page_script_hash for page in told.navigation.app_pages}
        if kind != "delta" or told.delta.WhichOneof("type") != "new_element":
            return False
        element = told.delta.new_element
        if element.WhichOneof("type") == "exception":
            self.seen.errors.append(f"{path}: {element.exception.message}")
        body = element.html.body if element.WhichOneof("type") == "html" else ""
        if body.startswith(_MESSAGE):
            self.seen.errors.append(f"{path}: {body.removeprefix(_MESSAGE)[:200]}")
        return "fw-caution" in body


async def read_pages(
    address: str, *, sessions: int, seconds: float, units: list[str], think_s: tuple[float, float] = (1.0, 3.0)
) -> Seen:
    """Have so many sessions read pages for a while, beginning within the first three seconds; return what they saw."""
    seen = Seen()
    until = time.monotonic() + seconds

    async def one(number: int) -> None:
        await asyncio.sleep(min(3.0, seconds / 4) * number / sessions)
        await Session(address, seen, units, random.Random(number)).run(until=until, think_s=think_s)

    await asyncio.gather(*(one(number) for number in range(sessions)))
    return seen
