"""What takes long to make of a snapshot. It is asked for by way of `beside`, so it leans on nothing of the pages.

Each answer is small beside what it is made from, which stays here: one snapshot's at a time.
"""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache
from typing import TYPE_CHECKING

from fleetwear.planning.ahead import make_plan, read_material
from fleetwear.planning.setups import read_setups
from fleetwear.store import default_store_dir, open_snapshot
from fleetwear.trends import answer, read_trends

if TYPE_CHECKING:
    import duckdb

    from fleetwear.planning.ahead import Plan, PlanSettings
    from fleetwear.planning.ahead.material import Material, PlanChoices
    from fleetwear.planning.setups import SetupRecord
    from fleetwear.trends import TrendAnswer, Trends


@lru_cache(maxsize=1)
def _connection(folder: str, number: int) -> duckdb.DuckDBPyConnection:  # noqa: ARG001  the number is the cache's key
    return open_snapshot(default_store_dir())


@lru_cache(maxsize=1)
def _material(folder: str, number: int) -> Material:
    return read_material(_connection(folder, number).cursor())


@lru_cache(maxsize=1)
def _trends(folder: str, number: int) -> Trends:
    return read_trends(_connection(folder, number).cursor())


def plan_choices(folder: str, number: int) -> PlanChoices:
    """Return what can be chosen of a plan."""
    return _material(folder, number).choices


def plan(folder: str, number: int, settings: PlanSettings) -> Plan:
    """Return the plan of some settings, without its flags."""
    made = make_plan(_material(folder, number), settings)
    return replace(made, flags=made.flags.without_rows())


def trends(folder: str, number: int) -> Trends:
    """Return what is told of all trends, without rows."""
    return _trends(folder, number).without_rows()


def trend_answer(folder: str, number: int, by: str, kind: str | None) -> TrendAnswer:
    """Return what the trends say by a factor, for a kind or for all."""
    told = answer(_trends(folder, number), by=by, kind=kind)
    return replace(told, trends=told.trends.without_rows())


def setups(folder: str, number: int, kind: str | None, people: bool) -> SetupRecord:
    """Return what repeat visits say of setup, by technician too for those who may see it."""
    return read_setups(_connection(folder, number).cursor(), kind=kind, people=people)
