"""Commands that show it all: dashboard, demo."""

from __future__ import annotations

from datetime import date
from typing import Annotated

import typer

from fleetwear.cli.loading import tell_load
from fleetwear.cli.options import Form, StoreOption, now, store_folder
from fleetwear.cli.program import app
from fleetwear.cli.reading_out import print_flags
from fleetwear.cli.talk import progress, say, talk_if_terminal


@app.command()
def dashboard(
    port: Annotated[int, typer.Option(help="Port on this machine.")] = 8501,
    store: StoreOption = None,
) -> None:
    """Serve the dashboard on this machine only (loopback), from the published snapshot.

    Example: fleetwear dashboard --port 8502
    """
    import subprocess

    from dashboard import serve

    folder = store_folder(store)
    say(f"Dashboard at http://127.0.0.1:{port} for the store {folder}; stop it with Ctrl+C.")
    try:
        code = subprocess.run(serve.command(folder, port=port), env=serve.environment(folder), check=False).returncode
    except KeyboardInterrupt:
        code = 0
    raise typer.Exit(code)


@app.command()
def demo(store: StoreOption = None) -> None:
    """Make the invented demo fleet, load it, forecast it and print its flags; safe to run again.

    The demo has a store of its own, ~/.fleetwear/demo, so that invented data never mix with yours.

    Example: fleetwear demo
    """
    import demo_fleet
    from fleetwear.planning.flags import read_flags
    from fleetwear.store import demo_store_dir, open_snapshot
    from pipelines import load as loading
    from pipelines import nightly

    folder = store if store is not None else demo_store_dir()
    say(f"1 of 4  Making the demo fleet in {folder / 'files'}")
    written = demo_fleet.write(folder / "files")
    say("2 of 4  Loading its files")
    tell_load(loading.run(folder, written.files, max(date.today(), written.as_of), on_progress=talk_if_terminal()))
    say(f"3 of 4  Fitting and forecasting as of {written.as_of}")
    nightly.run(folder, as_of=written.as_of, made_at=now(), on_progress=progress())
    say("4 of 4  Flags")
    con = open_snapshot(folder)
    try:
        print_flags(read_flags(con), Form.TABLE, everything=False, joints=False)
    finally:
        con.close()
    say(f"Open the dashboard with: fleetwear dashboard --store {folder}")
