"""A vehicle on one printed page, as PDF: its words, its joints in figures, and charts of the most pressing ones.

The page is set from data alone: words and charts are handed over as JSON and never become markup. The template
measures itself and takes the fullest layout that fits: fewer charts, then fewer rows. Fonts come with the typesetter,
so the same record gives the same bytes anywhere.
"""

from __future__ import annotations

import json
from datetime import UTC
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING, Literal, get_args

from fleetwear.errors import InputError
from fleetwear.reports.charts import play_chart
from fleetwear.reports.joint_history import joint_histories
from fleetwear.reports.looks import PRINT
from fleetwear.reports.page_text import plain
from fleetwear.reports.vehicle_sheet import vehicle_sheet
from fleetwear.vocabulary import Work

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from fleetwear.planning.vehicle import VehicleRecord
    from fleetwear.reports.joint_history import JointHistory

Paper = Literal["a4", "letter"]
PAPERS = {"a4": "a4", "letter": "us-letter"}
"""What the typesetter calls each paper."""

FONT = "Libertinus Serif"
"""The font of words and charts."""

_CHARTS = 4
_CHART_PX = (400, 112)


def vehicle_pdf(
    record: VehicleRecord, *, paper: Paper = "a4", histories: Sequence[JointHistory] | None = None
) -> bytes:
    """Return one page of a vehicle as PDF, in the vehicle's own units.

    Parameters
    ----------
    record
        The vehicle with its forecast and history.
    paper
        "a4" or "letter".
    histories
        Those of the vehicle's joints, the most pressing first, where they are at hand.

    Raises
    ------
    InputError
        If the paper is another.
    """
    if paper not in get_args(Paper):
        raise InputError(f"paper {paper!r}", mend=f"Choose one of: {', '.join(get_args(Paper))}.")
    import typst

    if histories is None:
        histories = joint_histories(record)
    data = vehicle_sheet(record, histories) | {
        "paper": PAPERS[paper],
        "font": FONT,
        "look": {name: getattr(PRINT, name) for name in ("ink", "muted", "rule", "tint", "accent")},
        "charts": [_chart(history) for history in [h for h in histories if h.is_read][:_CHARTS]],
    }
    made: bytes = typst.compile(
        _template(),
        format="pdf",
        ignore_system_fonts=True,
        sys_inputs={"data": json.dumps(data, ensure_ascii=False, allow_nan=False)},
        timestamp=record.run.made_at.replace(microsecond=0, tzinfo=UTC),
    )
    return made


def write_vehicle_pdf(record: VehicleRecord, path: Path, *, paper: Paper = "a4") -> None:
    """Write one page of a vehicle to a PDF file, which is replaced where there is one.

    Raises
    ------
    InputError
        If the name does not end in .pdf, the file cannot be written, or the paper is not known.
    """
    if path.suffix.lower() != ".pdf":
        raise InputError(f"{path.name} is not a .pdf file", mend="Give a name that ends in .pdf, such as vehicle.pdf.")
    made = vehicle_pdf(record, paper=paper)
    try:
        path.write_bytes(made)
    except OSError as error:
        raise InputError(
            f"the file cannot be written: {error}", where=str(path), mend="Choose another place."
        ) from error


@cache
def _template() -> bytes:
    return files("fleetwear.reports").joinpath("templates", "vehicle.typ").read_bytes()


def _chart(history: JointHistory) -> dict[str, str]:
    """Return a chart as SVG with its heading."""
    import vl_convert

    greased = history.events["label"].astype(str).str.startswith(str(Work.GREASED))
    bare = history.showing(readings=history.readings.assign(note=""), events=history.events[~greased])
    width, height = _CHART_PX
    spec = play_chart(bare, look=PRINT, width=width, height=height)
    spec["config"]["font"] = FONT
    return {
        "title": plain(history.title, 64),
        "outcome": str(history.fact["outcome"]).partition(";")[0],
        "svg": vl_convert.vegalite_to_svg(spec),
    }
