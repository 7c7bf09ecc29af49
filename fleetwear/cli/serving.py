"""Commands that show it all: dashboard, demo."""

from __future__ import annotations

from datetime import date
from pathlib import Path
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
    address: Annotated[
        str, typer.Option(help="Where to listen. Any other than a loopback address demands sign-in.")
    ] = "127.0.0.1",
    sign_in: Annotated[
        Path | None,
        typer.Option(
            "--sign-in",
            metavar="FILE",
            help="Settings of the OpenID Connect sign-in that everybody must pass; sign_in.toml in the store's folder, "
            "where there is one, if not given.",
        ),
    ] = None,
    roles: Annotated[
        Path | None,
        typer.Option(
            metavar="FILE", help="Who may read, record, correct; roles.toml in the store's folder if not given."
        ),
    ] = None,
    store: StoreOption = None,
) -> None:
    """Serve the dashboard, from the published snapshot; to this machine only (loopback) if nothing else is asked.

    On loopback without a sign-in file whoever looks is this machine's own user and may do everything. On any other
    address everybody must sign in, and it does not start before that is set up.

    Example: fleetwear dashboard --port 8502
    """
    import signal
    import subprocess

    from dashboard import serve
    from dashboard.roles import ROLES_FILE, read_roles
    from dashboard.sign_in import sign_in_for
    from fleetwear.store import snapshot_number

    folder = store_folder(store)
    passed = sign_in_for(folder, address=address, file=sign_in)
    if passed is not None:
        read_roles(roles if roles is not None else folder / ROLES_FILE)
    serve.check_port(address, port)
    at = f"http://127.0.0.1:{port}" if passed is None else passed.origin
    whom = "this machine's own user, who may do everything" if passed is None else "who signs in and has a role"
    say(f"Dashboard at {at} for the store {folder}, for {whom}; stop it with Ctrl+C.")
    if snapshot_number(folder) is None:
        say("It has no forecast yet; its first page says how to make one.")
    before = signal.signal(signal.SIGTERM, signal.default_int_handler)  # so that the server ends with this command
    try:
        code = subprocess.run(
            serve.command(folder, port=port, address=address, sign_in=passed),
            env=serve.environment(folder, sign_in=passed, roles=roles),
            check=False,
        ).returncode
    except KeyboardInterrupt:
        code = 0
    finally:
        signal.signal(signal.SIGTERM, before)
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
