"""The documented views of a snapshot: schema ``tidy``, with a dictionary and comments, as of its latest forecast.

The views stand on the tables of `fleetwear.store.known`, kept for good in the schema ``known`` of the snapshot, so
that lives, distances and series are worked out once and by one definition. A view is a query of the folder
``queries/tidy``; what its columns mean stands in ``dictionary.csv`` beside them.
"""

from __future__ import annotations

import csv
from dataclasses import dataclass
from importlib.resources import files
from typing import TYPE_CHECKING

from fleetwear.errors import StoreError
from fleetwear.store.known import prepare
from fleetwear.store.queries import sql
from fleetwear.vocabulary import OUTCOME_RANKS

if TYPE_CHECKING:
    import duckdb

KEYS: dict[str, tuple[str, ...]] = {
    "about": ("forecast_number",),
    "vehicles": ("unit",),
    "joints": ("unit", "joint"),
    "visits": ("visit_id",),
    "readings": ("reading_id",),
    "series_visits": ("unit", "joint", "load_direction", "life_no", "visit_id", "timing"),
    "work": ("work_id",),
    "services": ("service_id",),
    "odometer": ("unit", "entry_date", "from_table", "from_row"),
    "limits": ("limit_id",),
    "series": ("unit", "joint", "load_direction", "life_no"),
    "flags": ("urgency", "next_service_date_50", "unit"),
    "cohorts": ("model_group", "shape", "cohort"),
    "models": ("model_group", "shape"),
    "methods": ("model_group", "shape", "way_of_reading"),
    "comparisons": ("comparison_number",),
}
"""The views in their order, each with the columns that order its rows and tell them apart."""

_KEPT = (
    "known_moment",
    "known_loads",
    "known_set_aside",
    "known_vehicles",
    "known_swaps",
    "known_entries",
    "known_visits",
    "known_work",
    "known_lives",
    "known_readings",
    "known_series_visits",
    "known_services",
    "known_limits",
)
_TYPES = {
    "VARCHAR": "text",
    "DOUBLE": "number",
    "INTEGER": "whole number",
    "BIGINT": "whole number",
    "DATE": "date",
    "TIMESTAMP": "moment",
    "BOOLEAN": "yes or no",
}


@dataclass(frozen=True)
class Entry:
    """What the dictionary says of a view, or of one column of it or of any view."""

    view: str
    """``*`` stands for every view that has the column."""
    column: str
    """Empty for the view itself."""
    unit: str
    comes_from: str
    meaning: str


def dictionary_entries() -> list[Entry]:
    """Return every entry of ``dictionary.csv``, in its order."""
    text = (files("fleetwear.store") / "queries" / "tidy" / "dictionary.csv").read_text(encoding="utf-8")
    return [Entry(**row) for row in csv.DictReader(text.splitlines())]


def make_tidy(con: duckdb.DuckDBPyConnection) -> bool:
    """Make the views, on a connection for writing to a snapshot that is being made; False without a forecast.

    Raises
    ------
    StoreError
        If a column has no entry in the dictionary; that is a mistake in the program.
    """
    rows = con.execute("select as_of, known_by from forecasts order by forecast_id desc limit 1").fetchall()
    if not rows:
        return False
    as_of, known_by = rows[0]
    prepare(con, as_of=as_of, known_by=known_by)
    con.execute("create schema known")
    for name in _KEPT:
        con.execute(f"create table known.{name} as select * from temp.{name}").fetchall()
    con.execute("create table known.outcome_ranks (outcome varchar primary key, rank integer not null)")
    con.executemany("insert into known.outcome_ranks values (?, ?)", [list(pair) for pair in OUTCOME_RANKS.items()])
    con.execute("create schema tidy")
    for number, view in enumerate(KEYS, start=1):
        con.execute(f"create view tidy.{view} as {sql(f'tidy/{number:02d}_{view}')}")
    _describe(con)
    return True


def has_tidy(con: duckdb.DuckDBPyConnection) -> bool:
    """Return whether the store or snapshot holds the views."""
    query = "select count(*) from duckdb_tables() where schema_name = 'tidy' and database_name = current_database()"
    return bool(con.execute(query).fetchall()[0][0])


def require_tidy(con: duckdb.DuckDBPyConnection, *, where: str = "") -> None:
    """See that the snapshot holds the views.

    Raises
    ------
    StoreError
        If it does not: an earlier program published it, or it has no forecast.
    """
    if has_tidy(con):
        return
    forecasts = con.execute("select count(*) from forecasts").fetchall()[0][0]
    what = "holds no tables to take away: an earlier program published it" if forecasts else "has no forecast in it"
    raise StoreError(f"the published snapshot {what}", where=where, mend="Run `fleetwear forecast` once.")


def _describe(con: duckdb.DuckDBPyConnection) -> None:
    """Write the table ``tidy.dictionary`` and the comments on views and columns."""
    con.execute(
        "create table tidy.dictionary (table_name varchar not null, column_name varchar not null, "
        "place integer not null, type varchar not null, unit varchar, meaning varchar not null, "
        "comes_from varchar not null, primary key (table_name, column_name))"
    )
    said = {(entry.view, entry.column): entry for entry in dictionary_entries()}
    columns = con.execute(
        "select table_name, column_name, column_index, data_type from duckdb_columns() "
        "where schema_name = 'tidy' and table_name <> 'dictionary' and database_name = current_database() "
        "order by table_name, column_index"
    ).fetchall()
    rows = []
    for view, column, place, kind in columns:
        entry = said.get((view, column)) or said.get(("*", column))
        if entry is None:
            raise StoreError(f"the dictionary does not describe {view}.{column}", mend="Report this message.")
        rows.append([view, column, place, _TYPES[str(kind)], entry.unit or None, entry.meaning, entry.comes_from])
        unit = f"; in {entry.unit}" if entry.unit else ""
        comment = _quoted(f"{entry.meaning}{unit}; from {entry.comes_from}")
        con.execute(f"comment on column tidy.{view}.{column} is {comment}")
    for view in KEYS:
        con.execute(f"comment on view tidy.{view} is {_quoted(said[view, ''].meaning)}")
    con.executemany("insert into tidy.dictionary values (?, ?, ?, ?, ?, ?, ?)", rows)
    about = "one row a column of every view of this schema: what it means, its unit, its type, where it comes from"
    con.execute(f"comment on table tidy.dictionary is {_quoted(about)}")


def _quoted(text: str) -> str:
    return "'" + text.replace("'", "''") + "'"
