"""Timing, tables, and what is said of the machine."""

from __future__ import annotations

import os
import platform
import subprocess
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass
from importlib.metadata import version
from pathlib import Path
from typing import Any

import numpy as np


@dataclass(frozen=True)
class Timed:
    """Seconds of each run, and what the last one gave."""

    seconds: list[float]
    found: Any

    @property
    def median(self) -> float:
        return float(np.median(self.seconds))


def timed(run: Callable[[], Any], runs: int, *, for_seconds: float = 0.0) -> Timed:
    """Time so many runs at least, and as many as fit into so many seconds: a short run tells only of its moment."""
    seconds: list[float] = []
    while len(seconds) < runs or sum(seconds) < for_seconds:
        began = time.perf_counter()
        found = run()
        seconds.append(time.perf_counter() - began)
    return Timed(seconds, found)


PEAK = """
import resource
from pathlib import Path
def peak():
    status = Path("/proc/self/status")
    if status.exists():
        return 1024 * next(int(line.split()[1]) for line in status.read_text().splitlines() if "VmHWM" in line)
    return 1024 * resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
"""
"""The most memory that a process has had, in bytes. What getrusage says on Linux is at least what its parent had."""


def child(code: str, *given: object) -> list[float]:
    """Run code, which may call peak(), in a process of its own, and return the numbers of its last line."""
    command = [sys.executable, "-c", PEAK + code, *map(str, given)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    if done.returncode:
        raise SystemExit(f"a timed process failed:\n{done.stderr}")
    return [float(each) for each in done.stdout.strip().splitlines()[-1].split()]


def said(seconds: float) -> str:
    if seconds < 0.0995:
        return f"{1000.0 * seconds:.1f} ms"
    return f"{seconds:.3f} s" if seconds < 1.0 else f"{seconds:.1f} s"


def times(ratio: float) -> str:
    return f"{ratio:,.0f}" if ratio >= 10.0 else f"{ratio:.1f}" if ratio >= 1.0 else f"{ratio:.2f}"


def load_average() -> float:
    return os.getloadavg()[0] if hasattr(os, "getloadavg") else float("nan")


def machine() -> str:
    processor = platform.processor() or platform.machine()
    info = Path("/proc/cpuinfo")
    if info.exists():
        lines = info.read_text(encoding="utf-8").splitlines()
        found = [line.split(":")[1].strip() for line in lines if line.startswith("model name")]
        processor = found[0] if found else processor
    names = ["numpy", "scipy", "pandas", "statsmodels", "duckdb"]
    versions = ", ".join(f"{name} {version(name)}" for name in names)
    return f"{os.cpu_count()} cores ({processor}), Python {platform.python_version()}, {versions}"


def as_table(header: list[str], rows: list[list[str]]) -> str:
    lines = [header, ["---"] * len(header), *rows]
    return "\n".join("| " + " | ".join(line) + " |" for line in lines)


def show(row: list[str]) -> None:
    """Say a row of a table as soon as it is known."""
    print("  ".join(f"{cell:>16}" for cell in row), flush=True)
