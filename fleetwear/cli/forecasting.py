"""Commands that fit and look ahead, or back: forecast, backtest."""

from __future__ import annotations

import sys
from dataclasses import replace
from datetime import date, datetime
from typing import Annotated

import typer

from fleetwear.cli.options import (
    AsOfOption,
    CapOption,
    CostOption,
    Form,
    FormOption,
    KnownByOption,
    StoreOption,
    as_of_day,
    forecast_settings,
    in_utc,
    now,
    store_folder,
)
from fleetwear.cli.program import app, give_way
from fleetwear.cli.talk import progress, say


@app.command()
def forecast(
    as_of: AsOfOption = None,
    known_by: KnownByOption = None,
    cost_ratio: CostOption = None,
    risk_cap: CapOption = None,
    repeatability: Annotated[
        list[str] | None,
        typer.Option(
            "--repeatability",
            metavar='"WAY=SD"',
            help='Known from a study, like "pry bar, read at the joint=0.02 mm"; "WAY: SHOP=SD" of a shop. Repeatable.',
        ),
    ] = None,
    backtest: Annotated[
        bool,
        typer.Option("--backtest", help="Also score the model on past dates, which takes four further fits."),
    ] = False,
    refit_after: Annotated[
        int,
        typer.Option(
            "--refit-after",
            metavar="DAYS",
            min=0,
            help="Go by a fit less than so many days old, and look anew only at vehicles with news; 0 fits anew.",
        ),
    ] = 0,
    keep: Annotated[
        int,
        typer.Option(
            "--keep",
            metavar="N",
            min=1,
            help="How many of the latest forecasts stay whole; of earlier ones it stays how they were made.",
        ),
    ] = 7,
    store: StoreOption = None,
) -> None:
    """Fit the growth of play, forecast every vehicle to its next service, and publish the result.

    Every night for a big fleet: fleetwear forecast --refit-after 7

    Example: fleetwear forecast --as-of 2026-11-01
    """
    from pipelines import nightly

    give_way()
    folder, day = store_folder(store), as_of_day(as_of)
    number = nightly.run(
        folder,
        as_of=day,
        made_at=now(),
        known_by=in_utc(known_by),
        settings=replace(forecast_settings(cost_ratio, risk_cap), repeatability_mm=_known(repeatability or [])),
        backtest=backtest,
        refit_days=refit_after,
        keep=keep,
        on_progress=progress(),
    )
    say(f"Forecast {number} as of {day} is published. Next: fleetwear flags")


@app.command()
def backtest(
    dates: Annotated[
        str | None,
        typer.Option("--dates", metavar="DATE,DATE,...", help="Look from these days; else as --every-months says."),
    ] = None,
    every_months: Annotated[int, typer.Option("--every-months", metavar="N", help="Months between two dates.")] = 6,
    start: Annotated[
        datetime | None,
        typer.Option("--from", formats=["%Y-%m-%d"], help="The first date; else four, back from the last reading."),
    ] = None,
    cost_ratio: CostOption = None,
    risk_cap: CapOption = None,
    form: FormOption = Form.TABLE,
    store: StoreOption = None,
) -> None:
    """Look from past dates, forecast each joint's next reading with only what had happened by then, and score it.

    Every date costs a fit of the whole fleet, so this takes about as long as that many forecasts. The dashboard shows
    the result on its page "Model check".

    Example: fleetwear backtest --dates 2025-11-01,2026-05-01
    """
    from fleetwear.backtest.records import read_backtest
    from fleetwear.reports import model_check as words
    from fleetwear.reports.tables import render
    from fleetwear.store import Store
    from pipelines import backtest as pipeline
    from pipelines import publish

    give_way()
    folder = store_folder(store)
    number = pipeline.run(
        folder,
        made_at=now(),
        dates=_days(dates),
        start=start.date() if start else None,
        every_months=every_months,
        settings=forecast_settings(cost_ratio, risk_cap),
        on_progress=progress(),
    )
    with Store(folder).reader() as con:
        check = read_backtest(con, number)
    assert check is not None, "it was written just now"
    publish.run(folder)
    table = words.figure_table(check).drop(columns="meaning") if form is Form.TABLE else words.score_table(check)
    render(table, form.value, sys.stdout.write)
    for text in (words.say_scope(check), words.say_coverage(check), words.say_lost(check), *words.left_out(check)):
        say(text)
    say(f"Backtest {number} is published. Next: fleetwear dashboard, page Model check")


def _known(texts: list[str]) -> tuple[tuple[str, float], ...]:
    """Return repeatability written as "way=0.02 mm" as pairs of way and mm."""
    from fleetwear.units import factor, parse_measure

    pairs = []
    for text in texts:
        way, _, written = text.rpartition("=")
        if not way.strip():
            raise typer.BadParameter(
                f'{text!r}: write "pry bar, read at the joint=0.02 mm"', param_hint="--repeatability"
            )
        value, unit = parse_measure(written, "play")
        pairs.append((way.strip(), value * factor(unit, "mm")))
    return tuple(pairs)


def _days(text: str | None) -> list[date] | None:
    """Return days written as "2026-01-01,2026-04-01"."""
    try:
        return None if text is None else [date.fromisoformat(part.strip()) for part in text.split(",")]
    except ValueError as error:
        raise typer.BadParameter(f"{error}: write days like 2026-01-01,2026-04-01", param_hint="--dates") from error
