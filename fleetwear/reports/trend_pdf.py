"""A trend report as PDF, and the choice between PDF and HTML by the ending of a file's name."""

from __future__ import annotations

import json
from datetime import UTC
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING

from fleetwear.errors import InputError
from fleetwear.reports.looks import PRINT
from fleetwear.reports.trend_html import trend_html
from fleetwear.reports.trend_sheet import trend_sheet
from fleetwear.reports.trend_tables import write_bytes
from fleetwear.reports.vehicle_pdf import FONT

if TYPE_CHECKING:
    from pathlib import Path

    from fleetwear.reports.trend_tables import TrendUnits
    from fleetwear.trends import TrendAnswer

_WIDE_PX = 680
"""Of the chart of growth."""


def trend_pdf(answer: TrendAnswer, *, units: TrendUnits) -> bytes:
    """Return the report as PDF, pages of A4; the same answer gives the same bytes."""
    import typst

    data = trend_sheet(answer, units=units, width=_WIDE_PX, font=FONT) | {
        "font": FONT,
        "look": {name: getattr(PRINT, name) for name in ("ink", "muted", "rule", "accent")},
    }
    made: bytes = typst.compile(
        _template(),
        format="pdf",
        ignore_system_fonts=True,
        sys_inputs={"data": json.dumps(data, ensure_ascii=False, allow_nan=False)},
        timestamp=answer.trends.run.made_at.replace(microsecond=0, tzinfo=UTC),
    )
    return made


def write_trend_report(answer: TrendAnswer, path: Path, *, units: TrendUnits) -> None:
    """Write the report as HTML or PDF, by the ending of the file's name; a file that stands there is replaced.

    Raises
    ------
    InputError
        If the name ends in neither, or the file cannot be written.
    """
    ending = path.suffix.lower()
    if ending not in (".html", ".pdf"):
        raise InputError(f"{path.name} is neither .html nor .pdf", mend="Name the file trends.html or trends.pdf.")
    made = trend_pdf(answer, units=units) if ending == ".pdf" else trend_html(answer, units=units).encode()
    write_bytes(path, made)


@cache
def _template() -> bytes:
    return files("fleetwear.reports").joinpath("templates", "trends.typ").read_bytes()
