"""The options that several commands share, and what they mean."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from fleetwear.forecast import Settings


class Form(StrEnum):
    """How data are printed."""

    TABLE = "table"
    JSON = "json"
    CSV = "csv"


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


def store_folder(store: Path | None) -> Path:
    """Return the store that was asked for, or the usual one."""
    from fleetwear.store import default_store_dir

    return store if store is not None else default_store_dir()


def as_of_day(given: datetime | None) -> date:
    """Return the day that was asked for, or today."""
    return given.date() if given is not None else date.today()


def now() -> datetime:
    """Return the present moment as the store keeps moments: in UTC, without a zone."""
    return datetime.now(UTC).replace(tzinfo=None)


def in_utc(moment: datetime | None) -> datetime | None:
    """Return a moment of this machine's clock, or one with a zone, as the store keeps moments."""
    return None if moment is None else moment.astimezone(UTC).replace(tzinfo=None)


def forecast_settings(cost_ratio: float | None, risk_cap: float | None) -> Settings:
    """Return the usual settings with what was asked for."""
    from fleetwear.forecast import Settings

    standard = Settings()
    return replace(
        standard,
        cost_ratio=standard.cost_ratio if cost_ratio is None else cost_ratio,
        load_carrying_cap=standard.load_carrying_cap if risk_cap is None else risk_cap,
    )
