"""How well one visit's reading is known: setup beside repeatability, from repeat visits behind a forecast."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fleetwear.errors import InputError, StoreError
from fleetwear.forecast.setups import GROUPINGS, SLIPPED, Findings, find_setups
from fleetwear.planning.flags import latest_forecast
from fleetwear.store import sql

if TYPE_CHECKING:
    from collections.abc import Mapping

    import duckdb

HOW_TOLD = (
    "A joint that is read again tells how far one visit lies from the next beyond wear: each part's readings are set "
    "against a line of its own on the growth curve of the fit (restricted maximum likelihood). What strokes of one "
    "setup do not explain of that is the setup: where lever, support and indicator were placed, rounding, and wear "
    "that keeps to no such line. Readings that probably slipped stay out."
)


@dataclass(frozen=True)
class SetupRecord:
    """What repeat visits say."""

    fit_id: int
    findings: Findings
    kind: str | None
    """The kind of joint that was asked for; None for all together."""
    kinds: tuple[str, ...]
    """Kinds with readings that tell it."""
    counted_by: Mapping[str, str]
    """What readings count by in the fit, by kind: "method" (the same everywhere), "shop" or "technician"."""
    play_unit: str
    """The unit of play of most vehicles."""


def read_setups(
    con: duckdb.DuckDBPyConnection,
    *,
    kind: str | None = None,
    people: bool = False,
    forecast_id: int | None = None,
) -> SetupRecord:
    """Return what repeat visits say of setup and repeatability, by method, by shop and, if asked, by technician.

    Parameters
    ----------
    con
        A snapshot or a store.
    kind
        Only joints of this kind; all together if not given.
    people
        Whether figures by technician are made; they are for those who may see them.
    forecast_id
        The forecast whose fit is asked; the latest if not given.

    Raises
    ------
    StoreError
        If there is no forecast, or its fit was made before this was kept.
    InputError
        If no joint of that kind was read often enough.
    """
    run = latest_forecast(con, forecast_id)
    found = con.execute(sql("setups/kinds"), {"fit_id": run.fit_id}).fetchall()
    if not found:
        raise StoreError(
            f"forecast {run.forecast_id} has no repeat visits with it",
            mend="Run `fleetwear forecast` again; a joint needs two measured readings before one can be compared.",
        )
    kinds = tuple(str(row[0]) for row in found)
    if kind is not None and kind not in kinds:
        raise InputError(f"no repeat visits of joints of the kind {kind!r}", mend=f"Choose one of: {', '.join(kinds)}.")
    visits = con.execute(sql("setups/visits"), {"fit_id": run.fit_id, "kind": kind or "", "slipped": SLIPPED}).df()
    rows = con.execute("select settings from fits where fit_id = ?", [run.fit_id]).fetchall()
    stored = json.loads(str(rows[0][0]))
    known = {str(way): float(value) for way, value in stored.get("repeatability_mm", [])}
    groupings = GROUPINGS if people else GROUPINGS[:2]
    findings = find_setups(visits, known=known, groupings=groupings)
    return SetupRecord(run.fit_id, findings, kind, kinds, stored.get("setups", {}), str(found[0][1]))
