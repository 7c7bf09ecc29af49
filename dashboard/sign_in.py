"""Sign-in at an OpenID Connect provider: whether it is demanded, and whether its settings can be relied on.

On a loopback address nobody but this machine's own users reaches the dashboard, and nothing is demanded. Anywhere else,
or wherever a sign-in file is there, everybody signs in; a dashboard that cannot demand it does not start.
"""

from __future__ import annotations

import ipaddress
import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any
from urllib.parse import urlsplit

from fleetwear.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Mapping

SIGN_IN_FILE = "sign_in.toml"
"""The usual name of the sign-in file, in the store's folder; backups leave it out."""

CALLBACK = "/oauth2callback"
"""Where the provider sends people back to."""

HOW = """\
Write a file sign_in.toml into the store's folder, or name one with --sign-in, that only its owner may read:

    [auth]
    redirect_uri = "https://the.name.people.type/oauth2callback"
    cookie_secret = "40 or more random characters"
    client_id = "from your OpenID Connect provider"
    client_secret = "from your OpenID Connect provider"
    server_metadata_url = "https://your.provider/.well-known/openid-configuration"

and a file roles.toml beside it, which says who may do what (README, "Served to others")."""

_NEEDED = ("redirect_uri", "cookie_secret", "client_id", "client_secret", "server_metadata_url")
_SHORTEST_SECRET = 32


@dataclass(frozen=True)
class SignIn:
    """A sign-in file that was read and found good."""

    file: Path
    redirect_uri: str

    @property
    def origin(self) -> str:
        """Where people's browsers find the dashboard: scheme, host and port."""
        parts = urlsplit(self.redirect_uri)
        return f"{parts.scheme}://{parts.netloc}"

    @property
    def host(self) -> str:
        """The name that people type."""
        return urlsplit(self.redirect_uri).hostname or ""


def is_loopback(address: str | None) -> bool:
    """Return whether an address or host name is reached from this machine only; a missing one is not."""
    if not address:
        return False
    if address.lower() == "localhost":
        return True
    try:
        return ipaddress.ip_address(address.strip("[]")).is_loopback
    except ValueError:
        return False


def sign_in_for(store_folder: Path, *, address: str, file: Path | None = None) -> SignIn | None:
    """Return the sign-in that a dashboard must demand, None where it is for this machine's own user.

    Parameters
    ----------
    store_folder
        The store's folder, where the file is looked for if none is named.
    address
        Where the dashboard listens.
    file
        The sign-in file, if it was named.

    Raises
    ------
    InputError
        If sign-in is needed and its file is missing, or cannot be relied on.
    """
    chosen = file if file is not None else Path(store_folder) / SIGN_IN_FILE
    if file is None and not chosen.exists():
        if is_loopback(address):
            return None
        raise InputError(
            f"{address} is reached from other machines, so everybody must sign in, and no sign-in is set up",
            where=str(chosen),
            mend=HOW,
        )
    return read_sign_in(chosen)


def read_sign_in(file: Path) -> SignIn:
    """Return what a sign-in file says.

    Raises
    ------
    InputError
        If it is missing, others may read it, or a setting is missing or unsafe.
    """
    where = str(file)
    try:
        mode = file.stat().st_mode
        settings = tomllib.loads(file.read_text(encoding="utf-8"))
    except (OSError, ValueError) as error:
        raise InputError(f"the sign-in file cannot be read: {error}", where=where, mend=HOW) from error
    if mode & 0o077:
        raise InputError(
            "others on this machine may read the sign-in file, which holds secrets",
            where=where,
            mend=f"Take that from them: chmod 600 {file}",
        )
    section = settings.get("auth")
    if not isinstance(section, dict):
        raise InputError("the sign-in file has no section [auth]", where=where, mend=HOW)
    _check(section, where=where)
    return SignIn(file.absolute(), str(section["redirect_uri"]))


def _check(section: Mapping[str, Any], *, where: str) -> None:
    missing = [name for name in _NEEDED if not str(section.get(name, "")).strip()]
    if missing:
        raise InputError(f"[auth] lacks {', '.join(missing)}", where=where, mend=HOW)
    secret = str(section["cookie_secret"])
    if len(secret) < _SHORTEST_SECRET:
        raise InputError(
            f"cookie_secret has {len(secret)} characters, fewer than {_SHORTEST_SECRET}: it could be guessed",
            where=where,
            mend="Make one: python3 -c 'import secrets; print(secrets.token_urlsafe(32))'",
        )
    if urlsplit(str(section["redirect_uri"])).path != CALLBACK:
        raise InputError(
            f"redirect_uri {section['redirect_uri']!r} does not end in {CALLBACK}",
            where=where,
            mend=f"Write the address that people type, without a path, and {CALLBACK} behind it.",
        )
    for name in ("redirect_uri", "server_metadata_url"):
        parts = urlsplit(str(section[name]))
        if parts.scheme != "https" and not (parts.scheme == "http" and is_loopback(parts.hostname)):
            raise InputError(
                f"{name} {section[name]!r} is not https: anybody on the way could read and change what is sent",
                where=where,
                mend="Put TLS in front of the dashboard (README, Served to others) and write https.",
            )
