"""What a vehicle's page says is due, is to be checked, and has not been tested."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fleetwear.planning.pressing import PRESSING
from fleetwear.planning.symptoms import confirmed_steps
from fleetwear.planning.wheel_checks import standing_wheels, wheel_title
from fleetwear.planning.wording import is_known, say_count, say_date, say_play, say_probability
from fleetwear.reports.page_text import plain
from fleetwear.reports.sheet_words import NAMED, joint_title, listed, short
from fleetwear.vocabulary import Outcome, WheelVerdict

if TYPE_CHECKING:
    from collections.abc import Sequence

    from fleetwear.planning.vehicle import VehicleRecord
    from fleetwear.reports.joint_history import JointHistory


def due(record: VehicleRecord, histories: Sequence[JointHistory]) -> list[str]:
    """Return what is due and why, a sentence a joint in its worst load direction; wheels over their limit first."""
    over = standing_wheels(record.wheels)
    over = over[over["verdict"] == str(WheelVerdict.OVER)]
    lines = [
        f"Now: {wheel_title(wheel)}: over limit, as measured below." for wheel in over.head(NAMED).to_dict("records")
    ]
    pressing = [str(outcome) for outcome in PRESSING]
    steps = confirmed_steps(record.joints)
    seen: set[object] = set()
    worst: list[JointHistory] = []
    for history in histories:
        position = history.fact["position_id"]
        if str(history.fact["outcome"]) in pressing and position not in seen:
            seen.add(position)
            worst.append(history)
    if not worst and not lines:
        open_ones = [Outcome.RECHECK, Outcome.NOT_TESTED, Outcome.TOO_LITTLE_DATA, Outcome.NO_LIMIT]
        unknown = not histories or any(str(history.fact["outcome"]) in open_ones for history in histories)
        told = "but not every joint is known well enough to tell" if unknown else "inspect as scheduled"
        return [f"Neither a reading nor the forecast calls for work on a joint by the next service; {told}."]
    lines += [_due_line(history, str(steps.get(history.fact.name, ""))) for history in worst[: NAMED + 1]]
    rest = worst[NAMED + 1 :]
    if rest:
        count = say_count(len(rest), "more joint", "more joints")
        lines.append(f"And {count}, none more pressing: {short(str(rest[0].fact['outcome']))} at worst.")
    return lines


def _due_line(history: JointHistory, step: str) -> str:
    fact, unit = history.fact, history.play_unit
    outcome, name = str(fact["outcome"]), joint_title(history)
    mark = " (indicative)" if fact["indicative"] else ""
    limit = say_play(fact["limit_mm"], unit)
    if outcome == Outcome.OVER_LIMIT:
        then = fact["judged_limit_mm"] if is_known(fact["judged_limit_mm"]) else fact["limit_mm"]
        read = f"{say_play(fact['last_largest_mm'], unit)} on {say_date(fact['measured_date'])}"
        return f"Now: {name}: {read}, over its limit of {say_play(then, unit)}{mark}."
    if outcome == Outcome.SYMPTOM_CONFIRMED:
        return f"Now: {name}: {plain(fact['symptom'], 90)}; {step}."
    chance, risk = say_probability(fact["p_over_next"]), say_probability(fact["accepted_risk"])
    return (
        f"By the next service: {name}: probability {chance} of being over its limit of {limit}{mark} then; "
        f"accepted risk {risk}."
    )


def to_check(histories: Sequence[JointHistory]) -> list[str]:
    """Return what to check next; what has not been tested stands in a sentence of its own."""

    def having(outcome: Outcome) -> list[JointHistory]:
        return [history for history in histories if str(history.fact["outcome"]) == outcome]

    lines = []
    again, once, bare = having(Outcome.RECHECK), having(Outcome.TOO_LITTLE_DATA), having(Outcome.NO_LIMIT)
    if again:
        lines.append(f"Measure again: {plain(again[0].fact['reason'], 230)}")
        if again[1:]:
            lines.append(f"Measure again as well: {listed(again[1:])}.")
    if once:
        lines.append(f"Measure at the next visit, since little is known: {listed(once)}.")
    limitless = [history for history in histories if history.limit is None and history.fact["n_visits"] > 0]
    if bare or limitless:
        lines.append(f"Look up the maker's limit: {listed(limitless or bare)}.")
    loose = [history for history in histories if history.fact["indicative"] and history.fact["n_visits"] > 0]
    if loose:
        lines.append(f"Measure by the procedure that the limit is stated for: {listed(loose)}.")
    lines.append(
        "At the next service, test every joint in every load direction that tests its kind, the first rows first."
    )
    return lines


def untested(histories: Sequence[JointHistory]) -> str:
    """Return what has not been tested since it was fitted."""
    bare = [history for history in histories if history.fact["n_visits"] == 0]
    if not histories:
        return "No joint positions are on record for this model, so nothing has been tested."
    if not bare:
        return ""
    since = "they were" if len(bare) > 1 else "it was"
    return (
        f"Since {since} fitted, {len(bare)} of {len(histories)}: {listed(bare, 5)}. A joint tested in one load "
        "direction only has not been cleared."
    )
