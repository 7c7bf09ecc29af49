"""Commands that correct what is in the store, and show what was corrected: correct, withdraw, reinstate, history."""

from __future__ import annotations

import csv
import re
import sys
from datetime import date
from enum import StrEnum
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Annotated

import typer

from fleetwear.cli.options import Form, FormOption, StoreOption, store_folder
from fleetwear.cli.program import app
from fleetwear.cli.talk import say, tell_waiting
from fleetwear.errors import InputError


class Row(StrEnum):
    """What one row is called."""

    READING = "reading"
    VISIT = "visit"
    WORK = "work"
    REPLACEMENT = "replacement"
    SERVICE = "service"
    PART = "part"
    LIMIT = "limit"
    ODOMETER = "odometer"
    VEHICLE = "vehicle"


RowArgument = Annotated[Row, typer.Argument(metavar="ROW", help=f"One of {', '.join(Row)}.")]
NumberArgument = Annotated[int, typer.Argument(min=1, help="Its number, as `fleetwear history` prints it.")]
WhyOption = Annotated[str, typer.Option("--why", help="Why.")]
ByOption = Annotated[str, typer.Option("--by", help="Who says so.")]


@app.command(context_settings={"allow_extra_args": True, "ignore_unknown_options": True})
def correct(
    context: typer.Context,
    row: RowArgument,
    number: NumberArgument,
    why: WhyOption,
    by: ByOption,
    store: StoreOption = None,
) -> None:
    """Correct a row: a new one takes its place, and both stay on record.

    Name what is wrong as options like the columns of its file: --play "18 thou", --visit-date 2026-03-02. An empty
    value empties the cell. The new row is checked as a row of its file would be.

    Example: fleetwear correct reading 123 --play "18 thou" --why "misread" --by T2
    """
    from fleetwear.intake.correcting import say_changes

    changes = _changes(context.args)
    _hand_over(row, number, say_changes(changes), why=why, by=by, store=store)


@app.command()
def withdraw(row: RowArgument, number: NumberArgument, why: WhyOption, by: ByOption, store: StoreOption = None) -> None:
    """Withdraw a row that never was; with a visit go its readings. It stays on record and can be reinstated.

    Example: fleetwear withdraw visit 45 --why "another vehicle" --by T2
    """
    from fleetwear.intake.correcting import WITHDRAW

    _hand_over(row, number, WITHDRAW, why=why, by=by, store=store)


@app.command()
def reinstate(
    row: RowArgument, number: NumberArgument, why: WhyOption, by: ByOption, store: StoreOption = None
) -> None:
    """Bring a withdrawn row back, as a new one; with a visit come its readings.

    Example: fleetwear reinstate visit 45 --why "it was this vehicle" --by T2
    """
    from fleetwear.intake.correcting import REINSTATE

    _hand_over(row, number, REINSTATE, why=why, by=by, store=store)


@app.command()
def history(
    unit: Annotated[str, typer.Argument(metavar="UNIT", help="Unit number, VIN or plate.")],
    corrected: Annotated[
        bool, typer.Option("--corrected", help="Only rows that were corrected, and those in their place.")
    ] = False,
    form: FormOption = Form.TABLE,
    store: StoreOption = None,
) -> None:
    """Print every row on record of a vehicle: its number, what became of it, what it superseded, who said so and why.

    Example: fleetwear history V101 --corrected
    """
    from fleetwear.planning.history import read_history
    from fleetwear.reports.tables import render
    from fleetwear.store import Store

    with Store(store_folder(store)).reader(on_wait=tell_waiting) as con:
        rows = read_history(con, unit)
    if corrected:
        rows = rows[rows["by"] != ""]
    rows["says"] = ["; ".join(f"{head}={cell}" for head, cell in says.items()) for says in rows["says"]]
    if form is Form.TABLE:
        rows = rows.drop(columns=["changes", "file", "file_row", "loaded_at"])
    render(rows, form.value, sys.stdout.write)


def _changes(arguments: list[str]) -> dict[str, str]:
    """Return ``--visit-date 2026-03-02 --play=x`` as {"visit date": "2026-03-02", "play": "x"}."""
    changes: dict[str, str] = {}
    left = list(arguments)
    while left:
        option, sign, value = left.pop(0).partition("=")
        if not re.fullmatch(r"--[a-z][a-z-]*", option) or (not sign and not left):
            raise typer.BadParameter(f'{option!r}: name columns with their values, like --play "18 thou"')
        changes[option[2:].replace("-", " ")] = value if sign else left.pop(0)
    if not changes:
        raise typer.BadParameter('name what is wrong, like --play "18 thou"')
    return changes


def _hand_over(row: Row, number: int, change: str, *, why: str, by: str, store: Path | None) -> None:
    """Write a corrections file of one row, load it as any other, and say what became of it."""
    from pipelines import load

    folder = store_folder(store)
    called = f"{row} {number}"
    with TemporaryDirectory() as place:
        file = Path(place) / f"correction-{row}-{number}.csv"
        with file.open("w", encoding="utf-8", newline="") as text:
            writer = csv.writer(text)
            writer.writerow(["table", "number", "change", "why", "by"])
            writer.writerow([str(row), number, change, why, by])
        summaries = load.run(folder, [file], date.today(), on_note=say, on_wait=tell_waiting)
    summary = next(one for one in reversed(summaries) if one.file == file.name)
    if summary.rows_known:
        say(f"{called}: just that is on record already.")
        return
    if not summary.rows_in:
        reasons = _reasons(folder, file.name)
        raise InputError("; ".join(reasons), where=called, mend="It stands in quarantine; say it again, corrected.")
    say(f"{called}: {_became(folder, row, number)}.")
    if summary.set_aside:
        say(f"It contradicted {summary.set_aside} earlier rows, which are set aside: fleetwear quarantine")
    if summary.questions:
        say("The new reading looks implausible: fleetwear questions")
    say("Next: fleetwear forecast")


def _reasons(folder: Path, file: str) -> list[str]:
    from fleetwear.intake import list_quarantine
    from fleetwear.store import Store

    with Store(folder).reader(on_wait=tell_waiting) as con:
        rows = list_quarantine(con)
    return list(rows[rows["file"] == file].iloc[-1]["reasons"])


def _became(folder: Path, row: Row, number: int) -> str:
    from fleetwear.intake.correcting import table_called
    from fleetwear.store import Store

    with Store(folder).reader(on_wait=tell_waiting) as con:
        found = con.execute(
            "select new_row_id from superseded where table_name = $table and row_id = $number",
            {"table": table_called(row), "number": number},
        ).fetchall()
    return f"{row} {found[0][0]} stands in its place" if found and found[0][0] is not None else "withdrawn"
