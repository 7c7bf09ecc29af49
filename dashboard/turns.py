"""Whose page is written: a few at a time, the others in turn.

One thread at a time runs Python. Where fifty take a step each in turn, all are ready at the end, and much of the time
goes into handing over; where a few are written to their end, the first of the fifty have theirs soon. Turns save time
and promise nothing else: who has waited long goes on without one, so that nobody can be shut out.
"""

from __future__ import annotations

import threading
from contextlib import contextmanager
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator

_AT_ONCE, _LONGEST_S = 3, 10.0

_turns = threading.Semaphore(_AT_ONCE)
_own = threading.local()
_written = 0


@contextmanager
def turn() -> Iterator[None]:
    """Wait for a turn, and have it while the block runs."""
    global _written
    _own.has_turn = _turns.acquire(timeout=_LONGEST_S)
    try:
        yield
    finally:
        give_up()
        _written += 1


def pages_written() -> int:
    """Return how many pages were written so far; where two end at once, one may be missed."""
    return _written


def give_up() -> None:
    """Let others have this thread's turn, if it has one, since it is going to wait for something.

    It goes on without: others may wait in their turn for what it is making.
    """
    if getattr(_own, "has_turn", False):
        _own.has_turn = False
        _turns.release()
