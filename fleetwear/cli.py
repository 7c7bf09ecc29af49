"""The command line: parse, call one function, print. Data go to standard output, talk to standard error.

Exit codes: 0 done; 1 it could not be done, and the message says why; 2 the command was not understood.
"""

from __future__ import annotations

import os
import sys
from dataclasses import replace
from datetime import UTC, date, datetime
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from fleetwear.errors import FleetwearError
from fleetwear.vocabulary import CAUTION

if TYPE_CHECKING:
    from collections.abc import Callable

    from fleetwear.forecast import Settings
    from fleetwear.intake import LoadSummary
    from fleetwear.planning.flags import Flags

app = typer.Typer(
    name="fleetwear",
    help="Track and forecast the wear of suspension and steering joints over a fleet's repeat visits.\n\n" + CAUTION,
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    add_completion=False,
)


class Form(StrEnum):
    """How data are printed."""

    TABLE = "table"
    JSON = "json"
    CSV = "csv"


class Paper(StrEnum):
    """What a page is printed on."""

    A4 = "a4"
    LETTER = "letter"


class Answer(StrEnum):
    """What may be said of a reading that was asked about."""

    TRUE_READING = "true reading"
    MISTAKE = "mistake"


StoreOption = Annotated[
    Path | None,
    typer.Option(
        "--store",
        metavar="DIR",
        help="Folder of the store; FLEETWEAR_STORE, or ~/.fleetwear/store, if not given.",
    ),
]
AsOfOption = Annotated[
    datetime | None,
    typer.Option("--as-of", formats=["%Y-%m-%d"], help="Use only what had happened by this day; today if not given."),
]
KnownByOption = Annotated[
    datetime | None, typer.Option("--known-by", help="Use only what had been loaded by this moment of the local clock.")
]
FormOption = Annotated[Form, typer.Option("--format", help="How to print.")]
CostOption = Annotated[
    float | None,
    typer.Option(
        "--cost-ratio",
        help="Cost of a joint that crosses its limit unseen, over that of replacing it early; 9 accepts 0.1 risk.",
    ),
]
CapOption = Annotated[
    float | None,
    typer.Option("--risk-cap", help="Highest accepted risk of a joint that carries load; 0.05 if not given."),
]


def say(text: str) -> None:
    """Talk to the person, on standard error."""
    typer.echo(text, err=True)


def _tell_waiting() -> None:
    say("Another program is writing to the store; waiting ...")


def _folder(store: Path | None) -> Path:
    from fleetwear.store import default_store_dir

    return store if store is not None else default_store_dir()


def _as_of(given: datetime | None) -> date:
    return given.date() if given is not None else date.today()


def _now() -> datetime:
    """Return the present moment as the store keeps moments: in UTC, without a zone."""
    return datetime.now(UTC).replace(tzinfo=None)


def _in_utc(moment: datetime | None) -> datetime | None:
    """Return a moment of this machine's clock, or one with a zone, as the store keeps moments."""
    return None if moment is None else moment.astimezone(UTC).replace(tzinfo=None)


def _settings(cost_ratio: float | None, risk_cap: float | None) -> Settings:
    from fleetwear.forecast import Settings

    standard = Settings()
    return replace(
        standard,
        cost_ratio=standard.cost_ratio if cost_ratio is None else cost_ratio,
        load_carrying_cap=standard.load_carrying_cap if risk_cap is None else risk_cap,
    )


def _progress() -> Callable[[str, int, int], None]:
    """Return a reporter that shows one line, rewritten, on a terminal and nothing elsewhere."""
    shown = sys.stderr.isatty()

    def report(words: str, done: int, total: int) -> None:
        if shown:
            end = "\n" if done == total else ""
            sys.stderr.write(f"\r\x1b[2K  {done} of {total}  {words}{end}")
            sys.stderr.flush()

    return report


@app.callback()
def main_options(
    debug: Annotated[bool, typer.Option("--debug", help="Show the traceback of an error.")] = False,
) -> None:
    """Keep the options that stand before a command."""
    if debug:
        os.environ["FLEETWEAR_DEBUG"] = "1"


@app.command()
def load(
    files: Annotated[
        list[Path] | None,
        typer.Argument(
            metavar="[FILE...]", help="CSV or XLSX files, in any order; without any, what lies in the inbox."
        ),
    ] = None,
    store: StoreOption = None,
) -> None:
    """Load files of vehicles, joint positions, limits, services, parts, visits, readings, work or odometer values.

    Each table is recognised by its header. A file is loaded whole or not at all; rows that cannot be taken go to
    quarantine with their reasons, and loading a file again changes nothing. Files go to the store's inbox first; if a
    load is cut off, the next one takes what lies there, even without files.

    Example: fleetwear load vehicles.csv readings.xlsx
    """
    from pipelines import load as pipeline

    folder = _folder(store)
    summaries = pipeline.run(
        folder, files or [], date.today(), on_progress=_talk_if_terminal(), on_note=say, on_wait=_tell_waiting
    )
    _tell_load(summaries)
    if not summaries:
        say("Nothing was waiting in the inbox.")
    say(f"Store: {folder}. Next: fleetwear forecast")


def _talk_if_terminal() -> Callable[[str], None] | None:
    return (lambda text: say(f"  {text}")) if sys.stderr.isatty() else None


def _tell_load(summaries: list[LoadSummary]) -> None:
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
        typer.echo(f"{where}: {one.table}, {one.rows_read} rows read, {', '.join(parts)}")
        for reason, count in one.reasons.items():
            say(f"    {count} x {reason}")
        for header in one.ignored:
            say(f"    column left out: {header}")
    if any(one.rows_quarantined + one.rows_quarantined_before for one in summaries):
        say("Refused rows: fleetwear quarantine")
    if any(one.questions for one in summaries):
        say("Readings asked about: fleetwear questions")


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

    with Store(_folder(store)).reader() as con:
        rows = list_quarantine(con, include_settled=settled)
    rows["reasons"] = ["; ".join(reasons) for reasons in rows["reasons"]]
    if rows.empty:
        say("No row is in quarantine.")
    render(rows, form.value, sys.stdout.write)


@app.command()
def questions(store: StoreOption = None, form: FormOption = Form.TABLE) -> None:
    """List the readings that look implausible and are asked about; their vehicles stay among the flags.

    Example: fleetwear questions
    """
    from fleetwear.intake import open_questions
    from fleetwear.reports.tables import render
    from fleetwear.store import Store

    with Store(_folder(store)).reader() as con:
        rows = open_questions(con)
    if rows.empty:
        say("No question is open.")
    render(rows.drop(columns=["reading_id", "play_mm"]), form.value, sys.stdout.write)
    if not rows.empty:
        say('Answer with: fleetwear answer NUMBER "true reading" (or "mistake")')


@app.command()
def answer(
    number: Annotated[int, typer.Argument(help="The question's number.")],
    words: Annotated[Answer, typer.Argument(metavar="ANSWER", help='"true reading" or "mistake".')],
    by: Annotated[str, typer.Option("--by", help="Who answers.")] = "",
    store: StoreOption = None,
) -> None:
    """Answer a question about an implausible reading.

    Example: fleetwear answer 1 mistake --by T2
    """
    from fleetwear.intake import answer as give
    from fleetwear.store import Store

    with Store(_folder(store)).writer(on_wait=_tell_waiting) as con:
        give(con, number, words.value, by or None)
    say(f"Question {number} is answered: {words.value}. Next: fleetwear forecast")


@app.command()
def forecast(
    as_of: AsOfOption = None,
    known_by: KnownByOption = None,
    cost_ratio: CostOption = None,
    risk_cap: CapOption = None,
    backtest: Annotated[
        bool,
        typer.Option("--backtest", help="Also score the model on past dates, which takes four further fits."),
    ] = False,
    store: StoreOption = None,
) -> None:
    """Fit the growth of play, forecast every vehicle to its next service, and publish the result.

    Example: fleetwear forecast --as-of 2026-11-01
    """
    from pipelines import nightly

    folder, day = _folder(store), _as_of(as_of)
    number = nightly.run(
        folder,
        as_of=day,
        made_at=_now(),
        known_by=_in_utc(known_by),
        settings=_settings(cost_ratio, risk_cap),
        backtest=backtest,
        on_progress=_progress(),
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

    folder = _folder(store)
    number = pipeline.run(
        folder,
        made_at=_now(),
        dates=_days(dates),
        start=start.date() if start else None,
        every_months=every_months,
        settings=_settings(cost_ratio, risk_cap),
        on_progress=_progress(),
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


def _days(text: str | None) -> list[date] | None:
    """Return days written as "2026-01-01,2026-04-01"."""
    try:
        return None if text is None else [date.fromisoformat(part.strip()) for part in text.split(",")]
    except ValueError as error:
        raise typer.BadParameter(f"{error}: write days like 2026-01-01,2026-04-01", param_hint="--dates") from error


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

    con = open_snapshot(_folder(store))
    try:
        found = read_flags(con, depot=depot, horizon_days=horizon, accepted_risk=accepted_risk)
    finally:
        con.close()
    _print_flags(found, form, everything=everything, joints=joints)


def _print_flags(found: Flags, form: Form, *, everything: bool, joints: bool) -> None:
    from fleetwear.reports.tables import joint_table, render, vehicle_table
    from fleetwear.vocabulary import OUTCOME_RANKS, Outcome

    chosen = found.joints if joints else found.vehicles
    if not everything:
        chosen = chosen[chosen["outcome"].map(OUTCOME_RANKS) <= Outcome.RECHECK.rank]
    frame = joint_table(chosen) if joints else vehicle_table(chosen)
    if form is Form.TABLE and not joints:
        frame = frame[["unit", "depot", "outcome", "any_joint_over", "next_service", "reason"]]
    elif form is Form.TABLE:
        frame = frame[["unit", "joint", "direction", "outcome", "last_play", "limit", "play_unit", "probability"]]
    render(frame, form.value, sys.stdout.write)
    counts = found.vehicles["outcome"].value_counts()
    told = ", ".join(f"{counts[outcome]} {outcome}" for outcome in OUTCOME_RANKS if outcome in counts)
    say(f"{len(found.vehicles)} vehicles as of {found.run.as_of}: {told}.")
    if not everything:
        say("Those below recheck are listed with --all.")
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

    con = open_snapshot(_folder(store))
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
                "growth",
                "growth_unit",
                "probability",
                "crossing_date_50",
            ]
        ]
    render(frame, form.value, sys.stdout.write)
    say(CAUTION)


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

    con = open_snapshot(_folder(store))
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


@app.command()
def dashboard(
    port: Annotated[int, typer.Option(help="Port on this machine.")] = 8501,
    store: StoreOption = None,
) -> None:
    """Serve the dashboard on this machine only (loopback), from the published snapshot.

    Example: fleetwear dashboard --port 8502
    """
    import subprocess

    from dashboard import serve

    folder = _folder(store)
    say(f"Dashboard at http://127.0.0.1:{port} for the store {folder}; stop it with Ctrl+C.")
    try:
        code = subprocess.run(serve.command(folder, port=port), env=serve.environment(folder), check=False).returncode
    except KeyboardInterrupt:
        code = 0
    raise typer.Exit(code)


@app.command()
def demo(store: StoreOption = None) -> None:
    """Make the invented demo fleet, load it, forecast it and print its flags; safe to run again.

    The demo has a store of its own, ~/.fleetwear/demo, so that invented data never mix with yours.

    Example: fleetwear demo
    """
    import demo_fleet
    from fleetwear.planning.flags import read_flags
    from fleetwear.store import demo_store_dir, open_snapshot
    from pipelines import load as loading
    from pipelines import nightly

    folder = store if store is not None else demo_store_dir()
    say(f"1 of 4  Making the demo fleet in {folder / 'files'}")
    written = demo_fleet.write(folder / "files")
    say("2 of 4  Loading its files")
    _tell_load(loading.run(folder, written.files, max(date.today(), written.as_of), on_progress=_talk_if_terminal()))
    say(f"3 of 4  Fitting and forecasting as of {written.as_of}")
    nightly.run(folder, as_of=written.as_of, made_at=_now(), on_progress=_progress())
    say("4 of 4  Flags")
    con = open_snapshot(folder)
    try:
        _print_flags(read_flags(con), Form.TABLE, everything=False, joints=False)
    finally:
        con.close()
    say(f"Open the dashboard with: fleetwear dashboard --store {folder}")


@app.command()
def backup(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="The archive to write; it must not be there yet.")],
    store: StoreOption = None,
) -> None:
    """Write the store, its inbox and its newest snapshot into one file.

    Example: fleetwear backup store.zip
    """
    from fleetwear.store.backups import backup as write

    members = write(_folder(store), file, on_progress=_progress(), on_wait=_tell_waiting)
    say(f"{file}: {members} files, {file.stat().st_size:,} bytes. Bring it back with: fleetwear restore {file}")


@app.command()
def restore(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="An archive that fleetwear backup wrote.")],
    replace_store: Annotated[
        bool, typer.Option("--replace", help="Move a store that stands there aside; it is not deleted.")
    ] = False,
    store: StoreOption = None,
) -> None:
    """Bring a backup back, each file compared with its SHA-256 first.

    Example: fleetwear restore store.zip --store ~/restored
    """
    from fleetwear.store.backups import restore as bring_back

    folder = _folder(store)
    aside = bring_back(file, folder, replace=replace_store, on_progress=_progress())
    if aside is not None:
        say(f"What stood there is now {aside}.")
    say(f"Store: {folder}. Next: fleetwear verify")


@app.command()
def verify(store: StoreOption = None) -> None:
    """Check the store: rows against loads, references, and inbox. Exit code 1 if something is wrong.

    Example: fleetwear verify
    """
    from fleetwear.store.verifying import verify as check

    found = check(_folder(store), on_progress=_progress(), on_wait=_tell_waiting)
    for text in found.wrong:
        typer.echo(text)
    for text in found.remarks:
        say(text)
    say(f"Checked {', '.join(found.checked)}: {len(found.wrong) or 'nothing'} wrong.")
    if found.wrong:
        raise typer.Exit(1)


def main() -> None:
    """Run the command line; errors of the project become a message and exit code 1."""
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    try:
        app()
    except FleetwearError as error:
        if os.environ.get("FLEETWEAR_DEBUG"):
            raise
        say(f"fleetwear: {error}")
        raise SystemExit(1) from None
