"""Who may do what: roles by verified address and by claim, sign-in where others can reach, and nothing by default."""

from __future__ import annotations

import contextlib
import io
import os
import shutil
import signal
import socket
import subprocess
import sys
import time
import zipfile

import pytest
import streamlit as st
from streamlit.testing.v1 import AppTest
from typer.testing import CliRunner

from dashboard import people
from dashboard.roles import ROLES, read_roles
from dashboard.serve import APP, ROLES_VARIABLE, SIGN_IN_VARIABLE, command, environment
from dashboard.sign_in import is_loopback, sign_in_for
from fleetwear import cli
from fleetwear.errors import InputError
from fleetwear.store.connection import connect

GOOD = {
    "redirect_uri": "https://wear.fleet.example/oauth2callback",
    "cookie_secret": "forty characters and more, made by chance",
    "client_id": "fleetwear",
    "client_secret": "said once",
    "server_metadata_url": "https://id.fleet.example/.well-known/openid-configuration",
}
ROLES_TEXT = """
[mail]
"Ana@Fleet.example" = ["record"]
"strauss@fleet.example" = ["people"]
"@fleet.example" = ["read"]
[claims.groups]
leads = ["people", "correct"]
"""


def write_sign_in(folder, *, mode=0o600, **changed):
    settings = GOOD | changed
    text = "[auth]\n" + "".join(f'{name} = "{value}"\n' for name, value in settings.items() if value is not None)
    file = folder / "sign_in.toml"
    file.write_text(text)
    file.chmod(mode)
    return file


@pytest.fixture
def roles(tmp_path):
    file = tmp_path / "roles.toml"
    file.write_text(ROLES_TEXT)
    return read_roles(file)


@pytest.mark.parametrize(
    ("claims", "held"),
    [
        ({"email": "ana@fleet.example", "email_verified": True}, {"read", "record"}),
        ({"email": "ANA@FLEET.EXAMPLE", "email_verified": True}, {"read", "record"}),
        ({"email": "bo@fleet.example", "email_verified": True}, {"read"}),
        ({"email": "ana@fleet.example", "email_verified": False}, set()),
        ({"email": "ana@fleet.example", "email_verified": "true"}, set()),
        ({"email": "ana@fleet.example"}, set()),
        ({"email": "ana@fleet.example@elsewhere.example", "email_verified": True}, set()),
        ({"email": "bo@notfleet.example", "email_verified": True}, set()),
        ({"email": ["ana@fleet.example"], "email_verified": True}, set()),
        ({"email": "strau\u00df@fleet.example", "email_verified": True}, {"read"}),  # another mailbox than strauss
        ({"email": "\u017ftrauss@fleet.example", "email_verified": True}, {"read"}),
        ({"email": "strauss@fleet.example", "email_verified": True}, {"read", "people"}),
        ({"email": "x@\ufb02eet.example", "email_verified": True}, set()),
        ({"groups": ["leads", "others"]}, {"read", "people", "correct"}),
        ({"groups": "leads"}, {"read", "people", "correct"}),
        ({"groups": "leads and more"}, set()),
        ({}, set()),
    ],
)
def test_roles_of_what_a_provider_claims(roles, claims, held):
    assert roles.of(claims) == held


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ('[mail]\n"a@b.example" = ["reed"]', "Did you mean 'read'"),
        ('[mail]\n"a@b.example" = "read"', "not a list of roles"),
        ('[mail]\nanybody = ["read"]', "no e-mail address"),
        ('[mails]\n"a@b.example" = ["read"]', "no section [mails]"),
        ("[mail", "cannot be read"),
        ("mail = 3", "not a section"),
        ('[claims.email]\n"a@b.example" = ["read"]', "has verified"),
    ],
)
def test_a_roles_file_that_says_something_else_is_refused(tmp_path, text, words):
    file = tmp_path / "roles.toml"
    file.write_text(text)
    with pytest.raises(InputError) as caught:
        read_roles(file)
    assert words in str(caught.value)


@pytest.mark.parametrize(
    ("address", "here"),
    [("127.0.0.1", True), ("127.9.9.9", True), ("::1", True), ("localhost", True), ("0.0.0.0", False), ("::", False),
     ("10.0.0.5", False), ("wear.fleet.example", False), ("", False), (None, False)],
)  # fmt: skip
def test_loopback_is_told_from_the_rest(address, here):
    assert is_loopback(address) == here


def test_loopback_needs_no_sign_in_and_anything_else_does(tmp_path):
    assert sign_in_for(tmp_path, address="127.0.0.1") is None
    with pytest.raises(InputError, match="everybody must sign in") as caught:
        sign_in_for(tmp_path, address="0.0.0.0")
    assert "redirect_uri" in caught.value.mend
    write_sign_in(tmp_path)
    for address in ("0.0.0.0", "127.0.0.1"):  # a file that is there is obeyed behind a forwarder on this machine too
        found = sign_in_for(tmp_path, address=address)
        assert found is not None
        assert (found.origin, found.host) == ("https://wear.fleet.example", "wear.fleet.example")


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"client_secret": None}, "lacks client_secret"),
        ({"cookie_secret": "short"}, "could be guessed"),
        ({"redirect_uri": "https://wear.fleet.example/"}, "does not end in"),
        ({"redirect_uri": "http://wear.fleet.example/oauth2callback"}, "not https"),
        ({"server_metadata_url": "http://id.fleet.example/x"}, "not https"),
        ({"mode": 0o644}, "others on this machine may read"),
    ],
)
def test_a_sign_in_file_that_cannot_be_relied_on_is_refused(tmp_path, changed, words):
    write_sign_in(tmp_path, **changed)
    with pytest.raises(InputError, match=words):
        sign_in_for(tmp_path, address="0.0.0.0")


def test_the_command_does_not_start_for_others_without_sign_in_and_roles(tmp_path, monkeypatch):
    started = []
    monkeypatch.setattr(subprocess, "run", lambda *arguments, **options: started.append(arguments))
    asked = ["dashboard", "--address", "0.0.0.0", "--store", str(tmp_path)]
    for words in ("everybody must sign in", "roles file cannot be read"):
        done = CliRunner().invoke(cli.app, asked)
        assert isinstance(done.exception, InputError)
        assert words in str(done.exception)
        write_sign_in(tmp_path)
    assert started == []


def test_a_port_that_is_taken_is_told_before_anything_is_started(tmp_path, monkeypatch):
    started = []
    monkeypatch.setattr(subprocess, "run", lambda *arguments, **options: started.append(arguments))
    with socket.create_server(("127.0.0.1", 0)) as taken:
        asked = ["dashboard", "--store", str(tmp_path), "--port", str(taken.getsockname()[1])]
        done = CliRunner().invoke(cli.app, asked)
    assert isinstance(done.exception, InputError)
    assert "cannot be listened on" in str(done.exception)
    assert "choose another port with --port" in done.exception.mend
    assert started == []


def test_the_server_is_told_to_keep_strangers_out(tmp_path):
    plain = command(tmp_path, port=8501)
    for setting in (
        "server.address=127.0.0.1", "server.enableXsrfProtection=true", "server.enableCORS=true",
        "server.maxUploadSize=20", "browser.gatherUsageStats=false", "server.fileWatcherType=none",
        "server.enableAgentApi=false", "server.trustedUserHeaders={}", "server.enableStaticServing=false",
        "client.showErrorDetails=none",
    ):  # fmt: skip
        assert f"--{setting}" in plain
    hosts = [flag.partition("=")[2] for flag in plain if flag.startswith("--server.allowedHosts=")]
    assert hosts == ["localhost", "127.0.0.1", "::1"]
    write_sign_in(tmp_path)
    sign_in = sign_in_for(tmp_path, address="0.0.0.0")
    served = command(tmp_path, port=8501, address="0.0.0.0", sign_in=sign_in)
    assert "--server.allowedHosts=wear.fleet.example" in served
    assert "--server.corsAllowedOrigins=https://wear.fleet.example" in served
    assert not any("said once" in part or "forty characters" in part for part in served)


def test_the_environment_of_another_dashboard_is_not_passed_on(tmp_path, monkeypatch):
    monkeypatch.setenv(SIGN_IN_VARIABLE, "demanded")
    monkeypatch.setenv(ROLES_VARIABLE, "/elsewhere")
    assert not {SIGN_IN_VARIABLE, ROLES_VARIABLE} & environment(tmp_path).keys()


@pytest.mark.parametrize(
    ("changed", "believed"),
    [({}, True), ({"aud": ["other", "fleetwear"]}, True), ({"aud": "other"}, False), ({"aud": ["other"]}, False),
     ({"aud": "fleetwear and more"}, False), ({"aud": None}, False), ({"iat": None}, False),
     ({"iat": 1_000_000 - 13 * 3600}, False)],
)  # fmt: skip
def test_a_sign_in_counts_for_this_program_and_half_a_day(changed, believed):
    claims = {"aud": "fleetwear", "iat": 1_000_000 - 3600} | changed
    assert people.counts(claims, client="fleetwear", now=1_000_000.0) == believed


@pytest.fixture
def page(monkeypatch, tmp_path, demo_store):
    """Return a function that runs the first page for somebody of whom these claims are made."""
    (tmp_path / "roles.toml").write_text(ROLES_TEXT)
    monkeypatch.setenv("FLEETWEAR_STORE", str(demo_store.folder))
    monkeypatch.setenv(ROLES_VARIABLE, str(tmp_path / "roles.toml"))

    def run(claims, *, demanded=True):
        monkeypatch.setattr(people, "_claims", lambda: claims)
        if demanded:
            monkeypatch.setenv(SIGN_IN_VARIABLE, "demanded")
        app = AppTest.from_file(str(APP), default_timeout=60)
        app.run()
        assert not app.exception
        return "\n".join(element.proto.body for element in app.get("html"))

    return run


def test_a_page_is_written_for_readers_only(page):
    assert "<table" not in page(None)
    assert "needs the role read" in page({"email": "x@elsewhere.example", "email_verified": True})
    assert "<table" in page({"email": "bo@fleet.example", "email_verified": True})


def test_nobody_may_anything_while_the_roles_file_is_broken(page, tmp_path):
    (tmp_path / "roles.toml").write_text("[mail")
    said = page({"email": "bo@fleet.example", "email_verified": True})
    assert "roles file cannot be read" in said
    assert "<table" not in said


def test_a_stranger_is_not_told_what_a_broken_roles_file_says_nor_where_it_lies(page, tmp_path, caplog):
    (tmp_path / "roles.toml").write_text('[mail]\n"chief@fleet.example" = ["reed"]\n')
    said = page({"email": "x@elsewhere.example", "email_verified": True})
    assert "roles file cannot be read" in said
    assert "chief@fleet.example" not in said
    assert str(tmp_path) not in said
    assert "chief@fleet.example" in caplog.text


def test_who_signs_in_is_not_told_where_the_store_lies(page, monkeypatch, tmp_path, demo_store):
    folder = tmp_path / "store"
    shutil.copytree(demo_store.folder / "snapshots", folder / "snapshots")
    for file in (folder / "snapshots").glob("*.duckdb"):
        file.unlink()
    monkeypatch.setenv("FLEETWEAR_STORE", str(folder))
    said = page({"email": "bo@fleet.example", "email_verified": True})
    assert "snapshot cannot be opened" in said
    assert str(tmp_path) not in said
    monkeypatch.delenv(SIGN_IN_VARIABLE)
    assert str(folder) in page(None, demanded=False)


def test_this_machines_user_may_everything(monkeypatch):
    monkeypatch.delenv(SIGN_IN_VARIABLE, raising=False)
    assert people.who().roles == set(ROLES)
    assert people.may("correct")


def test_the_pages_run_under_a_launcher_that_asks_nobody_for_this_machines_address():
    done = subprocess.run(
        [sys.executable, "-c", "import dashboard.__main__ as m; from streamlit import net_util as n;"
         "print(n.get_external_ip(), n.get_internal_ip())"],
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    assert done.stdout.split() == ["None", "None"]


NAMELESS = "Q. Nobody-of-All"
"""A technician whom no other text can be taken for."""


@pytest.fixture(scope="module")
def named_store(demo_store, tmp_path_factory):
    """Return a copy of the demo's snapshot in which every visit was read by one technician."""
    folder = tmp_path_factory.mktemp("named") / "store"
    shutil.copytree(demo_store.folder / "snapshots", folder / "snapshots")
    con = connect(max((folder / "snapshots").glob("*.duckdb")), read_only=False)
    for table in ("main.visits", "known.known_visits"):
        con.execute(f"update {table} set technician = $name", {"name": NAMELESS})
    con.close()
    return folder


def seen_of(monkeypatch, folder, task, email):
    """Return all that a page shows and offers to whoever has this address, files included."""
    monkeypatch.setenv("FLEETWEAR_STORE", str(folder))
    monkeypatch.setenv(SIGN_IN_VARIABLE, "demanded")
    monkeypatch.setattr(people, "_claims", lambda: {"email": email, "email_verified": True, "iat": time.time()})
    files = []

    def offered(label, data, *rest, **options):
        files.append(data() if callable(data) else data)
        return False

    monkeypatch.setattr(st, "download_button", offered)
    script = f"from dashboard.messages import told_calmly\nfrom dashboard.tasks import {task}\n"
    app = AppTest.from_string(f"{script}with told_calmly():\n    {task}.show()\n", default_timeout=120)
    app.query_params["unit"] = "V101"
    app.session_state["export_tables"] = ["visits"]
    app.run()
    assert not app.exception
    shown = [*(one.proto.body for one in app.get("html")), *(one.value for one in app.markdown)]
    return "\n".join([*shown, *(text_of(file) for file in files)])


def text_of(file):
    """Return the text of a file, that of a zip archive's members together."""
    if isinstance(file, str) or not zipfile.is_zipfile(io.BytesIO(file)):
        return file if isinstance(file, str) else file.decode(errors="replace")
    with zipfile.ZipFile(io.BytesIO(file)) as archive:
        return "\n".join(archive.read(name).decode(errors="replace") for name in archive.namelist())


@pytest.mark.parametrize("task", ["one_vehicle", "taking_away"])
def test_technicians_are_named_to_those_alone_who_may_see_them(monkeypatch, tmp_path, named_store, task):
    (tmp_path / "roles.toml").write_text('[mail]\n"a@b.example" = ["read"]\n"lead@b.example" = ["people"]\n')
    monkeypatch.setenv(ROLES_VARIABLE, str(tmp_path / "roles.toml"))
    assert NAMELESS in seen_of(monkeypatch, named_store, task, "lead@b.example")
    assert NAMELESS not in seen_of(monkeypatch, named_store, task, "a@b.example")


@pytest.mark.parametrize("change", ["hours", "role", "broken file"])
def test_a_page_that_was_left_open_gives_no_file_to_who_may_no_more(monkeypatch, tmp_path, change):
    file = tmp_path / "roles.toml"
    file.write_text(ROLES_TEXT)
    monkeypatch.setenv(ROLES_VARIABLE, str(file))
    monkeypatch.setenv(SIGN_IN_VARIABLE, "demanded")
    claims = {"email": "ana@fleet.example", "email_verified": True, "iat": time.time()}
    monkeypatch.setattr(people, "_claims", lambda: claims)
    make = people.still(lambda: b"file")
    assert make() == b"file"
    if change == "hours":
        later = time.time() + 13 * 3600
        monkeypatch.setattr(time, "time", lambda: later)
    else:
        file.write_text('[mail]\n"ana@fleet.example" = ["read"]\n' if change == "role" else "[mail")
    with pytest.raises((people.Refused, InputError)):
        make()


def test_every_file_that_is_made_when_asked_for_asks_who_is_here():
    offered = {file.name for file in APP.parent.rglob("*.py") if "st.download_button(" in file.read_text()}
    assert offered == {"downloads.py", "messages.py"}  # the latter offers blank templates, to everybody


def test_the_server_ends_with_the_command_that_began_it(tmp_path):
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]

    def is_answered():
        with socket.socket() as line:
            return line.connect_ex(("127.0.0.1", port)) == 0

    def wait_until(wanted):
        until = time.monotonic() + 30.0
        while is_answered() != wanted and time.monotonic() < until:
            time.sleep(0.1)
        return is_answered() == wanted

    begin = "from fleetwear.cli import main; main()"
    asked = ["dashboard", "--port", str(port), "--store", str(tmp_path)]
    asked = [sys.executable, "-c", begin, *asked]
    with subprocess.Popen(asked, stderr=subprocess.DEVNULL, start_new_session=True) as began:
        try:
            assert wait_until(True)
            began.terminate()
            began.wait(timeout=20)
            assert wait_until(False)
        finally:
            with contextlib.suppress(ProcessLookupError):
                os.killpg(began.pid, signal.SIGKILL)
