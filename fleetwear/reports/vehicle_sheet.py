"""The words of a vehicle's page: everything that is printed of it, in its own units, as plain data."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fleetwear import __version__
from fleetwear.planning.outcomes import short_doubt
from fleetwear.planning.wording import begin_sentence, is_known, say_count, say_dates, say_distances, say_probability
from fleetwear.reports.page_text import plain
from fleetwear.reports.sheet_rows import heads, joint_row, more_rows
from fleetwear.reports.sheet_tasks import due, to_check, untested
from fleetwear.reports.sheet_visits import coverage, last_visits, symptoms, wheels
from fleetwear.reports.sheet_words import POINTS, ended, joint_title
from fleetwear.vocabulary import BAY_CAUTIONS, CAUTION

if TYPE_CHECKING:
    from collections.abc import Sequence

    import pandas as pd

    from fleetwear.planning.vehicle import VehicleRecord
    from fleetwear.reports.joint_history import JointHistory
    from fleetwear.reports.sheet_words import Sheet

_CAUTIONS = (
    CAUTION,
    *BAY_CAUTIONS[:-1],  # the last says of the page in the bay what the first says here
    "How the vehicle is raised, whether the joint is loaded or hanging, where the play is read and with what force are "
    "the maker's to say. Limits are entered by the shop, with their source.",
)


def vehicle_sheet(record: VehicleRecord, histories: Sequence[JointHistory]) -> Sheet:
    """Return the words of a vehicle's page.

    Parameters
    ----------
    record
        The vehicle with its forecast and history.
    histories
        Those of its joints, the most pressing first.
    """
    vehicle, run = record.vehicle, record.run
    return {
        "unit": plain(vehicle["unit"], 24),
        "model": plain(_joined((vehicle["make"], vehicle["model"], vehicle["model_year"]), " ", 30), 70),
        "identity": _identity(vehicle),
        "forecast": f"As of {run.as_of:%Y-%m-%d}, forecast number {run.forecast_id}, fleetwear {__version__}",
        "outcome": begin_sentence(str(vehicle["outcome"])),
        "reason": plain(vehicle["reason"], 460),
        "facts": _facts(record),
        "heads": heads(record),
        "joints": [joint_row(history, str(vehicle["distance_unit"])) for history in histories],
        "more": [more_rows(histories[shown:]) for shown in range(len(histories) + 1)],
        "due": due(record, histories),
        "check": to_check(histories),
        "untested": untested(histories),
        "coverage": coverage(record),
        "symptoms": symptoms(record),
        "wheels": wheels(record),
        "visits": last_visits(record, histories),
        "notes": _notes(record, histories),
        "cautions": list(_CAUTIONS),
    }


def _joined(values: Sequence[object], mark: str, longest: int) -> str:
    return mark.join(plain(value, longest) for value in values if is_known(value) and str(value))


def _identity(vehicle: pd.Series) -> str:
    pairs = (
        ("plate", vehicle["plate"], 16),
        ("VIN or serial number", vehicle["vin"], 24),
        ("depot", vehicle["depot"], 32),
        ("duty", vehicle["duty"], 24),
    )
    known = [f"{name} {plain(value, longest)}" for name, value, longest in pairs if is_known(value) and str(value)]
    missing = [name for name, value, _ in pairs[:3] if not is_known(value) or not str(value)]
    if missing:
        known.append(f"{' and '.join(missing)} not on record")
    return begin_sentence(", ".join(known))


def _meter(vehicle: pd.Series) -> str:
    return "Hub meter" if vehicle["distance_source"] == "hub meter" else "Odometer"


def _facts(record: VehicleRecord) -> list[list[str]]:
    vehicle, run = record.vehicle, record.run
    unit = str(vehicle["distance_unit"])
    dates = [vehicle[f"next_service_date_{point}"] for point in POINTS]
    then = [vehicle[f"next_service_odometer_{point}"] for point in POINTS]
    now = [vehicle[name] for name in ("odometer_now_lower", "odometer_now", "odometer_now_upper")]
    positions = record.joints["position_id"].nunique() if len(record.joints) else 0
    counted = f"counts {vehicle['joints_in_probability']} of {say_count(positions, 'joint', 'joints')}"
    overdue = ", overdue" if bool(vehicle["overdue"]) else ""
    meter = _meter(vehicle)
    shown = [[f"Next service (5 to 95 %){overdue}", say_dates(dates[0], dates[1], dates[2])]]
    if is_known(then[1]):
        shown.append([f"{meter} then (5 to 95 %)", say_distances(then[0], then[1], then[2], unit)])
    if is_known(now[1]):
        shown.append([f"{meter} on {run.as_of:%Y-%m-%d} (5 to 95 %)", say_distances(now[0], now[1], now[2], unit)])
    if not is_known(now[1]):
        shown.append(["Distance", "no odometer value: forecast on dates"])
    shown.append(["Any joint over its limit then", f"{say_probability(vehicle['p_any_over_next'])}; {counted}"])
    return shown


def _notes(record: VehicleRecord, histories: Sequence[JointHistory]) -> list[str]:
    """Return what the figures rest on."""
    years = record.run.settings.horizon_years
    notes = [
        "Growth is fitted to each part's own readings together with those of the fleet's parts of its kind. Over at "
        "next service is the probability that the play itself, not a reading of it, is over the limit then. Crossings "
        f"later than {years:g} years lie beyond the horizon. Any joint over counts the joints that have a limit and a "
        "model.",
    ]
    if record.vehicle["distance_note"]:
        notes.append(ended(begin_sentence(plain(record.vehicle["distance_note"], 200))))
    said = list(dict.fromkeys(str(h.fact["indicative"]) for h in histories if h.fact["indicative"]))
    notes += [ended(begin_sentence(plain(text, 170))) for text in said[:2]]
    doubts = list(dict.fromkeys(str(h.fact["doubt"]) for h in histories if h.fact["doubt"] and h.fact["n_visits"] > 0))
    notes += [ended(f"Read with care: {plain(short_doubt(text), 190)}") for text in doubts[:1]]
    paces = list(dict.fromkeys(h.pace for h in histories[:4] if h.pace))
    notes += [
        ended(f"{joint_title(h)}: {plain(h.pace, 150)}") for h in histories[:2] if h.pace in paces[:1] and h.pace
    ][:1]
    return notes
