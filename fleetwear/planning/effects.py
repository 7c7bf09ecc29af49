"""The comparisons of growth that stand with a published forecast."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fleetwear.errors import StoreError
from fleetwear.forecast.effects import check_kind_and_factor, with_holm
from fleetwear.planning.flags import latest_forecast
from fleetwear.store import sql

if TYPE_CHECKING:
    import duckdb
    import pandas as pd


def read_effects(
    con: duckdb.DuckDBPyConnection,
    *,
    kind: str | None = None,
    factor: str | None = None,
    forecast_id: int | None = None,
) -> pd.DataFrame:
    """Return the stored comparisons of growth, the columns of ``compare_growth``.

    ``p_holm`` is adjusted for the comparisons returned, so that narrowing the question before it is asked is worth
    something, and narrowing it afterwards is not honest.

    Parameters
    ----------
    con
        A connection to a store or a snapshot.
    kind, factor
        As in ``compare_growth``; all of them if not given.
    forecast_id
        In place of the latest; its fit's comparisons are returned.

    Raises
    ------
    InputError
        If the kind or the factor is not one of those that there are.
    StoreError
        If there is no forecast, or its fit was made before comparisons were kept.
    """
    check_kind_and_factor(kind, factor)
    run = latest_forecast(con, forecast_id)
    kept = con.execute(
        "select count(*) from duckdb_tables() where table_name = 'fit_effects' and database_name = current_database()"
    ).fetchall()[0][0]
    count = "select count(*) from fit_effects where fit_id = ?"
    if not kept or not con.execute(count, [run.fit_id]).fetchall()[0][0]:
        raise StoreError(
            f"forecast {run.forecast_id} has no comparisons of growth with it", mend="Run `fleetwear forecast` again."
        )
    return with_holm(con.execute(sql("effects/stored"), {"fit_id": run.fit_id, "kind": kind, "factor": factor}).df())
