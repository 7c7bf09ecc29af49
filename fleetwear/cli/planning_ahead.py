"""Commands for the weeks ahead: plan, act."""

from __future__ import annotations

import json
import sys
from datetime import date, datetime
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from fleetwear.cli.options import Form, FormOption, StoreOption, store_folder
from fleetwear.cli.program import app
from fleetwear.cli.talk import say
from fleetwear.errors import InputError
from fleetwear.vocabulary import CAUTION, Action

if TYPE_CHECKING:
    from fleetwear.planning.ahead import Plan


class Show(StrEnum):
    """Which table of a plan is printed."""

    ALL = "all"
    WEEKS = "by week"
    PARTS = "parts to order"
    HOURS = "bay hours"
    TOGETHER = "together"
    CHECKS = "next checks"
    MISSING = "not covered"


_ON_TERMINAL = (Show.WEEKS, Show.PARTS, Show.HOURS, Show.MISSING)
_NARROW = {
    Show.WEEKS: ["week_of", "depot", "unit", "joint", "outcome", "done", "when", "probability", "next_service"],
    Show.PARTS: ["depot", "part_number", "to_order", "order_by", "expected_pieces", "covering_pieces", "on_hand",
                 "on_order", "note"],
}  # fmt: skip


@app.command()
def plan(
    depot: Annotated[str | None, typer.Option(help="Only vehicles of this depot.")] = None,
    weeks: Annotated[int, typer.Option(help="How many weeks ahead, 1 to 52.")] = 12,
    shift_days: Annotated[
        float, typer.Option("--shift-days", help="Move every service by so many days; later if above 0.")
    ] = 0.0,
    stretch: Annotated[float, typer.Option(help="Make every service interval longer by this factor.")] = 1.0,
    cover: Annotated[float, typer.Option(help="Share of outcomes that parts and hours are to cover.")] = 0.9,
    alignment_hours: Annotated[
        float, typer.Option("--alignment-hours", help="Bay hours of one alignment, an assumption.")
    ] = 1.0,
    hour_cost: Annotated[float, typer.Option("--hour-cost", help="Cost of a bay hour, an assumption.")] = 90.0,
    visit_cost: Annotated[
        float, typer.Option("--visit-cost", help="Cost of another day off the road, an assumption.")
    ] = 150.0,
    show: Annotated[Show, typer.Option(help="Which table to print.")] = Show.ALL,
    out: Annotated[
        Path | None,
        typer.Option(
            "--out", metavar="FILE", help="Write all of it to an .xlsx workbook, or its days to an .ics file."
        ),
    ] = None,
    form: FormOption = Form.TABLE,
    store: StoreOption = None,
) -> None:
    """Plan the weeks ahead: who presses when, parts to order, bay hours, joints to do together, next checks.

    Example: fleetwear plan --depot Harbour --weeks 8 --shift-days -14 --out plan.xlsx
    """
    from fleetwear.planning.ahead import PlanSettings, make_plan, read_material
    from fleetwear.store import open_snapshot

    if form is Form.CSV and show is Show.ALL:
        raise InputError("a CSV holds one table", mend='Choose it, such as --show "parts to order".')
    if out is not None and out.suffix.lower() not in (".xlsx", ".ics"):
        raise InputError(f"{out} is neither a workbook nor a calendar", mend="Name a file that ends in .xlsx or .ics.")
    settings = PlanSettings(
        weeks=weeks, depot=depot, shift_days=shift_days, stretch=stretch, cover=cover,
        alignment_hours=alignment_hours, hour_cost=hour_cost, visit_cost=visit_cost,
    )  # fmt: skip
    con = open_snapshot(store_folder(store))
    try:
        made = make_plan(read_material(con), settings)
    finally:
        con.close()
    if out is not None:
        _write(made, out)
    _print(made, show, form)


def _write(made: Plan, out: Path) -> None:
    from fleetwear.reports.flag_files import to_workbook
    from fleetwear.reports.plan_calendar import to_calendar
    from fleetwear.reports.plan_tables import plan_sheets

    content = to_calendar(made) if out.suffix.lower() == ".ics" else to_workbook(plan_sheets(made))
    try:
        out.write_bytes(content)
    except OSError as error:
        raise InputError(
            f"the plan cannot be written: {error.strerror or error}", where=str(out), mend="Name another file."
        ) from error
    say(f"Written to {out}.")


def _print(made: Plan, show: Show, form: Form) -> None:
    from fleetwear.reports.plan_tables import assumption_lines, plan_sheets, worth_hours, worth_listing
    from fleetwear.reports.tables import render

    sheets = plan_sheets(made)
    if form is Form.JSON and show is Show.ALL:
        whole = {
            name.replace(" ", "_"): json.loads(frame.to_json(orient="records", date_format="iso"))
            for name, frame in sheets.items()
        }
        sys.stdout.write(json.dumps(whole, indent=2, ensure_ascii=False) + "\n")
    else:
        for one in _ON_TERMINAL if show is Show.ALL else (show,):
            frame = sheets[one.value]
            if form is Form.TABLE:
                worth = {Show.PARTS: worth_listing, Show.HOURS: worth_hours}.get(one)
                listed = frame if worth is None else worth(frame)
                if len(listed) < len(frame):
                    say(
                        f"{len(frame) - len(listed)} rows of {one.value} come to hardly anything and are left to --out."
                    )
                frame = listed[_NARROW.get(one, list(frame.columns))].dropna(axis=1, how="all")
                typer.echo(f"\n{one.value[:1].upper()}{one.value[1:]}")
            render(frame, form.value, sys.stdout.write)
    if made.later:
        say(f"{made.later} more joints press whose vehicle is in later than these weeks.")
    for line in assumption_lines(made):
        say(line)
    say(CAUTION)


@app.command()
def act(
    unit: Annotated[str, typer.Argument(metavar="UNIT", help="Unit number, VIN or plate.")],
    joint: Annotated[str, typer.Argument(metavar="JOINT", help='In words, such as "left front lower ball joint".')],
    action: Annotated[str, typer.Argument(metavar="ACTION", help=f"One of: {', '.join(Action)}.")],
    by: Annotated[str, typer.Option("--by", help="Who did it.")] = "",
    note: Annotated[str, typer.Option("--note", help="Whatever else is to be known.")] = "",
    on: Annotated[
        datetime | None, typer.Option("--on", formats=["%Y-%m-%d"], help="The day; today if not given.")
    ] = None,
    store: StoreOption = None,
) -> None:
    """Record what was done about the flag of a joint; it never changes the outcome.

    The flag shows it until a later reading, or a replacement in a work file, settles it. Many at once are loaded as a
    file with the columns unit, action date, joint, action, by and note.

    Example: fleetwear act V102 "left front lower ball joint" ordered --by T3 --note "due on Friday"
    """
    from fleetwear.planning.actions import find_joint, record_action
    from fleetwear.planning.vehicle import find_unit
    from fleetwear.store import Store

    folder = store_folder(store)
    today = date.today()
    day = on.date() if on is not None else today
    with Store(folder).reader() as con:
        found = find_unit(con, unit, on_date=day)
        named = find_joint(con, found, joint)
    new = record_action(folder, unit=found, joint=named, action=action, on=day, today=today, by=by, note=note)
    state = "Recorded" if new else "On record already"
    say(f"{state}: {found}, {named}, {action} on {day}. It stands beside the flag after the next `fleetwear forecast`.")
    if action == Action.REPLACED:
        say("Load the replacement in a work file too: only that starts a new life of the joint.")
