"""Timed runs beside peers on the same data in the same run: ``python tests/benchmarks/run.py``.

    python tests/benchmarks/run.py                     every section, about a quarter of an hour
    python tests/benchmarks/run.py --only fit,sums     some of them; what others gave before is kept
    python tests/benchmarks/run.py --quick             without the large cases
    python tests/benchmarks/run.py --only forecast,backtest --vehicles 1000

Prints rows as they come. Each section is a file in ``sections/``, with when it was run and how busy the machine was;
``results.md`` puts them together. Nothing passes or fails on seconds: what matters are the ratios, and whether the
estimates agree. R's lme4 is timed where Rscript and lme4 are installed.
"""

from __future__ import annotations

import argparse
import sys
import warnings
from collections.abc import Callable
from datetime import datetime
from pathlib import Path

import fitting
import loading
import summing
import whole
from timing import load_average, machine

HERE = Path(__file__).parent
SECTIONS = {
    "fit": "Straight fits beside MixedLM and lme4",
    "sums": "From the sums, beside the GROUP BY that makes them",
    "curves": "How time and memory grow",
    "shapes": "What other shapes cost",
    "load": "Loading a file",
    "forecast": "Fit, forecast and publish",
    "backtest": "Backtest",
}


def keep(name: str, text: str, folder: Path) -> None:
    """Keep a section, and put all that are there together."""
    sections = folder / "sections"
    sections.mkdir(exist_ok=True)
    (sections / f"{name}.md").write_text(text, encoding="utf-8")
    kept = [sections / f"{each}.md" for each in SECTIONS]
    whole_text = "\n".join(path.read_text(encoding="utf-8") for path in kept if path.exists())
    (folder / "results.md").write_text(
        f"""# Timed runs

Written by `python tests/benchmarks/run.py`; each section says when it was run and how busy the machine was. Where other
programs shared the machine, seconds are orders of magnitude; ratios are of medians of one run.

{whole_text}""",
        encoding="utf-8",
    )


def wanted(text: str) -> list[str]:
    """Return the sections of a list with commas."""
    names = [name.strip() for name in text.split(",")]
    unknown = [name for name in names if name not in SECTIONS]
    if unknown:
        raise argparse.ArgumentTypeError(f"no section {', '.join(unknown)}; there are: {', '.join(SECTIONS)}")
    return names


def main(given: list[str] | None = None, *, folder: Path = HERE) -> int:
    parser = argparse.ArgumentParser(description="Time fleetwear beside its peers.")
    parser.add_argument("--only", type=wanted, default=list(SECTIONS), help=f"sections, of {','.join(SECTIONS)}")
    parser.add_argument("--quick", action="store_true", help="leave out the large cases")
    parser.add_argument("--vehicles", type=int, default=300, help="powered vehicles of forecast and backtest")
    options = parser.parse_args(given)
    warnings.simplefilter("ignore")
    sections: dict[str, Callable[[], str]] = {
        "fit": lambda: fitting.fit_section(quick=options.quick),
        "sums": lambda: summing.sums_section(quick=options.quick),
        "curves": lambda: summing.curves_section(quick=options.quick),
        "shapes": lambda: fitting.shapes_section(quick=options.quick),
        "load": lambda: loading.load_section(quick=options.quick),
        "forecast": lambda: whole.forecast_section(vehicles=options.vehicles),
        "backtest": lambda: whole.backtest_section(vehicles=options.vehicles),
    }
    for place, name in enumerate(options.only, start=1):
        print(f"{name} ({place} of {len(options.only)}): {SECTIONS[name]}", flush=True)
        began, busy = datetime.now(), load_average()
        text = sections[name]()
        minutes = (datetime.now() - began).total_seconds() / 60.0
        when = f"Run {began:%Y-%m-%d %H:%M}, {minutes:.1f} minutes"
        header = f"{when}; load average {busy:.1f} at the start and {load_average():.1f} at the end. {machine()}."
        keep(name, f"## {SECTIONS[name]}\n\n{header}\n\n{text}\n", folder)
        print(f"written to {folder.name}/results.md", flush=True)
    return 0


if __name__ == "__main__":
    sys.exit(main())
