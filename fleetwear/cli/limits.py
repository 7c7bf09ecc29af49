"""The command for limits: which stand in the store, and which statutes can be taken in."""

from __future__ import annotations

import sys
import tempfile
from datetime import date
from pathlib import Path
from typing import Annotated

import typer

from fleetwear.cli.loading import tell_load
from fleetwear.cli.options import Form, FormOption, StoreOption, store_folder
from fleetwear.cli.program import app
from fleetwear.cli.talk import say, talk_if_terminal, tell_waiting


@app.command()
def limits(
    statute: Annotated[
        bool, typer.Option("--statute", help="List the limits of statutes that ship with the program instead.")
    ] = False,
    apply: Annotated[
        str | None,
        typer.Option("--apply", metavar="STATUTE", help='Take one into the store for wheel checks, as "49 CFR 570".'),
    ] = None,
    form: FormOption = Form.TABLE,
    store: StoreOption = None,
) -> None:
    """List the limits on record with basis and source: of joints, and of wheel checks.

    Statutes are not in the store until one is asked for with --apply.

    Example: fleetwear limits --statute
    """
    from fleetwear.intake.statutes import CAUTION, statute_table, write_statute
    from fleetwear.reports.limit_tables import limit_table
    from fleetwear.reports.tables import render
    from fleetwear.store import Store

    if apply is not None:
        from pipelines import load as pipeline

        with tempfile.TemporaryDirectory() as folder:
            file = write_statute(apply, Path(folder))
            summaries = pipeline.run(
                store_folder(store), [file], date.today(), on_progress=talk_if_terminal(), on_note=say,
                on_wait=tell_waiting,
            )  # fmt: skip
        tell_load(summaries)
        say(f"{CAUTION} Next: fleetwear forecast")
        return
    if statute:
        table = statute_table()
        shown = table.drop(columns=["note", "basis", "bearings adjusted"]) if form is Form.TABLE else table
        render(shown, form.value, sys.stdout.write)
        for source, note in table[["source", "note"]].drop_duplicates().itertuples(index=False):
            say(f"{source}: {note}.")
        say(CAUTION)
        return
    with Store(store_folder(store)).reader() as con:
        table = limit_table(con)
    if table.empty:
        say("No limit is on record.")
    render(table, form.value, sys.stdout.write)
