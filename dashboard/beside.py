"""A process beside the server, in which long answers are made, so that the pages of others go on meanwhile.

All pages are written by one process, of which one thread at a time runs Python: half a minute of arithmetic for one
reader would be half a minute of waiting for all. Pages that run without the server make their answers themselves.

The process is this module, run by itself: questions and answers are pickles on its standard input and output, and it
ends with its input, so with the server. Pools of the standard library would import the server's main module in it,
which is a page while pages run.
"""

from __future__ import annotations

import logging
import os
import pickle
import subprocess
import sys
import threading
from contextlib import suppress
from typing import IO, TYPE_CHECKING, Any, TypeVar

from dashboard.turns import give_up

if TYPE_CHECKING:
    from collections.abc import Callable

_GIVES_WAY = 5
"""How much less pressing it is than the server, for the machine: `nice`."""

_ENDED = (EOFError, BrokenPipeError, pickle.UnpicklingError)

T = TypeVar("T")


class Beside:
    """The process, begun when it is first needed and again if it has ended; it answers one question at a time."""

    def __init__(self) -> None:
        self._turn = threading.Lock()
        self._process: subprocess.Popen[bytes] | None = None

    def ask(self, make: Callable[..., T], *given: object) -> T:
        """Return what a function makes, or raise what it raises; see `ask`."""
        with self._turn:
            if self._process is not None:
                try:
                    is_made, answer = self._asked(make, given)
                except _ENDED:
                    logging.getLogger(__name__).warning("the process beside the server has ended; another one is begun")
                    self.end()
            if self._process is None:
                self._process = subprocess.Popen(
                    [sys.executable, "-m", __spec__.name], stdin=subprocess.PIPE, stdout=subprocess.PIPE
                )
                is_made, answer = self._asked(make, given)
        if not is_made:
            raise answer
        made: T = answer
        return made

    def _asked(self, make: Callable[..., T], given: tuple[object, ...]) -> tuple[bool, Any]:
        process = self._process
        assert process is not None
        assert process.stdin is not None
        assert process.stdout is not None
        pickle.dump((make, given), process.stdin)
        process.stdin.flush()
        told: tuple[bool, Any] = pickle.loads(pickle.load(process.stdout))
        return told

    def end(self) -> None:
        """End the process, if it runs."""
        if self._process is not None:
            self._process.kill()
            self._process.wait()
            for end in (self._process.stdin, self._process.stdout):
                if end is not None:
                    with suppress(BrokenPipeError):  # what was to be asked
                        end.close()
            self._process = None


_open: Beside | None = None


def begin() -> None:
    """Have answers made in a process of their own from now on."""
    global _open
    _open = _open or Beside()


def ask(make: Callable[..., T], *given: object) -> T:
    """Return what a function makes of what is given, made beside the server where there is one.

    Parameters
    ----------
    make
        A function of a module, which can be imported there.
    given
        What it takes; like what it makes, it must be of a kind that can be sent.

    Raises
    ------
    EOFError
        If the process ends before it has answered, and the next one does too.
    """
    if _open is None:
        return make(*given)
    give_up()
    return _open.ask(make, *given)


def answer_all(questions: IO[bytes], answers: IO[bytes]) -> None:
    """Answer questions until there are no more."""
    while True:
        try:
            make, given = pickle.load(questions)
        except EOFError:
            return
        try:
            told = pickle.dumps((True, make(*given)))
        except Exception as error:  # whoever asked is told
            told = pickle.dumps((False, error))
        pickle.dump(told, answers)  # as one piece, so that what cannot be read leaves nothing behind
        answers.flush()


def main() -> None:
    """Answer what comes in, giving way to the server; what is printed meanwhile goes to standard error."""
    os.nice(_GIVES_WAY)
    with os.fdopen(os.dup(1), "wb") as answers:
        os.dup2(2, 1)
        answer_all(sys.stdin.buffer, answers)


if __name__ == "__main__":
    main()
