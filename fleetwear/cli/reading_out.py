"""Commands that print what was forecast: flags, coverage, vehicle."""

from __future__ import annotations

import sys
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from fleetwear.cli.options import Form, FormOption, StoreOption, store_folder
from fleetwear.cli.program import app
from fleetwear.cli.talk import say
from fleetwear.vocabulary import CAUTION

if TYPE_CHECKING:
    from fleetwear.planning.flags import Flags
    from fleetwear.planning.vehicle import VehicleRecord


class Paper(StrEnum):
    """What a page is printed on."""

    A4 = "a4"
    LETTER = "letter"


@app.command()
def flags(
    depot: Annotated[str | None, typer.Option(help="Only vehicles of this depot.")] = None,
    horizon: Annotated[
        float | None,
        typer.Option(metavar="DAYS", help="Only vehicles whose next service falls within so many days."),
    ] = None,
    accepted_risk: Annotated[
        float | None,
        typer.Option(help="In place of the forecast's own; the cap of load-carrying joints stays."),
    ] = None,
    everything: Annotated[
        bool,
        typer.Option(
            "--all",
            help="Also what is not tested, has too little data or no limit, or is not forecast to cross.",
        ),
    ] = False,
    joints: Annotated[bool, typer.Option("--joints", help="One row a joint and load direction.")] = False,
    form: FormOption = Form.TABLE,
    store: StoreOption = None,
) -> None:
    """Print the vehicles that need something before or at their next service, the most pressing first.

    Example: fleetwear flags --depot Harbour --horizon 60 --format csv
    """
    from fleetwear.planning.flags import read_flags
    from fleetwear.store import open_snapshot

    con = open_snapshot(store_folder(store))
    try:
        found = read_flags(con, depot=depot, horizon_days=horizon, accepted_risk=accepted_risk)
    finally:
        con.close()
    print_flags(found, form, everything=everything, joints=joints)


def print_flags(found: Flags, form: Form, *, everything: bool, joints: bool) -> None:
    """Print flags, then count them by outcome."""
    from fleetwear.planning.wording import say_count
    from fleetwear.reports.tables import joint_table, render, vehicle_table
    from fleetwear.vocabulary import OUTCOME_RANKS, Outcome

    chosen = found.joints if joints else found.vehicles
    if not everything:
        chosen = chosen[chosen["outcome"].map(OUTCOME_RANKS) <= Outcome.RECHECK.rank]
    frame = joint_table(chosen) if joints else vehicle_table(chosen)
    if form is Form.TABLE and not joints:
        done = ["done"] if frame["done"].notna().any() else []
        joints_left = [
            f"{none:.0f} of {every:.0f}" if every == every and none > 0 else ""
            for none, every in zip(chosen["joints_untested"], chosen["joints_to_test"], strict=True)
        ]
        frame = frame.assign(not_tested=joints_left)
        frame = frame[["unit", "depot", "outcome", *done, "any_joint_over", "next_service", "not_tested", "reason"]]
    elif form is Form.TABLE:
        done = ["done"] if frame["done"].notna().any() else []
        frame = frame[
            ["unit", "joint", "direction", "outcome", *done, "last_play", "limit", "play_unit", "mark", "probability"]
        ]
    render(frame, form.value, sys.stdout.write)
    if frame.empty and not everything:
        say("No vehicle is flagged. That clears none of them: fleetwear flags --all tells what is said of each.")
    counts = found.vehicles["outcome"].value_counts()
    told = ", ".join(f"{counts[outcome]} {outcome}" for outcome in OUTCOME_RANKS if outcome in counts)
    say(f"{say_count(len(found.vehicles), 'vehicle', 'vehicles')} as of {found.run.as_of}: {told}.")
    if not everything:
        say("Those below recheck are listed with --all.")
    say(CAUTION)


@app.command()
def coverage(
    unit: Annotated[str | None, typer.Argument(metavar="[UNIT]", help="Unit number, VIN or plate; else all.")] = None,
    depot: Annotated[str | None, typer.Option(help="Only vehicles of this depot.")] = None,
    horizon: Annotated[
        float | None,
        typer.Option(metavar="DAYS", help="Only vehicles whose next service falls within so many days."),
    ] = None,
    form: FormOption = Form.TABLE,
    store: StoreOption = None,
) -> None:
    """List the joints and load directions to test at the next visit: those that the last visit left, or to be redone.

    A joint tested in one load direction only has not been cleared.

    Example: fleetwear coverage --depot Harbour --horizon 60
    """
    from fleetwear.planning.coverage import say_coverage, to_test
    from fleetwear.planning.flags import narrow, read_flags
    from fleetwear.planning.vehicle import find_unit
    from fleetwear.reports.tables import render
    from fleetwear.store import open_snapshot

    con = open_snapshot(store_folder(store))
    try:
        found = read_flags(con, depot=depot, horizon_days=horizon)
        if unit is not None:
            found = narrow(found, unit=find_unit(con, unit, on_date=found.run.as_of))
    finally:
        con.close()
    asked = to_test(found)
    if form is Form.TABLE:
        asked = asked.drop(columns="depot")
    render(asked, form.value, sys.stdout.write)
    if unit is not None:
        for row in found.vehicles.to_dict("records"):
            say(f"{row['unit']}  {say_coverage(row)}.")
    say(f"{len(asked)} joints and load directions of {asked['unit'].nunique()} vehicles to test.")
    say(CAUTION)


@app.command()
def vehicle(
    unit: Annotated[str, typer.Argument(metavar="UNIT", help="Unit number, VIN or plate.")],
    pdf: Annotated[
        Path | None, typer.Option("--pdf", metavar="FILE", help="Write it on one page, as a PDF file, too.")
    ] = None,
    paper: Annotated[Paper, typer.Option("--paper", help="The paper of that page.")] = Paper.A4,
    form: FormOption = Form.TABLE,
    store: StoreOption = None,
) -> None:
    """Print what is known and forecast of one vehicle, joint by joint.

    Example: fleetwear vehicle V101
    """
    from fleetwear.planning.vehicle import read_vehicle
    from fleetwear.planning.wording import say_probability
    from fleetwear.reports.tables import joint_table, render, vehicle_table
    from fleetwear.store import open_snapshot

    con = open_snapshot(store_folder(store))
    try:
        record = read_vehicle(con, unit)
    finally:
        con.close()
    if pdf is not None:
        from fleetwear.reports.vehicle_pdf import write_vehicle_pdf

        write_vehicle_pdf(record, pdf, paper=paper.value)
        say(f"Written to {pdf}.")
    head = vehicle_table(record.vehicle.to_frame().T.assign(joint=None, accepted_risk=None)).iloc[0]
    where = f", {head['depot']}" if isinstance(head["depot"], str) else ""
    say(f"{head['unit']}  {head['model']}{where}: {head['outcome']}. {head['reason']}")
    say(
        f"Next service about {head['next_service']} ({head['next_service_earliest']} to {head['next_service_latest']})"
        + (
            f", near {head['odometer_next_service']:,.0f} {head['distance_unit']}"
            if head["odometer_next_service"] > 0
            else ""
        )
        + f"; probability of any joint over its limit then: {say_probability(head['any_joint_over'])}"
        + f" ({head['joints_in_probability']} of {record.joints['position_id'].nunique()} joints have limit and model)."
    )
    if record.told:
        say(record.told)
    for line in _checked(record):
        say(line)
    frame = joint_table(record.joints)
    if form is Form.TABLE:
        frame = frame[
            [
                "joint",
                "direction",
                "outcome",
                "last_read",
                "last_play",
                "limit",
                "play_unit",
                "mark",
                "growth",
                "growth_unit",
                "probability",
                "crossing_date_50",
            ]
        ]
    render(frame, form.value, sys.stdout.write)
    say(CAUTION)


def _checked(record: VehicleRecord) -> list[str]:
    """Return what the last visit left untested, the symptoms that stand, and the wheel checks that stand."""
    from fleetwear.planning.coverage import say_coverage
    from fleetwear.planning.open_symptoms import open_symptoms
    from fleetwear.planning.wheel_checks import standing_wheels

    left = say_coverage(record.vehicle.to_dict())
    lines = [f"{left}."] if left and len(record.joints) else []
    lines += [f"Symptom, {line}" for line in open_symptoms(record)]
    return lines + [f"Wheel check: {says}" for says in standing_wheels(record.wheels)["says"]]
