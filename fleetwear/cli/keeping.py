"""Commands that keep the store: backup, restore, verify."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from fleetwear.cli.options import StoreOption, store_folder
from fleetwear.cli.program import app
from fleetwear.cli.talk import progress, say, tell_waiting


@app.command()
def backup(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="The archive to write; it must not be there yet.")],
    store: StoreOption = None,
) -> None:
    """Write the store, its inbox and its newest snapshot into one file.

    Example: fleetwear backup store.zip
    """
    from fleetwear.store.backups import backup as write

    members = write(store_folder(store), file, on_progress=progress(), on_wait=tell_waiting)
    say(f"{file}: {members} files, {file.stat().st_size:,} bytes. Bring it back with: fleetwear restore {file}")


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

    folder = store_folder(store)
    aside = bring_back(file, folder, replace=replace_store, on_progress=progress())
    if aside is not None:
        say(f"What stood there is now {aside}.")
    say(f"Store: {folder}. Next: fleetwear verify")


@app.command()
def verify(store: StoreOption = None) -> None:
    """Check the store: rows against loads, references, and inbox. Exit code 1 if something is wrong.

    Example: fleetwear verify
    """
    from fleetwear.store.verifying import verify as check

    found = check(store_folder(store), on_progress=progress(), on_wait=tell_waiting)
    for text in found.wrong:
        typer.echo(text)
    for text in found.remarks:
        say(text)
    say(f"Checked {', '.join(found.checked)}: {len(found.wrong) or 'nothing'} wrong.")
    if found.wrong:
        raise typer.Exit(1)
