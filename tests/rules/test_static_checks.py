"""ruff and mypy are clean."""

import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).parents[2]


def run(*arguments: str) -> None:
    done = subprocess.run([sys.executable, "-m", *arguments], cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr


def test_ruff_finds_nothing() -> None:
    run("ruff", "check", "--no-cache", ".")


def test_code_is_formatted() -> None:
    run("ruff", "format", "--no-cache", "--check", ".")


def test_types_are_strict_and_right() -> None:
    run("mypy", "--cache-dir", "/dev/null")
