"""Fit, forecast, on request backtest, publish, and let go what is no longer needed; each step is safe to run again."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fleetwear.forecast.letting_go import KEPT_FORECASTS, let_go
from fleetwear.store import Store
from pipelines import backtest as backtesting
from pipelines import fit, forecast, publish

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import date, datetime
    from pathlib import Path

    from fleetwear.forecast import Settings


def run(
    folder: Path,
    *,
    as_of: date,
    made_at: datetime,
    known_by: datetime | None = None,
    settings: Settings | None = None,
    backtest: bool = False,
    refit_days: int = 0,
    keep: int = KEPT_FORECASTS,
    on_progress: Callable[[str, int, int], None] | None = None,
) -> int:
    """Run the steps and return the forecast_id.

    Parameters are those of ``pipelines.fit.run``; ``backtest`` has the model scored on past dates too, which takes a
    further fit for each of them, four as a rule.
    Without ``refit_days`` everything is made anew; with them the fit is kept for so many days. Of the latest ``keep``
    forecasts all is kept that is known of series, of earlier ones only how they were made.
    """
    fit.run(
        folder,
        as_of=as_of,
        made_at=made_at,
        known_by=known_by,
        settings=settings,
        refit_days=refit_days,
        on_progress=on_progress,
    )
    forecast_id = forecast.run(
        folder, as_of=as_of, made_at=made_at, known_by=known_by, settings=settings, on_progress=on_progress
    )
    if backtest:
        backtesting.run(
            folder, made_at=made_at, through=as_of, known_by=known_by, settings=settings, on_progress=on_progress
        )
    publish.run(folder)
    with Store(folder).writer() as con:
        let_go(con, keep=keep)
    return forecast_id
