"""The documents are true: top-level entries, commands, options, and nothing that names a machine."""

import re
import subprocess
import tomllib
from pathlib import Path

import pytest
import typer.main
from typer.testing import CliRunner

from fleetwear.cli import app

ROOT = Path(__file__).parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")
COMMANDS = typer.main.get_command(app).commands  # type: ignore[attr-defined]
WITHOUT_STORE = {"forecast-partitions", "study", "templates"}
"""The commands that neither read nor write a store."""
TOP = {
    "README.md",
    "DEVELOPERS.md",
    "pyproject.toml",
    "fleetwear",
    "dashboard",
    "pipelines",
    "tests",
    "demo_fleet",
}


def tracked() -> list[str]:
    """Return the files that git tracks, or all files where this is no git checkout."""
    listed = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=False)
    if listed.returncode == 0 and listed.stdout:
        return listed.stdout.splitlines()
    skipped = {".venv", "home", "__pycache__", ".mypy_cache", ".ruff_cache", ".hypothesis"}
    return [
        str(path.relative_to(ROOT))
        for path in ROOT.rglob("*")
        if path.is_file() and not skipped & set(path.relative_to(ROOT).parts)
    ]


def test_top_level_is_exactly_what_was_agreed() -> None:
    visible = {name.split("/")[0] for name in tracked()}
    assert {name for name in visible if not name.startswith(".")} == TOP


@pytest.mark.parametrize("name", sorted(COMMANDS))
def test_every_command_is_documented_with_an_example(name: str) -> None:
    assert re.search(rf"`fleetwear {name}[ `]", README), f"README does not list fleetwear {name}"
    shown = CliRunner().invoke(app, [name, "--help"])
    assert shown.exit_code == 0
    text = " ".join(shown.output.split())
    assert f"Example: fleetwear {name}" in text
    assert ("--store" in text) == (name not in WITHOUT_STORE)


def test_every_documented_command_exists() -> None:
    for name in re.findall(r"`fleetwear ([a-z][a-z-]*)", README):
        assert name in COMMANDS


def test_documented_options_exist() -> None:
    for name, row in re.findall(r"^\| `fleetwear ([a-z][a-z-]*)[^|]*\|(.*)\|$", README, flags=re.MULTILINE):
        known = {option for param in COMMANDS[name].params for option in param.opts}
        for option in re.findall(r"`(--[a-z-]+)", row):
            assert option in known, f"{name} has no {option}"


def test_the_job_stands_in_the_first_paragraph() -> None:
    assert README.startswith("# fleetwear\n\nA workshop")


def test_documents_quote_the_settings_that_the_code_has() -> None:
    from fleetwear.forecast import Settings
    from fleetwear.store.known import ASSUMED_KM_PER_DAY

    standard = Settings()
    told = " ".join(README.split())
    assert f"threshold of {standard.none_seen_mm} mm and a softness of {standard.none_seen_softness_mm} mm" in told
    assert f"unseen {standard.cost_ratio:.0f} times as dear" in told
    assert f"it is {1 / (1 + standard.cost_ratio):.2f}" in told
    assert f"more than {standard.load_carrying_cap} for joints that carry load" in told
    assert f"{ASSUMED_KM_PER_DAY:.0f} km a day" in told


def test_outcomes_are_documented_in_order() -> None:
    from fleetwear.vocabulary import Outcome

    rows = re.findall(r"^\| ([^|`]+?) \|", README.split("Outcomes, the most pressing first:")[1], flags=re.MULTILINE)
    assert rows[1:9] == [str(outcome) for outcome in Outcome]


def test_every_documented_view_is_listed() -> None:
    from fleetwear.store.tidy import KEYS

    listed = set(re.findall(r"`tidy\.([a-z_]+)`", (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")))
    assert listed == {*KEYS, "dictionary"}


@pytest.mark.parametrize("name", ["run", "test"])
def test_every_locked_requirement_has_a_hash_and_no_host_is_named(name: str) -> None:
    text = (ROOT / ".locks" / f"{name}.txt").read_text(encoding="utf-8")
    assert "://" not in text
    assert not re.search(r"^\s*(-|git\+|.* @ )", text.replace("    --hash", ""), flags=re.MULTILINE)
    requirements = re.sub(r"\\\n\s*", " ", text).strip().splitlines()
    assert len(requirements) > 30
    for requirement in requirements:
        assert re.match(r"[a-z0-9][\w.-]*==\S+", requirement), requirement
        assert re.search(r" --hash=sha256:[0-9a-f]{64}", requirement), requirement


def test_every_dependency_is_locked() -> None:
    settings = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    for name, wanted in (
        ("run", settings["dependencies"]),
        ("test", settings["dependencies"] + settings["optional-dependencies"]["test"]),
    ):
        locked = re.findall(r"^([\w.-]+)==", (ROOT / ".locks" / f"{name}.txt").read_text(), flags=re.MULTILINE)
        for requirement in wanted:
            bare = re.match(r"[\w.-]+", requirement)
            assert bare is not None
            assert bare[0].lower() in locked


def test_documents_quote_the_truth_bench() -> None:
    """Shares of the best possible skill, lowest and highest, of fleets of 400 parts and of 30."""
    results = (ROOT / "tests/benchmarks/truth/results.md").read_text(encoding="utf-8")
    shares = {
        name: float(share)
        for name, share in re.findall(r"^## (\S+)$.*?^\| auto \| ([\d.]+)", results, flags=re.MULTILINE | re.DOTALL)
    }
    of_shops = shares.pop("shops-steady")  # told apart: the share without and with variances from visits
    from_visits = re.search(r"^## shops-steady$.*?^\| auto, variance from visits \| ([\d.]+)", results, re.M | re.S)
    assert from_visits is not None
    shares = {name: share for name, share in shares.items() if "shops" not in name}
    assert len(shares) >= 14
    small = [share for name, share in shares.items() if name.startswith("small")]
    large = [share for name, share in shares.items() if not name.startswith("small")]
    told = " ".join(README.split())
    assert f"{min(large):.2f} to {max(large):.2f} of the skill that is possible at all with 400 parts" in told
    assert f"and {min(small):.2f} to {max(small):.2f} with 30" in told
    assert f"the share is {of_shops:.2f} if all readings count alike, and {float(from_visits[1]):.2f} with" in told


def test_documents_quote_the_timed_runs() -> None:
    """Loading and the straight fit, with their peers, as the timed runs have them."""
    results = (ROOT / "tests/benchmarks/results.md").read_text(encoding="utf-8")
    told = " ".join(README.split())
    load = re.search(
        r"^\| 1,000,000 \| \d+ MB \| ([^|]+) \| ([^|]+) \|.*\| ([\d.]+ GiB) \|$", results, flags=re.MULTILINE
    )
    assert load is not None
    ours, theirs, memory = load[1], load[2], load[3]
    assert (
        f"a million readings load, checked, in {ours} (DuckDB's own read of that file, which checks nothing: {theirs})"
        in told
    )
    assert f"with {memory}." in told
    sums = re.search(r"^\| 1,000,000 \| 5,000,000 \| ([^|]+) \| ([^|]+) \|", results, flags=re.MULTILINE)
    assert sums is not None
    assert f"is fitted from its sums in {sums[2]} (the GROUP BY that makes them: {sums[1]})" in told
    for lives, peer in (("10,000", "MixedLM"), ("100,000", "lme4 [^|]+")):
        row = re.search(
            rf"^\| {lives} \|.*?^\|  \|  \| {peer} \|[^|]+\|[^|]+\|[^|]+\| ([\d,]+) \|",
            results,
            flags=re.MULTILINE | re.DOTALL,
        )
        assert row is not None
        assert f"{lives} lives" in told
        assert f"{row[1]} times as fast" in told
