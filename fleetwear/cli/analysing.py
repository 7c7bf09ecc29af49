"""Commands for the analyst's questions: effects, trends, study."""

from __future__ import annotations

import sys
from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from fleetwear.cli.options import Form, FormOption, StoreOption, store_folder
from fleetwear.cli.program import app
from fleetwear.cli.talk import say


class By(StrEnum):
    """What growth is compared by."""

    DEPOT = "depot"
    DUTY = "duty"
    SIDE = "side"
    SUPPLIER = "supplier"
    MODEL = "model"


@app.command()
def effects(
    by: Annotated[
        By | None, typer.Option("--by", help="Only comparisons by this; by all of them if not given.")
    ] = None,
    kind: Annotated[
        str | None,
        typer.Option(help='Only this kind of joint, or "all kinds" together; each of them if not given.'),
    ] = None,
    out: Annotated[
        Path | None,
        typer.Option("--out", metavar="FILE", help="Write them to a .csv or .xlsx file too."),
    ] = None,
    form: FormOption = Form.TABLE,
    store: StoreOption = None,
) -> None:
    """Print how the growth of play compares between depots, duties, sides, suppliers of parts, and models.

    Each is adjusted for the others. The interval after a ratio is its own 95 % one; "all at once" holds for all
    comparisons of that kind and sort together. JSON, CSV and files also hold what could not be compared, and why.

    Example: fleetwear effects --by supplier --kind "ball joint"
    """
    from fleetwear.forecast.effects import EFFECTS_CAUTION
    from fleetwear.planning.effects import read_effects
    from fleetwear.reports.effect_tables import effect_table, short_effect_table, write_effect_file
    from fleetwear.reports.tables import render
    from fleetwear.store import open_snapshot

    con = open_snapshot(store_folder(store))
    try:
        found = read_effects(con, kind=kind, factor=by.value if by else None)
    finally:
        con.close()
    if out is not None:
        write_effect_file(found, out)
        say(f"Written to {out}.")
    render(short_effect_table(found) if form is Form.TABLE else effect_table(found), form.value, sys.stdout.write)
    compared = int(found["ratio"].notna().sum())
    say(f"{compared} comparisons; p holm is adjusted for all of them, and only for them.")
    if compared < len(found):
        say(f"{len(found) - compared} more could not be made; --format csv tells why.")
    say(EFFECTS_CAUTION)


class TrendBy(StrEnum):
    """What trends are told by."""

    KIND = "kind"
    MODEL = "model"
    DEPOT = "depot"
    DUTY = "duty"
    SUPPLIER = "supplier"


@app.command()
def trends(
    by: Annotated[TrendBy, typer.Option("--by", help="What the parts are grouped by.")] = TrendBy.KIND,
    kind: Annotated[str | None, typer.Option(help="Only this kind of joint; each of them if not given.")] = None,
    units: Annotated[
        str | None,
        typer.Option(help='Units of play and distance, like "mm km"; those of most vehicles if not given.'),
    ] = None,
    report: Annotated[
        Path | None,
        typer.Option("--report", metavar="FILE", help="Write the report, with charts, to a .html or .pdf file too."),
    ] = None,
    out: Annotated[
        Path | None, typer.Option("--out", metavar="FILE", help="Write the table to a .csv or .xlsx file too.")
    ] = None,
    form: FormOption = Form.TABLE,
    store: StoreOption = None,
) -> None:
    """Print how fast play grows, how parts differ, and by when they cross their limits, group by group.

    Means are not adjusted for what else sets groups apart; `fleetwear effects` compares with adjustment.

    Example: fleetwear trends --by depot --kind "ball joint" --report trends.pdf
    """
    from fleetwear.reports import trend_words as words
    from fleetwear.reports.tables import render
    from fleetwear.reports.trend_tables import TrendUnits, short_trend_table, trend_table, write_trend_file
    from fleetwear.store import open_snapshot
    from fleetwear.trends import answer, read_trends
    from fleetwear.vocabulary import CAUTION

    con = open_snapshot(store_folder(store))
    try:
        found = read_trends(con)
    finally:
        con.close()
    told = answer(found, by=by.value, kind=kind)
    own = TrendUnits(*found.units[0]) if units is None else TrendUnits.read(units)
    if report is not None:
        from fleetwear.reports.trend_pdf import write_trend_report

        write_trend_report(told, report, units=own)
        say(f"Written to {report}.")
    table = trend_table(told.growth, told.lifetimes, by=told.by)
    if out is not None:
        write_trend_file(table, out)
        say(f"Written to {out}.")
    short = short_trend_table(told.growth, told.lifetimes, by=told.by, units=own)
    render(short if form is Form.TABLE else table, form.value, sys.stdout.write)
    for text in words.headlines(told, own):
        say(text)
    for one in (*told.thin_growth, *told.thin_lifetimes):
        say(f"Too thin. {one.words()}")
    for text in (words.CROSSINGS_CAUTION, CAUTION):
        say(text)


class StudyForm(StrEnum):
    """How a study is printed."""

    TABLE = "table"
    JSON = "json"


class StudyMethodName(StrEnum):
    """How a study's variations are estimated."""

    AUTO = "auto"
    ANOVA = "anova"
    RANGES = "average and range"
    REML = "reml"


@app.command()
def study(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="CSV or XLSX with the columns joint, technician, play.")],
    limit: Annotated[
        str | None, typer.Option("--limit", help='What the readings are to be compared with, like "0.5 mm".')
    ] = None,
    method: Annotated[
        StudyMethodName,
        typer.Option("--method", help="auto is analysis of variance, or reml where strokes are missing."),
    ] = StudyMethodName.AUTO,
    form: Annotated[StudyForm, typer.Option("--format", help="How to print.")] = StudyForm.TABLE,
) -> None:
    """Tell how well readings are known, from several people's repeated strokes of the same joints.

    One row a stroke; people may be codes. Nothing is stored, and no store is read.

    Example: fleetwear study study.csv --limit "0.5 mm"
    """
    from fleetwear.intake.study_file import read_study
    from fleetwear.measurement import analyse
    from fleetwear.reports import reading_study as words
    from fleetwear.reports.tables import render
    from fleetwear.vocabulary import READING_CAUTION

    limit_mm = words.read_limit(limit) if limit is not None else None
    found = read_study(file)
    result = analyse(found.joints, found.people, found.play_mm, method=method.value)
    refused = words.refused_words(found)
    if form is StudyForm.JSON:
        sys.stdout.write(words.study_json(result, found, limit_mm=limit_mm))
    else:
        render(words.variation_table(result, found.play_unit, limit_mm=limit_mm), "table", sys.stdout.write)
        for text in words.study_words(result, found.play_unit, limit_mm=limit_mm):
            typer.echo(text)
    if refused:
        say(f"{len(refused)} rows were refused, and the study stands without them:")
        for text in refused:
            say(f"    {text}")
    say(READING_CAUTION)
