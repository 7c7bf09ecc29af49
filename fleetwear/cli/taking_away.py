"""Commands that write files to take away: export, maintenance-record."""

from __future__ import annotations

import sys
from datetime import datetime
from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from fleetwear.cli.options import Form, FormOption, StoreOption, store_folder
from fleetwear.cli.program import app
from fleetwear.cli.reading_out import Paper
from fleetwear.cli.talk import say
from fleetwear.vocabulary import CAUTION


class FileKind(StrEnum):
    """What tables are written as."""

    CSV = "csv"
    PARQUET = "parquet"
    XLSX = "xlsx"


@app.command()
def export(
    target: Annotated[Path, typer.Argument(metavar="DIR|FILE", help="A folder, a .zip file, or an .xlsx workbook.")],
    kind: Annotated[
        FileKind | None, typer.Option("--as", help="What the tables are written as; csv, or xlsx for a workbook.")
    ] = None,
    tables: Annotated[
        list[str] | None,
        typer.Option("--table", metavar="NAME", help="Only this table; may be given again. All of them if not given."),
    ] = None,
    depot: Annotated[
        str | None, typer.Option(help="Only vehicles of this depot; tables of the fit stay whole.")
    ] = None,
    form: FormOption = Form.TABLE,
    store: StoreOption = None,
) -> None:
    """Write readings, series with their forecasts, vehicles, flags and what the fit has learnt as tidy tables.

    Each comes with a dictionary of its columns, and holds the as-of date, forecast, fit and version that it rests on.

    Example: fleetwear export taken_away --as parquet --table readings --table series
    """
    import pandas as pd

    from fleetwear.planning.tidy_tables import read_tidy
    from fleetwear.reports.tables import render
    from fleetwear.reports.tidy_files import write_tidy
    from fleetwear.store import open_snapshot

    con = open_snapshot(store_folder(store))
    try:
        tidy = read_tidy(con, names=tables, depot=depot)
    finally:
        con.close()
    written = write_tidy(tidy, target, kind.value if kind is not None else None)
    rows = [[name, tidy.tables[name].num_rows, tidy.meanings[name], str(written[name])] for name in tidy.tables]
    frame = pd.DataFrame(rows, columns=["table", "rows", "what", "file"])
    render(frame, form.value, sys.stdout.write)
    said = tidy.about
    say(
        f"As of {said['as_of']}, forecast {said['forecast_number']}, fit {said['fit_number']}. Columns: see dictionary."
    )
    if depot is not None and tidy.fleet_wide:
        say(f"Of the whole fleet all the same: {', '.join(tidy.fleet_wide)}.")
    say(CAUTION)


@app.command("maintenance-record")
def maintenance_record(
    unit: Annotated[str, typer.Argument(metavar="UNIT", help="Unit number, VIN or plate.")],
    out: Annotated[
        Path | None, typer.Option("--out", metavar="FILE", help="Write it to a .pdf or .csv file too.")
    ] = None,
    left: Annotated[
        datetime | None,
        typer.Option("--left", formats=["%Y-%m-%d"], help="The day on which the vehicle left your control."),
    ] = None,
    paper: Annotated[Paper, typer.Option("--paper", help="The paper of the pages.")] = Paper.LETTER,
    form: FormOption = Form.TABLE,
    store: StoreOption = None,
) -> None:
    """Print the record of one vehicle that 49 CFR 396.3(b) names, as far as it is kept here.

    Identification, what is due and when, what was done and when, and how long to keep it. An aid, not legal advice.

    Example: fleetwear maintenance-record V101 --out V101_record.pdf
    """
    from fleetwear.planning.maintenance import NOTES, read_maintenance
    from fleetwear.reports.maintenance_files import record_table, write_record
    from fleetwear.reports.tables import render
    from fleetwear.store import open_snapshot

    con = open_snapshot(store_folder(store))
    try:
        record = read_maintenance(con, unit, left=left.date() if left is not None else None)
    finally:
        con.close()
    if out is not None:
        write_record(record, out, paper=paper.value)
        say(f"Written to {out}.")
    table = record_table(record)
    if form is Form.TABLE:
        table = table[["part", "date", "nature", "what", "keep_through"]]
    render(table, form.value, sys.stdout.write)
    for text in NOTES:
        say(text)
