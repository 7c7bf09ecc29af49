"""Serving the dashboard: the command and environment that start it, on this machine only if nothing else is asked."""

from __future__ import annotations

import os
import socket
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from fleetwear.errors import InputError
from fleetwear.reports.looks import DARK, LIGHT
from fleetwear.store.location import STORE_VARIABLE

if TYPE_CHECKING:
    from dashboard.sign_in import SignIn
    from fleetwear.reports.looks import Look

APP = Path(__file__).with_name("app.py")
"""The script that Streamlit runs."""

HEALTH_PATH = "/_stcore/health"
"""Answers "ok" once the dashboard can be asked."""

SIGN_IN_VARIABLE = "FLEETWEAR_SIGN_IN"
"""The environment variable by which the pages know that everybody must sign in."""

ROLES_VARIABLE = "FLEETWEAR_ROLES"
"""The environment variable that names the roles file."""

_HERE = ("localhost", "127.0.0.1", "::1")

_SETTINGS = {
    "server.enableXsrfProtection": "true",
    "server.enableCORS": "true",
    "server.enableStaticServing": "false",
    "server.enableAgentApi": "false",
    "server.trustedUserHeaders": "{}",
    "server.maxUploadSize": "20",
    "server.headless": "true",
    "server.fileWatcherType": "none",
    "server.runOnSave": "false",
    "browser.gatherUsageStats": "false",
    "client.toolbarMode": "minimal",
    "client.showErrorDetails": "none",
    "client.showErrorLinks": "false",
    "global.developmentMode": "false",
    "theme.baseRadius": "small",
    "theme.headingFontWeights": "600",
    "theme.linkUnderline": "true",
}


def command(store_folder: Path, *, port: int, address: str = "127.0.0.1", sign_in: SignIn | None = None) -> list[str]:
    """Return the command that serves the dashboard of a store.

    Parameters
    ----------
    store_folder
        The store's folder. It stands at the end so that a list of processes tells which store is served;
        the app takes it from the environment, see `environment`.
    port, address
        Where to listen; the default is reached from this machine only.
    sign_in
        What everybody must pass, see `sign_in_for`. Its secrets stay in their file.
    """
    settings = _SETTINGS | _colours("light", LIGHT) | _colours("dark", DARK)
    settings |= {"server.port": str(port), "server.address": address}
    settings["browser.serverAddress"] = address if sign_in is None else sign_in.host
    flags = [f"--{name}={value}" for name, value in settings.items()]
    # a name that is not on this list is refused, so that no other site and no forwarding reaches an open dashboard
    flags += [f"--server.allowedHosts={host}" for host in (*_HERE, *([sign_in.host] if sign_in else []))]
    if sign_in is not None:
        flags += [f"--server.corsAllowedOrigins={sign_in.origin}", f"--secrets.files={sign_in.file}"]
    return [sys.executable, "-m", "dashboard", "run", str(APP), *flags, "--", f"--store={store_folder}"]


def check_port(address: str, port: int) -> None:
    """Check that nobody listens there.

    Raises
    ------
    InputError
        If it is taken, or may not be listened on.
    """
    family = socket.AF_INET6 if ":" in address else socket.AF_INET
    try:
        socket.create_server((address, port), family=family).close()
    except OSError as error:
        raise InputError(
            f"port {port} cannot be listened on: {error.strerror or error}",
            where=address,
            mend="If a dashboard runs there already, end it, or choose another port with --port.",
        ) from error


def environment(store_folder: Path, *, sign_in: SignIn | None = None, roles: Path | None = None) -> dict[str, str]:
    """Return this process's environment with what the pages need to know in it: store, sign-in, roles file."""
    known = {name: value for name, value in os.environ.items() if name not in (SIGN_IN_VARIABLE, ROLES_VARIABLE)}
    known[STORE_VARIABLE] = str(Path(store_folder).resolve())
    if sign_in is not None:
        known[SIGN_IN_VARIABLE] = "demanded"
    if roles is not None:
        known[ROLES_VARIABLE] = str(Path(roles).resolve())
    return known


def _colours(name: str, look: Look) -> dict[str, str]:
    shown = {
        "primaryColor": look.accent,
        "backgroundColor": look.paper,
        "secondaryBackgroundColor": look.tint,
        "textColor": look.ink,
        "linkColor": look.accent,
        "borderColor": look.rule,
    }
    return {f"theme.{name}.{setting}": colour for setting, colour in shown.items()}
