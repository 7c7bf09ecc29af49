"""Fit, forecast and publish, in order; each step is safe to run again."""

from __future__ import annotations

from typing import TYPE_CHECKING

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
    on_progress: Callable[[str, int, int], None] | None = None,
) -> int:
    """Run the three steps and return the forecast_id; parameters are those of ``pipelines.fit.run``."""
    fit.run(folder, as_of=as_of, made_at=made_at, known_by=known_by, settings=settings, on_progress=on_progress)
    forecast_id = forecast.run(
        folder, as_of=as_of, made_at=made_at, known_by=known_by, settings=settings, on_progress=on_progress
    )
    publish.run(folder)
    return forecast_id
