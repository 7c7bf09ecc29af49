"""Commands that keep the store: backup, restore, verify, erase-person, runs."""

from __future__ import annotations

import shlex
import sys
from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from fleetwear.cli.options import Form, FormOption, StoreOption, store_folder
from fleetwear.cli.program import app
from fleetwear.cli.talk import progress, say, tell_waiting

_NOT_IN_BACKUPS = ("sign_in.toml", "roles.toml", "drafts")


class What(StrEnum):
    """What leaves a record."""

    LOAD = "load"
    FIT = "fit"
    FORECAST = "forecast"
    PUBLISH = "publish"
    BACKTEST = "backtest"
    BACKUP = "backup"
    RESTORE = "restore"
    VERIFY = "verify"
    ERASE = "erase"


@app.command()
def backup(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="The archive to write; it must not be there yet.")],
    store: StoreOption = None,
) -> None:
    """Write the store, its inbox and its newest snapshot into one file.

    Example: fleetwear backup store.zip
    """
    from fleetwear.store.backups import backup as write
    from fleetwear.store.runs import running

    folder = store_folder(store)
    with running(folder, "backup", settings={"file": file}) as run:
        members = write(folder, file, on_progress=progress(), on_wait=tell_waiting)
        run.counts |= {"files": members, "bytes": file.stat().st_size}
    say(
        f"{file}: {members} files, {file.stat().st_size:,} bytes. "
        f"Bring it back with: fleetwear restore {shlex.quote(str(file))}"
    )


@app.command()
def restore(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="An archive that fleetwear backup wrote.")],
    replace_store: Annotated[
        bool, typer.Option("--replace", help="Move a store that stands there aside; it is not deleted.")
    ] = False,
    store: StoreOption = None,
) -> None:
    """Bring a backup back, each file compared with its SHA-256 first.

    Example: fleetwear restore store.zip --store ~/restored
    """
    from fleetwear.store.backups import restore as bring_back
    from fleetwear.store.runs import running

    folder = store_folder(store)
    with running(folder, "restore", settings={"file": file}):
        aside = bring_back(file, folder, replace=replace_store, on_progress=progress())
    if aside is not None:
        say(f"What stood there is now {aside}.")
        left = [name for name in _NOT_IN_BACKUPS if (aside / name).exists()]
        if left:
            say(f"Backups hold no {', '.join(left)}: copy back from there what you still need.")
    say(f"Store: {folder}. Next: fleetwear verify")


@app.command()
def verify(store: StoreOption = None) -> None:
    """Check the store: rows against loads, references, and inbox. Exit code 1 if something is wrong.

    Example: fleetwear verify
    """
    from fleetwear.store.runs import running
    from fleetwear.store.verifying import verify as check

    folder = store_folder(store)
    with running(folder, "verify") as run:
        found = check(folder, on_progress=progress(), on_wait=tell_waiting)
        run.counts |= {"wrong": len(found.wrong), "remarks": len(found.remarks)}
    for text in found.wrong:
        typer.echo(text)
    for text in found.remarks:
        say(text)
    say(f"Checked {', '.join(found.checked)}: {len(found.wrong) or 'nothing'} wrong.")
    if found.wrong:
        raise typer.Exit(1)


@app.command("erase-person")
def erase_person(
    name: Annotated[str, typer.Argument(metavar="NAME", help="As it is written in the files, in any case.")],
    by: Annotated[str, typer.Option("--by", help="Who does it.")],
    why: Annotated[str, typer.Option("--why", help="Why.")],
    store: StoreOption = None,
) -> None:
    """Put a random code in place of a technician's or owner's name, in the store and in every file handed over.

    The numbers stay. Older snapshots are removed and the published one is written anew. Backups, stores moved aside and
    the files outside the store are out of its reach.

    Example: fleetwear erase-person "T. Nobody" --by T2 --why "asked in writing"
    """
    from fleetwear.store.erasing import erase_person as erase
    from fleetwear.store.runs import running

    folder = store_folder(store)
    with running(folder, "erase") as run:
        done = erase(folder, name, by=by, why=why, on_wait=tell_waiting)
        run.counts |= {"cells": done.cells, "entries": len(done.entries), "code": done.code}
    say(f"{done.code} stands in place of the name in {done.cells} cells and {len(done.entries)} files of the inbox.")
    say(f"The published snapshot is written anew; {done.snapshots_removed} older ones are removed.")
    for copy in done.copies:
        say(f"Also written anew: {copy}.")
    for path in done.left:
        say(f"The name still stands in {path}, which is no part of the store: remove it, or take the name out.")
    say("Backups, stores moved aside, and the files that were loaded still hold it: mend those yourself,")
    say("and do not load the old files again.")


@app.command()
def runs(
    last: Annotated[int, typer.Option("--last", metavar="N", min=1, help="How many, the latest first.")] = 20,
    what: Annotated[What | None, typer.Option("--what", help="Only these.")] = None,
    form: FormOption = Form.TABLE,
    store: StoreOption = None,
) -> None:
    """Print what was done or failed: when (UTC), how long, how many, with which settings and version.

    Example: fleetwear runs --last 5 --what load
    """
    from fleetwear.reports.tables import render
    from fleetwear.store import Store
    from fleetwear.store.runs import note_cut_off, read_runs

    note_cut_off(store_folder(store))
    with Store(store_folder(store)).reader(on_wait=tell_waiting) as con:
        rows = read_runs(con, what=what.value if what else None, last=last)
    rows["began_at"] = rows["began_at"].dt.strftime("%Y-%m-%d %H:%M:%S")
    rows["seconds"] = rows["seconds"].round(2)
    if form is Form.TABLE:
        rows = rows.drop(columns="settings")
    if rows.empty:
        say("Nothing is recorded yet.")
    render(rows, form.value, sys.stdout.write)
