"""Files to start from: a blank one for every table of the contract, an example of each, and a workbook of them all."""

from __future__ import annotations

import csv
import io
from typing import TYPE_CHECKING

from fleetwear.errors import InputError
from fleetwear.intake.columns import TABLES
from fleetwear.intake.explained import EXAMPLES, explain, explain_all
from fleetwear.intake.workbooks import HOW_TO

if TYPE_CHECKING:
    from pathlib import Path

    from fleetwear.intake.columns import Table

WORKBOOK = "fleetwear_templates.xlsx"
EXAMPLE_FOLDER = "examples"

_HEADS = ("table", "column", "meaning", "what a cell holds", "allowed words", "needed", "example")
_WIDTHS = (11, 20, 60, 34, 50, 20, 30)
_ADVICE = (
    "Fill in one sheet a table, one row a thing; leave out the tables and columns that you do not have. Start with "
    "vehicles, positions, limits, visits or readings, and services. Then: fleetwear load " + WORKBOOK
)


def blank_csv(table: Table, *, example: bool = False) -> bytes:
    """Return a table's header as CSV, with its example row under it if asked."""
    names = [column.name for column in table.columns]
    text = io.StringIO(newline="")
    writer = csv.writer(text)
    writer.writerow(names)
    if example:
        writer.writerow([EXAMPLES[table.name].get(name, "") for name in names])
    return text.getvalue().encode("utf-8-sig")


def workbook(*, examples: bool = False) -> bytes:
    """Return an XLSX workbook: a sheet that explains every column, and a sheet a table with its header.

    Parameters
    ----------
    examples
        Whether the tables' sheets hold their example rows.
    """
    import xlsxwriter

    buffer = io.BytesIO()
    plain = {"strings_to_formulas": False, "strings_to_urls": False, "in_memory": True}
    with xlsxwriter.Workbook(buffer, plain) as book:
        bold = book.add_format({"bold": True})
        wrapped = book.add_format({"text_wrap": True, "valign": "top"})
        page = book.add_worksheet(HOW_TO)
        page.write_string(0, 0, _ADVICE)
        page.write_row(2, 0, _HEADS, bold)
        for at, width in enumerate(_WIDTHS):
            page.set_column(at, at, width, wrapped)
        for row, one in enumerate(explain_all(), start=3):
            cells = (one.table, one.column, one.meaning, one.form, one.words, one.required, one.example)
            page.write_row(row, 0, cells)
        page.freeze_panes(3, 2)
        for table in TABLES:
            sheet = book.add_worksheet(table.name)
            for at, one in enumerate(explain(table)):
                sheet.write_string(0, at, one.column, bold)
                sheet.write_comment(0, at, f"{one.meaning} {one.form}; {one.required}.")
                if examples and (cell := EXAMPLES[table.name].get(one.column)):
                    sheet.write_string(1, at, cell)
                sheet.set_column(at, at, max(len(one.column), 12) + 2)
            sheet.freeze_panes(1, 0)
    return buffer.getvalue()


def write_blank_files(folder: Path) -> list[Path]:
    """Write a CSV file a table, the workbook, and examples of both into a folder; return the files.

    Raises
    ------
    InputError
        If one of them is there already, of which none is written over, or the folder cannot be written to.
    """
    wanted = {folder / f"{table.name}.csv": blank_csv(table) for table in TABLES}
    wanted[folder / WORKBOOK] = workbook()
    examples = folder / EXAMPLE_FOLDER
    wanted |= {examples / f"{table.name}.csv": blank_csv(table, example=True) for table in TABLES}
    there = [path for path in wanted if path.exists()]
    if there:
        raise InputError(
            f"{there[0].name} is there already, and may be filled in", where=str(folder), mend="Name another folder."
        )
    try:
        examples.mkdir(parents=True, exist_ok=True)
        for path, content in wanted.items():
            path.write_bytes(content)
    except OSError as error:
        raise InputError(
            f"the templates cannot be written: {error.strerror or error}",
            where=str(folder),
            mend="Name another folder.",
        ) from error
    return list(wanted)
