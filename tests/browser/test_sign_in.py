"""Signing in at a real OpenID Connect provider on this machine, as each role, and being refused."""

from __future__ import annotations

import os
import re
import socket
import time
from contextlib import contextmanager
from pathlib import Path

import pytest
from serving import free_port, served
from serving import settle as settle_page

from dashboard.sign_in import read_sign_in

pytestmark = [
    pytest.mark.browser,
    pytest.mark.filterwarnings("ignore::authlib.deprecate.AuthlibDeprecationWarning"),  # of the provider's own imports
    pytest.mark.filterwarnings("ignore:get_jwt_config:DeprecationWarning"),  # likewise
]

ROLES = """
[mail]
"reader@fleet.example" = ["read"]
"recorder@fleet.example" = ["record"]
"corrector@fleet.example" = ["correct"]
"lead@fleet.example" = ["people"]
"unverified@fleet.example" = ["read"]
[claims.groups]
workshop = ["record"]
"""
VERIFIED = {"email_verified": True, "name": "Somebody"}
READER = VERIFIED | {"email": "Reader@fleet.example"}
USERS = {
    "reader": READER,
    "recorder": VERIFIED | {"email": "recorder@fleet.example"},
    "corrector": VERIFIED | {"email": "corrector@fleet.example"},
    "lead": VERIFIED | {"email": "lead@fleet.example"},
    "grouped": {"name": "Grouped", "groups": ["workshop"]},
    "unknown": VERIFIED | {"email": "unknown@elsewhere.example"},
    "unverified": {"email": "unverified@fleet.example", "email_verified": False},
    "silent": {"email": "reader@fleet.example"},
    "misdirected": READER | {"aud": ["another program"], "azp": "fleetwear"},
    "expired": READER | {"exp": int(time.time()) - 3600},
    "impostor": READER | {"iss": "https://elsewhere.example"},
    "yesterday": READER | {"iat": int(time.time()) - 86_400},
}
SECRET = "a secret of the tests, long enough to be taken"


def sign_in_file(folder: Path, *, port: int, provider: str) -> Path:
    file = folder / "sign_in.toml"
    file.write_text(
        f'[auth]\nredirect_uri = "http://localhost:{port}/oauth2callback"\ncookie_secret = "{SECRET}"\n'
        f'client_id = "fleetwear"\nclient_secret = "said"\n'
        f'server_metadata_url = "{provider}/.well-known/openid-configuration"\n'
    )
    file.chmod(0o600)
    return file


@contextmanager
def provider():
    """Serve a provider on this machine; it signs whatever it is asked to sign."""
    mock = pytest.importorskip("oidc_provider_mock")
    os.environ["AUTHLIB_INSECURE_TRANSPORT"] = "1"  # plain http, on this machine only
    try:
        users = [mock.User(sub=sub, claims=claims) for sub, claims in USERS.items()]
        with mock.run_server_in_thread(user_claims=users) as server:
            yield f"http://localhost:{server.server_port}"
    finally:
        os.environ.pop("AUTHLIB_INSECURE_TRANSPORT", None)


@contextmanager
def guarded(store: Path, folder: Path, at: str):
    """Serve the dashboard behind a provider."""
    port = free_port()
    (folder / "roles.toml").write_text(ROLES)
    sign_in = read_sign_in(sign_in_file(folder, port=port, provider=at))
    log = folder / "log.txt"
    with served(store, log=log, port=port, sign_in=sign_in, roles=folder / "roles.toml"):
        yield f"http://localhost:{port}", log


@pytest.fixture(scope="module")
def guard(chromium, tmp_path_factory):
    """Serve an empty store, and give its address and log."""
    folder = tmp_path_factory.mktemp("door")
    with provider() as at, guarded(folder / "store", folder, at) as (where, log):
        yield where, log


@pytest.fixture
def door(guard):
    return guard[0]


@pytest.fixture
def visitor(chromium):
    context = chromium.new_context()
    yield context.new_page()
    context.close()


def settle(page):
    page.set_default_timeout(20_000)
    settle_page(page)


INSIDE = "There is no forecast to show yet"
"""What stands on a page of an empty store for whoever may read it."""


def main_text(page):
    return page.inner_text('[data-testid="stMain"]')


def enter(page, where, sub):
    page.goto(where)
    settle(page)
    page.get_by_role("button", name="Sign in").click()
    page.wait_for_url("**/oauth2/authorize**")
    page.get_by_role("button", name=sub, exact=True).click()
    page.wait_for_url(f"{where}/**")
    settle(page)


@pytest.mark.parametrize("path", ["/", "/vehicle?unit=V101", "/reading"])
def test_a_stranger_sees_nothing_but_the_way_in(visitor, door, path):
    visitor.goto(door + path)
    settle(visitor)
    said = main_text(visitor)
    assert "Sign in" in said
    assert INSIDE not in said


@pytest.mark.parametrize(
    ("sub", "roles"),
    [
        ("reader", "read"),
        ("recorder", "read, record"),
        ("corrector", "read, correct"),
        ("lead", "read, people"),
        ("grouped", "read, record"),
    ],
)
def test_each_role_comes_in_with_what_it_may(visitor, door, sub, roles):
    enter(visitor, door, sub)
    said = main_text(visitor)
    assert f"; roles: {roles}." in said
    assert INSIDE in said


def test_who_signs_out_is_out(visitor, door):
    enter(visitor, door, "reader")
    visitor.get_by_role("button", name="Sign out").click()
    visitor.wait_for_url("**/oauth2/end_session**")  # the provider is told, and sends back
    visitor.goto(door)
    settle(visitor)
    assert visitor.get_by_role("button", name="Sign in").count() == 1
    assert INSIDE not in main_text(visitor)


@pytest.mark.parametrize("sub", ["unknown", "unverified", "silent"])
def test_unknown_people_and_unverified_addresses_get_a_message_only(visitor, door, sub):
    enter(visitor, door, sub)
    said = main_text(visitor)
    assert "You may not go on: reading the pages needs the role read" in said
    assert "roles: none" in said
    assert INSIDE not in main_text(visitor)


def test_a_cookie_that_somebody_else_signed_is_not_believed(visitor, door):
    enter(visitor, door, "reader")
    cookies = visitor.context.cookies()
    forged = [
        cookie | {"value": cookie["value"][:-4] + ("AAAA" if not cookie["value"].endswith("AAAA") else "BBBB")}
        for cookie in cookies
        if cookie["name"] == "_streamlit_user"
    ]
    assert forged
    visitor.context.add_cookies(forged)
    visitor.goto(door)
    settle(visitor)
    assert INSIDE not in main_text(visitor)
    assert visitor.get_by_role("button", name="Sign in").count() == 1


@pytest.mark.parametrize(("sub", "claim"), [("expired", "exp"), ("impostor", "iss")])
def test_a_token_out_of_date_or_of_another_issuer_is_refused(visitor, guard, sub, claim):
    where, log = guard
    before = len(log.read_text(errors="replace"))
    enter(visitor, where, sub)
    assert visitor.get_by_role("button", name="Sign in").count() == 1
    assert INSIDE not in main_text(visitor)
    said = log.read_text(errors="replace")[before:]
    assert "OAuth token exchange failed" in said
    assert re.search(rf"expired|{claim}", said)


@pytest.mark.parametrize("sub", ["yesterday", "misdirected"])
def test_a_sign_in_of_yesterday_or_for_another_program_does_not_count(visitor, door, sub):
    enter(visitor, door, sub)
    assert visitor.get_by_role("button", name="Sign in").count() == 1
    assert INSIDE not in main_text(visitor)


def handshake(address, *, host, origin):
    """Return the status line with which the dashboard answers a WebSocket handshake."""
    name, port = address.removeprefix("http://").split(":")
    with socket.create_connection((name, int(port)), timeout=5) as line:
        line.sendall(
            f"GET /_stcore/stream HTTP/1.1\r\nHost: {host}\r\nOrigin: {origin}\r\nUpgrade: websocket\r\n"
            "Connection: Upgrade\r\nSec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==\r\nSec-WebSocket-Version: 13\r\n"
            "Sec-WebSocket-Protocol: streamlit\r\n\r\n".encode()
        )
        return line.recv(200).split(b"\r\n")[0].decode()


def test_an_open_dashboard_is_reached_by_the_names_of_this_machine_only(tmp_path):
    with served(tmp_path / "store", log=tmp_path / "log.txt") as address:
        own = address.removeprefix("http://")
        assert "101" in handshake(address, host=own, origin=address)
        for host, origin in [
            ("fleet.example", "http://fleet.example"),  # a name that another site lets point here, or a forwarded one
            (own, "https://fleet.example"),  # a forwarder that names this machine, or another site's script
        ]:
            assert "403" in handshake(address, host=host, origin=origin)
