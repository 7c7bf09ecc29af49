"""A vehicle's maintenance record as a table, as CSV, and as pages to print."""

from __future__ import annotations

import json
from datetime import UTC
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING, get_args

import pandas as pd

from fleetwear import __version__
from fleetwear.errors import InputError
from fleetwear.planning.maintenance import BUSES, NOTES
from fleetwear.planning.retention import RULE, keep_through
from fleetwear.planning.wording import say_distance
from fleetwear.reports.flag_files import to_csv
from fleetwear.reports.looks import PRINT
from fleetwear.reports.page_text import plain
from fleetwear.reports.vehicle_pdf import FONT, PAPERS, Paper
from fleetwear.vocabulary import CAUTION

if TYPE_CHECKING:
    from pathlib import Path

    from fleetwear.planning.maintenance import MaintenanceRecord

_COLUMNS = ["part", "paragraph", "date", "odometer_km", "nature", "what", "by", "keep_through"]
_LONGEST = 3000
"""Characters of one entry on the printed pages; CSV holds all of them."""


def record_table(record: MaintenanceRecord) -> pd.DataFrame:
    """Return one row a field, an operation due, an entry done and a rule, each with its paragraph of the law."""
    rows: list[dict[str, object]] = []

    def add(part: str, paragraph: str, **cells: object) -> None:
        rows.append({"part": part, "paragraph": f"49 CFR 396.3{paragraph}"} | cells)

    for field in record.identification:
        add("identification", "(b)(1)", nature=field.name, what=field.shown)
    for due in record.due:
        add("due", "(b)(2)", date=_iso(due.by), odometer_km=_round(due.odometer_km), nature=due.nature,
            what=f"{due.what} (due {due.when})")  # fmt: skip
    for done in record.done:
        kept = keep_through(done.day, record.left).isoformat()
        add("done", "(b)(3)", date=done.day.isoformat(), odometer_km=_round(done.odometer_km), nature=done.nature,
            what=done.what, by=done.by or None, keep_through=kept)  # fmt: skip
    add("bus exits", "(b)(4)", nature="Not kept here", what=BUSES)
    add("retention", "(c)", nature="Left the motor carrier's control", what=say_left(record), date=_iso(record.left))
    add("retention", "(c)", nature="Keep this record", what=say_kept(record), keep_through=_iso(record.keep_through))
    frame = pd.DataFrame(rows, columns=_COLUMNS)
    run = record.vehicle.run
    frame.insert(0, "unit", str(record.vehicle.vehicle["unit"]))
    return frame.assign(
        as_of=run.as_of.isoformat(),
        forecast_number=run.forecast_id,
        fit_number=run.fit_id,
        program_version=__version__,
    )


def say_left(record: MaintenanceRecord) -> str:
    """Return when the vehicle left, in words."""
    return "not on record" if record.left is None else record.left.isoformat()


def say_kept(record: MaintenanceRecord) -> str:
    """Return how long the record is kept, in words, with the rule."""
    last = record.keep_through
    if last is None:
        said = "There is no entry yet from which to count."
    elif record.left is None:
        said = f"At least through {last}, and for 6 months after the vehicle leaves, a day that is not on record."
    else:
        said = f"Through {last}."
    return f"{said} {RULE}"


def record_csv(record: MaintenanceRecord) -> bytes:
    """Return the record as CSV, with what is said of it in the last rows."""
    table = record_table(record)
    common = {
        name: table[name].iloc[0] for name in ("unit", "as_of", "forecast_number", "fit_number", "program_version")
    }
    notes = pd.DataFrame([{"part": "note", "what": text} | common for text in (*NOTES, CAUTION)], columns=table.columns)
    return to_csv(pd.concat([table.astype(object), notes.astype(object)], ignore_index=True))


def record_pdf(record: MaintenanceRecord, *, paper: Paper = "letter") -> bytes:
    """Return the record as PDF, as many pages as it takes, in the vehicle's own units.

    Raises
    ------
    InputError
        If the paper is not known.
    """
    if paper not in get_args(Paper):
        raise InputError(f"paper {paper!r}", mend=f"Choose one of: {', '.join(get_args(Paper))}.")
    import typst

    run = record.vehicle.run
    data = _words(record) | {
        "paper": PAPERS[paper],
        "font": FONT,
        "look": {name: getattr(PRINT, name) for name in ("ink", "muted", "rule", "accent")},
    }
    made: bytes = typst.compile(
        _template(),
        format="pdf",
        ignore_system_fonts=True,
        sys_inputs={"data": json.dumps(data, ensure_ascii=False, allow_nan=False)},
        timestamp=run.made_at.replace(microsecond=0, tzinfo=UTC),
    )
    return made


def write_record(record: MaintenanceRecord, path: Path, *, paper: Paper = "letter") -> None:
    """Write the record as PDF or CSV, by the ending of the file's name; a file that stands there is replaced.

    Raises
    ------
    InputError
        If the name ends in neither, or the file cannot be written.
    """
    ending = path.suffix.lower()
    if ending not in (".pdf", ".csv"):
        raise InputError(f"{path.name} is neither .pdf nor .csv", mend="Name the file record.pdf or record.csv.")
    data = record_pdf(record, paper=paper) if ending == ".pdf" else record_csv(record)
    try:
        path.write_bytes(data)
    except OSError as error:
        raise InputError(
            f"the file cannot be written: {error}", where=str(path), mend="Choose another place."
        ) from error


def _words(record: MaintenanceRecord) -> dict[str, object]:
    run, vehicle = record.vehicle.run, record.vehicle.vehicle
    unit = str(vehicle["distance_unit"])

    def distance(km: float | None) -> str:
        return say_distance(km, unit) if km is not None else ""

    made = f"forecast {run.forecast_id}, fit {run.fit_id}, fleetwear {__version__}"
    return {
        "unit": plain(vehicle["unit"], 24),
        "forecast": f"As of {run.as_of:%Y-%m-%d}, {made}",
        "identification": [[field.name, plain(field.shown, 60)] for field in record.identification],
        "due": [[plain(due.when, 60), due.nature, plain(due.what, 600)] for due in record.due],
        "done": [
            [done.day.isoformat(), distance(done.odometer_km), done.nature, plain(done.what, _LONGEST),
             plain(done.by, 60), keep_through(done.day, record.left).isoformat()]
            for done in record.done
        ],
        "buses": BUSES,
        "left": say_left(record),
        "kept": say_kept(record),
        "kept_head": "Keep through" if record.left is not None else "Keep at least through",
        "notes": list(NOTES),
        "caution": CAUTION,
    }  # fmt: skip


def _iso(day: object) -> str | None:
    return None if day is None else str(day)


def _round(km: float | None) -> float | None:
    return None if km is None else round(km, 1)


@cache
def _template() -> bytes:
    return files("fleetwear.reports").joinpath("templates", "maintenance.typ").read_bytes()
