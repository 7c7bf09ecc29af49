"""Backtest: walk through past dates, fit at each with only what had happened by then, score what was forecast."""

from __future__ import annotations

import json
import time
from datetime import date
from functools import partial
from typing import TYPE_CHECKING

from fleetwear.backtest.cases import TABLES_OF_FIT, cases_as_of, read_record
from fleetwear.backtest.dates import EVERY_MONTHS, choose_dates
from fleetwear.backtest.records import save_backtest
from fleetwear.backtest.summary import summarise
from fleetwear.errors import InputError
from fleetwear.forecast import Settings
from fleetwear.store import Store
from fleetwear.store.apart import apart
from fleetwear.store.runs import running

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from datetime import datetime
    from pathlib import Path


def run(
    folder: Path,
    *,
    made_at: datetime,
    dates: Sequence[date] | None = None,
    start: date | None = None,
    every_months: int = EVERY_MONTHS,
    through: date = date.max,
    known_by: datetime | None = None,
    settings: Settings | None = None,
    on_progress: Callable[[str, int, int], None] | None = None,
) -> int:
    """Score the forecasts of past dates, store what comes of it, and return the backtest_id.

    The store is read date by date and let go before each fit, so that others may write meanwhile; it is locked only to
    write the results.

    Parameters
    ----------
    folder
        The store.
    made_at
        When the run is made.
    dates, start, every_months
        The dates to look from; see ``fleetwear.backtest.dates.choose_dates``.
    through
        The last day of the record that counts.
    known_by
        Only rows loaded by then count; None: all of them.
    settings
        Settings of the fits; defaults where None.
    on_progress
        Called with the date and kind of joint at work, steps done and steps in all.

    Raises
    ------
    InputError
        If no date can be scored; the message says why for each.
    """
    chosen = settings or Settings()
    asked = {"dates": dates, "every_months": every_months, "start": start, "known_by": known_by}
    with running(folder, "backtest", settings=asked) as run_note:
        store = Store(folder)
        began = time.perf_counter()
        with store.reader() as con:
            record = read_record(con, through=through, known_by=known_by)
        if record.first_day is None or record.last_day is None:
            raise InputError(
                "no reading has been measured yet", where=str(folder), mend="Load readings with `fleetwear load FILE`."
            )
        days = choose_dates(record.first_day, record.last_day, dates=dates, start=start, every_months=every_months)
        of_dates = []
        for place, as_of in enumerate(days):
            with apart(store) as own:
                of_dates.append(
                    cases_as_of(
                        own.con,
                        record,
                        as_of=as_of,
                        settings=chosen,
                        known_by=known_by,
                        on_progress=_of_date(on_progress, as_of, place, len(days)),
                        on_read=partial(own.let_go, keep=TABLES_OF_FIT),
                    )
                )
        if on_progress is not None:
            on_progress("dates looked from", len(days), len(days))
        backtest = summarise(of_dates)
        if backtest.cases.empty:
            reasons = "; ".join(f"{one.as_of}: {one.skipped or 'no kind read again had a model'}" for one in of_dates)
            raise InputError(f"no date can be scored ({reasons})", mend="Name dates with more readings on both sides.")
        said = json.loads(chosen.to_json()) | {
            "every_months": every_months,
            "start": start,
            "through": record.last_day,
            "known_by": known_by,
        }
        run_note.settings = said
        elapsed = time.perf_counter() - began
        with store.writer() as con:
            number = save_backtest(con, backtest, made_at=made_at, settings=said, elapsed_seconds=elapsed)
            run_note.record(con, backtest=number, dates=len(days), cases=len(backtest.cases))
        return number


def _of_date(
    report: Callable[[str, int, int], None] | None, as_of: date, number: int, dates: int
) -> Callable[[str, int, int], None] | None:
    """Return a reporter of one date's steps as steps of the whole."""
    if report is None:
        return None

    def tell(words: str, done: int, total: int) -> None:
        if done < total:
            report(f"{as_of}  {words}", number * total + done, dates * total)

    return tell
