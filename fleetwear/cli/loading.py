"""Commands that take files in and settle what they left open: load, quarantine, questions, answer."""

from __future__ import annotations

import sys
from datetime import date
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from fleetwear.cli.options import Form, FormOption, StoreOption, store_folder
from fleetwear.cli.program import app
from fleetwear.cli.talk import say, talk_if_terminal, tell_waiting
from fleetwear.reports.inert import on_screen

if TYPE_CHECKING:
    from fleetwear.intake import LoadSummary


class Answer(StrEnum):
    """What may be said of what was asked about."""

    TRUE_READING = "true reading"
    MISTAKE = "mistake"
    SAME_VISIT = "same visit"
    TWO_VISITS = "two visits"
    SWAPPED = "swapped"
    AS_WRITTEN = "as written"


@app.command()
def load(
    files: Annotated[
        list[Path] | None,
        typer.Argument(
            metavar="[FILE...]",
            help="CSV, XLSX, JSON or Parquet files, in any order; without any, what lies in the inbox.",
        ),
    ] = None,
    columns: Annotated[
        Path | None,
        typer.Option(
            "--columns",
            metavar="MAP.toml",
            help="Column map of these files; else readings.csv has readings.columns.toml beside it.",
        ),
    ] = None,
    store: StoreOption = None,
) -> None:
    """Load files of any of the tables: vehicles, positions, limits, services, parts, visits, readings, work and more.

    Each table is recognised by its header. A file is loaded whole or not at all; rows that cannot be taken go to
    quarantine with their reasons, and loading a file again changes nothing. Files go to the store's inbox first; if a
    load is cut off, the next one takes what lies there, even without files.

    Example: fleetwear load vehicles.csv readings.xlsx
    """
    from pipelines import load as pipeline

    folder = store_folder(store)
    summaries = pipeline.run(
        folder,
        files or [],
        date.today(),
        columns=columns,
        on_progress=talk_if_terminal(),
        on_note=say,
        on_wait=tell_waiting,
    )
    tell_load(summaries)
    if not summaries:
        say("Nothing was waiting in the inbox.")
    _say_next(folder)


def _say_next(folder: Path) -> None:
    """Say what the store still lacks, and what to do next."""
    from fleetwear.intake.missing import missing_tables
    from fleetwear.store import Store

    with Store(folder).reader() as con:
        missing = missing_tables(con)
    for words in missing:
        say(f"There is {words}.")
    if any(words.startswith(("no vehicle", "no joint", "no reading")) for words in missing):
        say(f"Store: {folder}. Next: load what is missing; fleetwear templates DIR writes blank files to fill in.")
    else:
        say(f"Store: {folder}. Next: fleetwear forecast")


@app.command()
def templates(
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="The folder to write into; made if it is not there.")],
) -> None:
    """Write blank files to fill in: a CSV a table, one workbook that explains every column, and examples.

    The files in DIR/examples hold one invented row each and can be loaded as they are. None is written over.

    Example: fleetwear templates ./to_fill_in
    """
    from fleetwear.reports.blank_files import EXAMPLE_FOLDER, WORKBOOK, write_blank_files

    written = write_blank_files(folder)
    say(f'{len(written)} files are in {folder}. {WORKBOOK} explains every column on its sheet "how to".')
    say(f"To try: fleetwear load {folder / EXAMPLE_FOLDER}/*.csv --store ./try_out")
    say(f"Yours: fill in the workbook or the CSV files, then fleetwear load {folder / WORKBOOK}")


def tell_load(summaries: list[LoadSummary]) -> None:
    """Print what became of each file, and say where the rest is."""
    for one in summaries:
        where = f"{one.file} ({one.sheet})" if one.sheet else one.file
        refused = one.rows_quarantined + one.rows_quarantined_before
        parts = [f"{one.rows_in} rows in"]
        parts += [f"{one.rows_known} known before"] if one.rows_known else []
        parts += [f"{refused} in quarantine"] if refused else []
        parts += [f"{one.settled} settled"] if one.settled else []
        parts += [f"{one.set_aside} earlier rows set aside"] if one.set_aside else []
        parts += [f"{one.questions} asked about"] if one.questions else []
        parts += [f"{one.changed} changed since an earlier load, now further strokes"] if one.changed else []
        typer.echo(on_screen(f"{where}: {one.table}, {one.rows_read} rows read, {', '.join(parts)}"))
        for reason, count in one.reasons.items():
            say(f"    {count} x {reason}")
        for header in one.ignored:
            say(f"    column left out: {header}")
        for remark in one.remarks:
            say(f"    {remark}")
    if any(one.rows_quarantined + one.rows_quarantined_before for one in summaries):
        say("Refused rows: fleetwear quarantine")
    if any(one.questions for one in summaries):
        say("What is asked about: fleetwear questions")


@app.command()
def quarantine(
    store: StoreOption = None,
    form: FormOption = Form.TABLE,
    settled: Annotated[bool, typer.Option("--settled", help="List settled rows too.")] = False,
) -> None:
    """List the rows that were refused, as they were, with every reason.

    To settle one, load its correction: in the same file at the same row, or with its number in a column
    "quarantine number".

    Example: fleetwear quarantine --format csv
    """
    from fleetwear.intake import list_quarantine
    from fleetwear.reports.tables import render
    from fleetwear.store import Store

    with Store(store_folder(store)).reader() as con:
        rows = list_quarantine(con, include_settled=settled)
    rows["reasons"] = ["; ".join(reasons) for reasons in rows["reasons"]]
    if rows.empty:
        say("No row is in quarantine.")
    render(rows, form.value, sys.stdout.write)


@app.command()
def questions(store: StoreOption = None, form: FormOption = Form.TABLE) -> None:
    """List what is asked about: implausible readings, visits that may be one, sides that may be swapped.

    A vehicle with such a reading stays among the flags. Until they are answered, visits count as two, and sides as
    written.

    Example: fleetwear questions
    """
    from fleetwear.intake import open_questions
    from fleetwear.reports.tables import render
    from fleetwear.store import Store

    with Store(store_folder(store)).reader() as con:
        rows = open_questions(con)
    if rows.empty:
        say("No question is open.")
    render(rows.drop(columns=["reading_id", "play_mm"]), form.value, sys.stdout.write)
    if not rows.empty:
        say("Answer with: fleetwear answer NUMBER ANSWER, the answer in quotes")


@app.command()
def answer(
    number: Annotated[int, typer.Argument(help="The question's number.")],
    words: Annotated[Answer, typer.Argument(metavar="ANSWER", help="One of the question's answers.")],
    by: Annotated[str, typer.Option("--by", help="Who answers.")] = "",
    store: StoreOption = None,
) -> None:
    """Answer a question; `fleetwear questions` lists them with their answers. Answers stay.

    Example: fleetwear answer 1 mistake --by T2
    """
    from fleetwear.intake import answer as give
    from fleetwear.store import Store

    with Store(store_folder(store)).writer(on_wait=tell_waiting) as con:
        give(con, number, words.value, by or None)
    say(f"Question {number} is answered: {words.value}. Next: fleetwear forecast")
