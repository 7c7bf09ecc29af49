"""What was known at a moment: the store's rows as temporary tables, with distances, lives and series.

After :func:`prepare` a connection has the tables ``known_vehicles``, ``known_swaps``, ``known_entries``,
``known_starts``, ``known_visits``, ``known_work``, ``known_lives``, ``known_readings``,
``known_series_visits`` and ``known_services``. They hold only what had happened by ``as_of`` and, where
``known_by`` is given, only what had been loaded by then. Works on a read-only connection too.
"""

from __future__ import annotations

from importlib.resources import files
from typing import TYPE_CHECKING

from fleetwear.store.queries import sql

if TYPE_CHECKING:
    from datetime import date, datetime

    import duckdb

ASSUMED_KM_PER_DAY = 100.0
"""Daily distance of a vehicle without an odometer: its growth is then growth with time, in these units."""


def prepare(con: duckdb.DuckDBPyConnection, *, as_of: date, known_by: datetime | None = None) -> None:
    """Make the tables of what was known, on this connection only.

    Parameters
    ----------
    con
        A connection to a store or a snapshot.
    as_of
        The last day whose events count.
    known_by
        Only rows loaded by then count; None: all of them.
    """
    for number, name in enumerate(_names()):
        if number == 0:
            con.execute(sql(name), {"as_of": as_of, "known_by": known_by, "km_per_day": ASSUMED_KM_PER_DAY}).fetchall()
        else:
            con.execute(sql(name)).fetchall()


def at_hand(con: duckdb.DuckDBPyConnection, *, as_of: date, known_by: datetime | None = None) -> None:
    """Make the tables of what was known readable under their names, for one who looks up a few rows of them.

    A snapshot that keeps them for this moment is looked into as it is, which takes as long for a large fleet as for a
    small one; anywhere else they are made, as :func:`prepare` does. Parameters are those of `prepare`.
    """
    if _keeps(con, as_of=as_of, known_by=known_by):
        database = con.execute("select current_database()").fetchall()[0][0]
        con.execute(f"""set search_path = '"{database}".main,"{database}".known'""")
    else:
        prepare(con, as_of=as_of, known_by=known_by)


def _keeps(con: duckdb.DuckDBPyConnection, *, as_of: date, known_by: datetime | None) -> bool:
    """Return whether the snapshot keeps all that a vehicle's page asks for, as of that moment."""
    there = con.execute(
        "select count(*) from duckdb_tables() where schema_name = 'known' and table_name in ('known_moment', "
        "'known_limits', 'known_swaps') and database_name = current_database()"
    ).fetchall()[0][0]
    if there < 3:  # an earlier program published it, or it is the store
        return False
    moments = con.execute("select as_of, known_by from known.known_moment").fetchall()
    return moments == [(as_of, known_by)]


def _names() -> list[str]:
    """Return the queries of the folder in the order of their numbers."""
    folder = files("fleetwear.store") / "queries" / "known"
    return sorted(f"known/{entry.name.removesuffix('.sql')}" for entry in folder.iterdir())
