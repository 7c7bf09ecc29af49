"""The words of a vehicle's page: everything that is printed of it, in its own units, as plain data."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pandas as pd

from fleetwear import __version__
from fleetwear.planning.outcomes import short_doubt
from fleetwear.planning.pressing import PRESSING
from fleetwear.planning.wording import (
    is_known,
    say_count,
    say_date,
    say_dates,
    say_distance,
    say_distances,
    say_growth,
    say_play,
    say_probability,
)
from fleetwear.reports.page_text import plain
from fleetwear.vocabulary import CAUTION, Outcome, Result

if TYPE_CHECKING:
    from collections.abc import Sequence

    from fleetwear.planning.vehicle import VehicleRecord
    from fleetwear.reports.joint_history import JointHistory

Sheet = dict[str, Any]
"""Texts, lists of texts and dictionaries of them, ready for JSON."""

_POINTS = ("05", "50", "95")
_VISITS = 3
_NAMED = 3
"""Joints that are named in one sentence before the rest are counted."""

_CAUTIONS = (
    CAUTION,
    "Work under a raised vehicle can kill: chock the wheels, set the parking brake, support the vehicle on stands at "
    "the maker's points, never on a jack alone, and keep hands clear of joints while a wheel is levered.",
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
        "outcome": _sentence(str(vehicle["outcome"])),
        "reason": plain(vehicle["reason"], 460),
        "facts": _facts(record),
        "heads": _heads(record),
        "joints": [_row(history, str(vehicle["distance_unit"])) for history in histories],
        "more": [_more(histories[shown:]) for shown in range(len(histories) + 1)],
        "due": _due(histories),
        "check": _check(histories),
        "untested": _untested(histories),
        "visits": _visits(record, histories),
        "notes": _notes(record, histories),
        "cautions": list(_CAUTIONS),
    }


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:]


def _joined(values: Sequence[object], mark: str, longest: int) -> str:
    return mark.join(plain(value, longest) for value in values if is_known(value) and str(value))


def _name(history: JointHistory) -> str:
    """Return the joint, cut where it is long, and the load direction."""
    return f"{plain(_sentence(str(history.fact['joint'])), 48)}, {history.fact['direction']}"


def _listed(histories: Sequence[JointHistory], named: int = _NAMED) -> str:
    """Return the names of joints: "Left front kingpin, in-out; ... and 4 more"."""
    names = "; ".join(_name(history) for history in histories[:named])
    rest = len(histories) - named
    return f"{names}; and {rest} more" if rest > 0 else names


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
    return _sentence(", ".join(known))


def _meter(vehicle: pd.Series) -> str:
    return "Hub meter" if vehicle["distance_source"] == "hub meter" else "Odometer"


def _facts(record: VehicleRecord) -> list[list[str]]:
    vehicle, run = record.vehicle, record.run
    unit = str(vehicle["distance_unit"])
    dates = [vehicle[f"next_service_date_{point}"] for point in _POINTS]
    then = [vehicle[f"next_service_odometer_{point}"] for point in _POINTS]
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


def _heads(record: VehicleRecord) -> list[str]:
    return [
        "Joint, load direction",
        "Last reading",
        "Limit and its source",
        "Share of limit",
        f"Growth, {record.vehicle['play_unit']} per 10,000 {record.vehicle['distance_unit']} (95 %)",
        "Over at next service",
        "Crosses its limit (5 to 95 %)",
    ]


def _row(history: JointHistory, unit: str) -> Sheet:
    fact, play = history.fact, history.play_unit
    growth = [fact[column] for column in ("growth_mm_per_km", "growth_lower", "growth_upper")]
    limited = history.limit is not None
    marks = [
        word
        for column, word in (("question", "in question"), ("doubt", "read with care"))
        if fact[column] and fact["n_visits"] > 0
    ]
    source = plain(fact["limit_source"], 44) if is_known(fact["limit_source"]) else ""
    return {
        "name": plain(_sentence(str(fact["joint"])), 64),
        "direction": str(fact["direction"]),
        "outcome": "; ".join((_short(str(fact["outcome"])), *marks)),
        "last": _last(fact, play),
        "indicative": "indicative" if fact["indicative"] else "",
        "limit": say_play(fact["limit_mm"], play) if limited else "none on record",
        "source": source if limited else "",
        "share": f"{float(fact['share_of_limit']):.0%}" if is_known(fact["share_of_limit"]) else "",
        "growth": say_growth(growth, play, unit).removesuffix(f" {play}") if is_known(growth[0]) else "",
        "chance": say_probability(fact["p_over_next"]) if is_known(fact["p_over_next"]) else "",
        "crossing": _crossing(fact, unit) if limited else "",
    }


def _short(outcome: str) -> str:
    return outcome.partition(";")[0]


def _last(fact: pd.Series, play: str) -> str:
    if not is_known(fact["last_date"]):
        return "not tested"
    what = say_play(fact["last_play_mm"], play) if is_known(fact["last_play_mm"]) else str(fact["last_result"])
    how = f", {plain(fact['last_method'], 24)}" if is_known(fact["last_method"]) else ""
    return f"{what}, {say_date(fact['last_date'])}{how}"


def _crossing(fact: pd.Series, unit: str) -> str:
    dates = [fact[f"crossing_date_{point}"] for point in _POINTS]
    if not is_known(fact["p_over_next"]):
        return ""
    if not is_known(dates[0]):
        return "beyond the horizon"
    if not is_known(dates[1]):
        return f"beyond the horizon (from {say_date(dates[0])})"
    low, middle, high = (say_date(value) if is_known(value) else "beyond" for value in dates)
    near = fact["crossing_odometer_50"]
    at = f"; {say_distance(near, unit)}" if is_known(near) and fact["distance_source"] != "none" else ""
    return f"{middle} ({low} to {high}){at}"


def _more(rest: Sequence[JointHistory]) -> str:
    """Return what is said of the joints that the table has no room for."""
    if not rest:
        return ""
    outcome = str(rest[0].fact["outcome"])
    same = sum(str(history.fact["outcome"]) == outcome for history in rest)
    return (
        f"And {len(rest)} more joints and load directions, none more pressing; the worst outcome among them: {outcome} "
        f"({same}). The vehicle's page and the command line list them all."
        if len(rest) > 1
        else f"And 1 more, not more pressing: {_name(rest[0])}, {outcome}."
    )


def _due(histories: Sequence[JointHistory]) -> list[str]:
    """Return what is due and why, a sentence a joint in its worst load direction."""
    pressing = [str(outcome) for outcome in PRESSING]
    seen: set[object] = set()
    worst: list[JointHistory] = []
    for history in histories:
        position = history.fact["position_id"]
        if str(history.fact["outcome"]) in pressing and position not in seen:
            seen.add(position)
            worst.append(history)
    if not worst:
        open_ones = [Outcome.RECHECK, Outcome.NOT_TESTED, Outcome.TOO_LITTLE_DATA, Outcome.NO_LIMIT]
        unknown = not histories or any(str(history.fact["outcome"]) in open_ones for history in histories)
        told = "but not every joint is known well enough to tell" if unknown else "inspect as scheduled"
        return [f"Neither a reading nor the forecast calls for work on a joint by the next service; {told}."]
    lines = [_due_line(history) for history in worst[: _NAMED + 1]]
    rest = worst[_NAMED + 1 :]
    if rest:
        count = say_count(len(rest), "more joint", "more joints")
        lines.append(f"And {count}, none more pressing: {_short(str(rest[0].fact['outcome']))} at worst.")
    return lines


def _due_line(history: JointHistory) -> str:
    fact, unit = history.fact, history.play_unit
    outcome, name = str(fact["outcome"]), _name(history)
    limit = say_play(fact["limit_mm"], unit)
    if outcome == Outcome.OVER_LIMIT:
        read = f"{say_play(fact['last_largest_mm'], unit)} on {say_date(fact['measured_date'])}"
        return f"Now: {name}: {read}, over its limit of {limit}."
    if outcome == Outcome.SYMPTOM_CONFIRMED:
        return f"Now: {name}: {plain(fact['symptom'], 90)}; calls for replacement even under the limit."
    chance, risk = say_probability(fact["p_over_next"]), say_probability(fact["accepted_risk"])
    return (
        f"By the next service: {name}: probability {chance} of being over its limit of {limit} then; "
        f"accepted risk {risk}."
    )


def _check(histories: Sequence[JointHistory]) -> list[str]:
    """Return what to check next; what has not been tested stands in a sentence of its own."""

    def having(outcome: Outcome) -> list[JointHistory]:
        return [history for history in histories if str(history.fact["outcome"]) == outcome]

    lines = []
    again, once, bare = having(Outcome.RECHECK), having(Outcome.TOO_LITTLE_DATA), having(Outcome.NO_LIMIT)
    if again:
        lines.append(f"Measure again: {plain(again[0].fact['reason'], 230)}")
        if again[1:]:
            lines.append(f"Measure again as well: {_listed(again[1:])}.")
    if once:
        lines.append(f"Measure at the next visit, since little is known: {_listed(once)}.")
    limitless = [history for history in histories if history.limit is None and history.fact["n_visits"] > 0]
    if bare or limitless:
        lines.append(f"Look up the maker's limit: {_listed(limitless or bare)}.")
    loose = [history for history in histories if history.fact["indicative"] and history.fact["n_visits"] > 0]
    if loose:
        lines.append(f"Measure by the procedure that the limit is stated for: {_listed(loose)}.")
    lines.append(
        "At the next service, test every joint in every load direction that tests its kind, the first rows first."
    )
    return lines


def _untested(histories: Sequence[JointHistory]) -> str:
    bare = [history for history in histories if history.fact["n_visits"] == 0]
    if not histories:
        return "No joint positions are on record for this model, so nothing has been tested."
    if not bare:
        return ""
    since = "they were" if len(bare) > 1 else "it was"
    return (
        f"Since {since} fitted, {len(bare)} of {len(histories)}: {_listed(bare, 5)}. A joint tested in one load "
        "direction only has not been cleared."
    )


def _visits(record: VehicleRecord, histories: Sequence[JointHistory]) -> list[Sheet]:
    unit, play = str(record.vehicle["distance_unit"]), str(record.vehicle["play_unit"])
    places = {(history.fact["position_id"], str(history.fact["direction"])): at for at, history in enumerate(histories)}
    shown = []
    for visit in record.visits.head(_VISITS).to_dict("records"):
        own = record.readings[record.readings["visit_id"] == visit["visit_id"]]
        complaint = f" Complaint: {plain(visit['complaint'], 60)}." if is_known(visit["complaint"]) else ""
        shown.append(
            {
                "date": say_date(visit["visit_date"]),
                "odometer": say_distance(visit["odometer_km"], unit) if is_known(visit["odometer_km"]) else "",
                "measured": _measured(own, places, play) + complaint,
            }
        )
    return shown


def _measured(own: pd.DataFrame, places: dict[tuple[object, str], int], play: str) -> str:
    """Return what was read at one visit, the most pressing joints first, strokes by their largest."""
    if own.empty:
        return "No reading."
    found: list[tuple[int, str]] = []
    for (position, direction), strokes in own.groupby(["position_id", "direction"], sort=True):
        first = strokes.iloc[0]
        measured = strokes.loc[strokes["result"] == Result.MEASURED, "play_mm"]
        what = say_play(measured.max(), play) if len(measured) else str(first["result"])
        place = places.get((position, str(direction)), len(places))
        found.append((place, f"{plain(first['joint'], 44)} {direction} {what}"))
    found.sort()
    words = "; ".join(text for _, text in found[:4])
    rest = f"; and {len(found) - 4} more" if len(found) > 4 else ""
    return f"{_sentence(words)}{rest}."


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
        notes.append(_ended(_sentence(plain(record.vehicle["distance_note"], 200))))
    said = list(dict.fromkeys(str(h.fact["indicative"]) for h in histories if h.fact["indicative"]))
    notes += [_ended(_sentence(plain(text, 170))) for text in said[:2]]
    doubts = list(dict.fromkeys(str(h.fact["doubt"]) for h in histories if h.fact["doubt"] and h.fact["n_visits"] > 0))
    notes += [_ended(f"Read with care: {plain(short_doubt(text), 190)}") for text in doubts[:1]]
    paces = list(dict.fromkeys(h.pace for h in histories[:4] if h.pace))
    notes += [_ended(f"{_name(h)}: {plain(h.pace, 150)}") for h in histories[:2] if h.pace in paces[:1] and h.pace][:1]
    return notes


def _ended(text: str) -> str:
    return text if text.endswith((".", "?", "…")) else f"{text}."
