"""People: who is here, and what they may do. Pages ask `may` and `require`.

On a loopback address without a sign-in file the person is this machine's own user, who may do everything: whoever can
run the program there can do as much with the commands.
"""

from __future__ import annotations

import os
import time
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import streamlit as st

from dashboard.messages import show
from dashboard.roles import NOBODY, ROLES, ROLES_FILE, Role, read_roles, verified_mail
from dashboard.serve import ROLES_VARIABLE, SIGN_IN_VARIABLE
from dashboard.sign_in import is_loopback
from fleetwear.errors import InputError
from fleetwear.reports.inert import html_text
from fleetwear.store import default_store_dir
from fleetwear.store.runs import LOG

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

_File = TypeVar("_File")

SIGN_IN_HOURS = 12.0
"""How long a sign-in holds; then everybody signs in again."""

_WHAT = {
    "read": "reading the pages",
    "record": "recording readings and work",
    "correct": "correcting what is stored",
    "people": "seeing figures by technician",
}
_TELL = "Tell whoever runs this dashboard: its log says what is wrong with the file."


@dataclass(frozen=True)
class Person:
    """Who looks at the page."""

    name: str
    """As shown; a verified e-mail address where there is one."""
    roles: frozenset[Role]
    signed_in: bool
    """False for this machine's own user, and for whoever has yet to sign in."""


def who() -> Person:
    """Return who is here.

    Raises
    ------
    InputError
        If the roles file cannot be read: then nobody may anything.
    """
    if not _demanded():
        return Person("this machine's user", frozenset(ROLES), signed_in=False)
    claims = _claims()
    return Person("nobody", NOBODY, signed_in=False) if claims is None else _known(claims)


def _known(claims: Mapping[str, Any]) -> Person:
    """Return of whom a provider claims this, with the roles of this moment."""
    named = os.environ.get(ROLES_VARIABLE, "").strip()
    roles = read_roles(Path(named) if named else default_store_dir() / ROLES_FILE)
    name = verified_mail(claims) or str(claims.get("name") or claims.get("sub") or "somebody")
    return Person(name, roles.of(claims), signed_in=True)


def may(role: Role) -> bool:
    """Return whether who is here may do this; who has not signed in may nothing."""
    return role in who().roles


class Refused(Exception):  # noqa: N818  nothing went wrong
    """Ends a page whose reader may not go on; what is to be said stands on the page already."""


def require(role: Role) -> None:
    """Return only if who is here may do this; else write a message, or ask to sign in.

    Raises
    ------
    Refused
        If they may not. `dashboard.app` ends the page on it, so that the caution still stands under it.
    """
    try:
        person = who()
    except InputError as error:
        # where the file lies and what it says of people is no stranger's business
        LOG.warning("nobody may go on: %s", error)
        show(InputError("the roles file cannot be read, so nobody may go on", mend=_TELL))
        raise Refused from error
    if role in person.roles:
        return
    if person.signed_in:
        _refuse(person, role)
    else:
        _ask_to_sign_in()
    raise Refused


def still(make: Callable[[], _File]) -> Callable[[], _File]:
    """Return a maker of a file that makes it only while who is here now still may what they may now.

    A page stays open for as long as its reader likes, and what it offers is asked for without running it again.
    """
    claims = _claims() if _demanded() else None
    if claims is None:
        return make
    held = _known(claims).roles

    def made() -> _File:
        if not (_is_fresh(claims, now=time.time()) and held <= _known(claims).roles):
            raise Refused("the sign-in has run out, or roles were taken away: load the page again")
        return make()

    return made


def sign_out_line() -> None:
    """Write who is signed in, with a button to sign out; nothing where nobody has to sign in."""
    if not _demanded() or _claims() is None:
        return
    try:
        person = who()
    except InputError:
        return
    held = ", ".join(role for role in ROLES if role in person.roles) or "none"
    with st.container(horizontal=True, vertical_alignment="center"):
        st.html(f'<p class="fw-quiet" style="margin:0">Signed in as {html_text(person.name)}; roles: {held}.</p>')
        st.button("Sign out", key="sign_out", on_click=st.logout)


def _demanded() -> bool:
    """Return whether people must sign in; a dashboard that was started in another way than `serve` demands it too."""
    if os.environ.get(SIGN_IN_VARIABLE):
        return True
    asked_from_a_browser = st.context.headers.get("Host") is not None
    return asked_from_a_browser and not is_loopback(st.get_option("server.address"))


def _claims() -> Mapping[str, Any] | None:
    """Return what the provider claims of who is signed in, None of nobody and of one whose sign-in does not count."""
    claims: dict[str, Any] = st.user.to_dict()
    if claims.get("is_logged_in") is not True:
        return None
    client = str(st.secrets["auth"]["client_id"])
    return claims if counts(claims, client=client, now=time.time()) else None


def counts(claims: Mapping[str, Any], *, client: str, now: float) -> bool:
    """Return whether a sign-in was made for this program, and not longer ago than one holds.

    Issuer, signature, expiry and nonce were checked when the token came; that the audience names this client is checked
    here, since the library lets another audience pass where the authorized party fits (OpenID Connect Core 1.0,
    3.1.3.7, step 3).
    """
    audience = claims.get("aud")
    meant = client in audience if isinstance(audience, list) else client == audience
    return meant and _is_fresh(claims, now=now)


def _is_fresh(claims: Mapping[str, Any], *, now: float) -> bool:
    issued = claims.get("iat")
    return isinstance(issued, int | float) and now - issued < SIGN_IN_HOURS * 3600.0


def _ask_to_sign_in() -> None:
    st.subheader("Sign in")
    st.markdown(
        "These pages are for people of the fleet. You sign in with your organisation and come back here; a sign-in "
        f"holds for {SIGN_IN_HOURS:g} hours."
    )
    st.button("Sign in", key="sign_in", type="primary", on_click=st.login)


def _refuse(person: Person, role: Role) -> None:
    what = _WHAT[role]
    st.html(
        f'<p class="fw-said" role="status"><b>You may not go on: {html_text(what)} needs the role {role}.</b><br>'
        f"You are signed in as {html_text(person.name)}. Whoever runs this dashboard gives roles; an e-mail address "
        "counts only once your organisation has verified it.</p>"
    )
