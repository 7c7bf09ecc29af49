"""The weeks ahead as a calendar file.

The format is iCalendar (RFC 5545); the library folds lines, escapes text and ends lines with CRLF. An event keeps its
UID from forecast to forecast, so that a calendar which reads the file again moves it.
"""

from __future__ import annotations

import hashlib
from datetime import UTC, date, datetime, timedelta
from typing import TYPE_CHECKING

import pandas as pd

from fleetwear.planning.wording import is_known, say_distance
from fleetwear.vocabulary import CAUTION

if TYPE_CHECKING:
    from collections.abc import Iterator

    from fleetwear.planning.ahead import Plan

_Event = tuple[str, date, str, str]
"""Key, day, summary, description."""


def to_calendar(plan: Plan) -> bytes:
    """Return the plan's days as an iCalendar file: vehicles that press, parts to order, checks before a service."""
    from icalendar import Calendar, Event

    run = plan.flags.run
    calendar = Calendar()
    calendar.add("prodid", "-//fleetwear//weeks ahead//EN")
    calendar.add("version", "2.0")
    calendar.add("method", "PUBLISH")
    stamp = run.made_at.replace(tzinfo=UTC) if isinstance(run.made_at, datetime) else datetime.now(UTC)
    for key, on, summary, description in sorted(_events(plan), key=lambda event: (event[1], event[0])):
        event = Event()
        event.add("uid", f"{hashlib.sha256(key.encode()).hexdigest()[:32]}@fleetwear")
        event.add("dtstamp", stamp)
        event.add("dtstart", on)
        event.add("dtend", on + timedelta(days=1))
        event.add("sequence", run.forecast_id)
        event.add("summary", summary)
        event.add("description", f"{description}\n{CAUTION}")
        event.add("transp", "TRANSPARENT")
        calendar.add_component(event)
    return bytes(calendar.to_ical())


def _events(plan: Plan) -> Iterator[_Event]:
    as_of = plan.flags.run.as_of
    tomorrow = as_of + timedelta(days=1)
    for row in plan.crossing.to_dict("records"):
        at_once = row["when"] == "at once"
        on = tomorrow if at_once else max(pd.Timestamp(str(row["next_service_date_50"])).date(), tomorrow)
        told = f"{row['unit']}: {row['joint']}, {row['outcome']}"
        yield f"press {row['unit']} {row['joint']}", on, told, f"{row['depot']}. {row['reason']}"
    for row in plan.orders[plan.orders["to_order"] > 0].to_dict("records"):
        on = max(row["order_by"], tomorrow) if is_known(row["order_by"]) else tomorrow
        told = f"Order {row['to_order']} of {row['part_number']} for {row['depot']}"
        yield f"order {row['part_number']} {row['depot']}", on, told, str(row["note"])
    last = plan.starts[-1] + timedelta(days=7)
    checks = plan.checks[plan.checks["before_service"] & (plan.checks["when"] == "by odometer and date")]
    for row in checks.to_dict("records"):
        on = row["check_date"]
        if on < last:
            by = say_distance(row["check_odometer"], str(row["distance_unit"]))
            told = f"{row['unit']}: check {row['joint']}"
            yield (
                f"check {row['unit']} {row['joint']}",
                on,
                told,
                f"{row['depot']}. By odometer {by}, before its service.",
            )
