"""The program itself, to which every module of commands adds its own; errors become messages and exit codes."""

from __future__ import annotations

import os
from typing import Annotated

import typer

from fleetwear.cli import logs
from fleetwear.cli.talk import say
from fleetwear.errors import FleetwearError
from fleetwear.vocabulary import CAUTION

NOBODY_WAITS = 10
"""How little pressing work is that nobody waits for: ``nice``."""

app = typer.Typer(
    name="fleetwear",
    help="Track and forecast the wear of suspension and steering joints over a fleet's repeat visits.\n\n" + CAUTION,
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    add_completion=False,
)


@app.callback()
def main_options(
    debug: Annotated[bool, typer.Option("--debug", help="Show the traceback of an error.")] = False,
    log: Annotated[
        logs.LogForm | None,
        typer.Option("--log", help="Log what is done to standard error, as text or as JSON lines; else FLEETWEAR_LOG."),
    ] = None,
) -> None:
    """Keep the options that stand before a command."""
    try:
        logs.begin(log)
    except ValueError as error:
        raise typer.BadParameter("it is text or json", param_hint=logs.LOG_VARIABLE) from error
    if debug:
        os.environ["FLEETWEAR_DEBUG"] = "1"


def give_way() -> None:
    """Let other programs of this machine go first: somebody waits for a page, nobody for a night's work."""
    if hasattr(os, "setpriority"):
        os.setpriority(os.PRIO_PROCESS, 0, max(os.getpriority(os.PRIO_PROCESS, 0), NOBODY_WAITS))


def main() -> None:
    """Run the command line; errors of the project become a message and exit code 1."""
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    try:
        app()
    except FleetwearError as error:
        if os.environ.get("FLEETWEAR_DEBUG"):
            raise
        say(f"fleetwear: {error}")
        raise SystemExit(1) from None
    finally:
        logs.end()
