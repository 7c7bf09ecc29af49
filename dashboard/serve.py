"""Serving the dashboard: the command and environment that start it on this machine only."""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from fleetwear.reports.looks import DARK, LIGHT
from fleetwear.store.location import STORE_VARIABLE

if TYPE_CHECKING:
    from fleetwear.reports.looks import Look

APP = Path(__file__).with_name("app.py")
"""The script that Streamlit runs."""

HEALTH_PATH = "/_stcore/health"
"""Answers "ok" once the dashboard can be asked."""

_SETTINGS = {
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


def command(store_folder: Path, *, port: int, address: str = "127.0.0.1") -> list[str]:
    """Return the command that serves the dashboard of a store.

    Parameters
    ----------
    store_folder
        The store's folder. It stands at the end so that a list of processes tells which store is served;
        the app takes it from the environment, see `environment`.
    port, address
        Where to listen; the default is reached from this machine only.
    """
    settings = _SETTINGS | _colours("light", LIGHT) | _colours("dark", DARK)
    settings |= {"server.port": str(port), "server.address": address, "browser.serverAddress": address}
    flags = [f"--{name}={value}" for name, value in settings.items()]
    return [sys.executable, "-m", "streamlit", "run", str(APP), *flags, "--", f"--store={store_folder}"]


def environment(store_folder: Path) -> dict[str, str]:
    """Return this process's environment with the store's folder for the dashboard in it."""
    return os.environ | {STORE_VARIABLE: str(Path(store_folder).resolve())}


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
