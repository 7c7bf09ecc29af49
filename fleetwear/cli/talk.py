"""What is said to the person on standard error: words, waiting, progress."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING

import typer

from fleetwear.cli import logs
from fleetwear.reports.inert import on_screen
from fleetwear.store.runs import LOG

if TYPE_CHECKING:
    from collections.abc import Callable


_LONGEST_TALK = 20_000


def say(text: str) -> None:
    """Talk to the person, on standard error; as a line of the log where that is JSON."""
    if logs.is_json():
        LOG.info(text)
    else:
        typer.echo(on_screen(text, _LONGEST_TALK), err=True)


def tell_waiting() -> None:
    """Say that another program holds the store."""
    say("Another program is writing to the store; waiting ...")


def talk_if_terminal() -> Callable[[str], None] | None:
    """Return a speaker on a terminal, None elsewhere."""
    return (lambda text: say(f"  {text}")) if sys.stderr.isatty() and not logs.is_json() else None


def progress() -> Callable[[str, int, int], None]:
    """Return a reporter that shows one line, rewritten, on a terminal and nothing elsewhere."""
    shown = sys.stderr.isatty() and not logs.is_json()

    def report(words: str, done: int, total: int) -> None:
        if shown:
            end = "\n" if done == total else ""
            words = on_screen(words, 200)
            sys.stderr.write(f"\r\x1b[2K  {done} of {total}  {words}{end}")
            sys.stderr.flush()

    return report
