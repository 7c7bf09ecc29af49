"""Roles: who may read, record, correct, and see figures by technician, from a small TOML file.

::

    [mail]
    "first.name@fleet.example" = ["record", "people"]
    "@fleet.example" = ["read"]          # everybody with an address there

    [claims.groups]
    workshop = ["record"]                # everybody whose provider says so

Every role brings "read" along. Several entries that fit add up; who fits none may nothing. An e-mail address counts
only where the provider says that it has verified it.
"""

from __future__ import annotations

import difflib
import string
import tomllib
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal, cast, get_args

from fleetwear.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

Role = Literal["read", "record", "correct", "people"]
"""Read pages; record readings and work; correct what is stored; see figures by technician."""

ROLES: tuple[Role, ...] = get_args(Role)
ROLES_FILE = "roles.toml"
"""The usual name of the file, in the store's folder."""

_SMALL = str.maketrans(string.ascii_uppercase, string.ascii_lowercase)
NOBODY: frozenset[Role] = frozenset()
_MEND = 'Write, for example:  [mail]  and under it  "first.name@fleet.example" = ["read", "record"]'


@dataclass(frozen=True)
class Roles:
    """What the file says: roles by address in small letters, and by a claim and its value."""

    mail: Mapping[str, frozenset[Role]]
    claims: Mapping[tuple[str, str], frozenset[Role]]

    def of(self, claims: Mapping[str, Any]) -> frozenset[Role]:
        """Return the roles of somebody of whom a provider claims this."""
        found = NOBODY
        address = verified_mail(claims)
        if address is not None:
            found |= self.mail.get(address, NOBODY)
            found |= self.mail.get("@" + address.rpartition("@")[2], NOBODY)
        for (name, value), roles in self.claims.items():
            held = claims.get(name)
            if value in (held if isinstance(held, list) else [held]):
                found |= roles
        return found | {"read"} if found else found


def verified_mail(claims: Mapping[str, Any]) -> str | None:
    """Return the e-mail address in small letters where the provider says that it has verified it, else None."""
    address = claims.get("email")
    if not isinstance(address, str) or address.count("@") != 1 or address.startswith("@"):
        return None
    return _in_small(address) if claims.get("email_verified") is True else None


def _in_small(address: str) -> str:
    """Return an address in small letters, A to Z alone: by Unicode's rules other mailboxes would come out the same."""
    return address.strip().translate(_SMALL)


def read_roles(file: Path) -> Roles:
    """Return what a roles file says.

    Raises
    ------
    InputError
        If it is missing, is not TOML, or says something that is no role.
    """
    where = str(file)
    try:
        said = tomllib.loads(file.read_text(encoding="utf-8"))
    except (OSError, ValueError) as error:
        raise InputError(f"the roles file cannot be read: {error}", where=where, mend=_MEND) from error
    foreign = sorted(set(said) - {"mail", "claims"})
    if foreign:
        raise InputError(f"there is no section [{foreign[0]}]", where=where, mend="Sections are [mail], [claims.NAME].")
    mail = {}
    for address, names in _section(said.get("mail", {}), "mail", where).items():
        if address.count("@") != 1 or address.endswith("@"):
            raise InputError(f"[mail] {address!r} is no e-mail address", where=where, mend=_MEND)
        mail[_in_small(address)] = _roles(names, f"[mail] {address}", where)
    if "email" in _section(said.get("claims", {}), "claims", where):
        raise InputError(
            "[claims.email] would believe an address that no provider has verified", where=where, mend=_MEND
        )
    claims = {
        (name, value): _roles(names, f"[claims.{name}] {value}", where)
        for name, section in _section(said.get("claims", {}), "claims", where).items()
        for value, names in _section(section, f"claims.{name}", where).items()
    }
    return Roles(mail, claims)


def _section(section: object, name: str, where: str) -> dict[str, Any]:
    if not isinstance(section, dict):
        raise InputError(f"[{name}] is not a section", where=where, mend=_MEND)
    return section


def _roles(names: object, place: str, where: str) -> frozenset[Role]:
    if not isinstance(names, list) or not all(isinstance(name, str) for name in names):
        raise InputError(f"{place}: {names!r} is not a list of roles", where=where, mend=_MEND)
    for name in names:
        if name not in ROLES:
            near = difflib.get_close_matches(name, ROLES, n=1)
            hint = f"Did you mean {near[0]!r}? " if near else ""
            raise InputError(f"{place}: {name!r} is no role", where=where, mend=f"{hint}Roles are {', '.join(ROLES)}.")
    return frozenset(cast("list[Role]", names))
