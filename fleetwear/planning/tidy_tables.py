"""The documented views of a snapshot as tables to take away: as of one forecast, whole or of one depot."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from fleetwear.errors import InputError
from fleetwear.store.tidy import KEYS, require_tidy

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    import duckdb
    import pandas as pd
    import pyarrow as pa

DICTIONARY = "dictionary"
ABOUT = "about"
_OF_PEOPLE = {"visits": ["technician"]}
"""The columns that name technicians, by table."""


@dataclass(frozen=True)
class Tidy:
    """Tables with the forecast that they are as of, and what their columns mean."""

    about: dict[str, Any]
    """The row of ``tidy.about`` by column: forecast_number, fit_number, as_of, program_version and more."""
    tables: dict[str, pa.Table]
    """Each table by name, its rows in the order of its keys."""
    meanings: dict[str, str]
    """What one row of each table is."""
    dictionary: pd.DataFrame
    """One row a column: table_name, column_name, place, type, unit, meaning, comes_from."""
    depot: str | None
    fleet_wide: tuple[str, ...]
    """The tables that a depot does not narrow."""

    @property
    def made_at(self) -> datetime:
        """When the forecast was made, in UTC, which stands for the date of the files."""
        made: datetime = self.about["forecast_made_at"]
        return made


def table_names() -> list[str]:
    """Return the names of the tables that can be taken away, in their order."""
    return [name for name in KEYS if name != ABOUT]


def describe_tables(con: duckdb.DuckDBPyConnection) -> dict[str, str]:
    """Return what one row of each table is, by name, from the comments on the views.

    Raises
    ------
    StoreError
        If the snapshot holds no such views.
    """
    require_tidy(con)
    said = dict(
        con.execute(
            "select view_name, comment from duckdb_views() "
            "where schema_name = 'tidy' and database_name = current_database() order by view_name"
        ).fetchall()
    )
    return {name: str(said[name]) for name in table_names()}


def read_dictionary(con: duckdb.DuckDBPyConnection, names: Sequence[str]) -> pd.DataFrame:
    """Return the dictionary of those tables, in their order and that of their columns."""
    return con.execute(
        "select d.table_name, d.column_name, d.place, d.type, d.unit, d.meaning, d.comes_from "
        "from tidy.dictionary as d where list_contains($names, d.table_name) "
        "order by list_position($names, d.table_name), d.place",
        {"names": list(names)},
    ).df()


def read_tidy(
    con: duckdb.DuckDBPyConnection,
    *,
    names: Sequence[str] | None = None,
    depot: str | None = None,
    people: bool = True,
) -> Tidy:
    """Return the tables of those names, all of them where None.

    Parameters
    ----------
    con
        A connection to a snapshot.
    names
        Names of tables; given twice counts once.
    depot
        Only rows of vehicles of that depot, in the tables that are of vehicles; the others stay whole.
    people
        Whether the columns that name technicians are among them; they are for those who may see them.

    Raises
    ------
    InputError
        If there is no table of a name, none is named, or no vehicle stands at the depot.
    StoreError
        If the snapshot holds no such views: an earlier program published it.
    """
    require_tidy(con)
    chosen = _known(names)
    meanings = describe_tables(con)
    dictionary = read_dictionary(con, chosen)
    hidden = {} if people else _OF_PEOPLE
    of_people = [column in hidden.get(table, ()) for table, column in dictionary.iloc[:, :2].itertuples(index=False)]
    dictionary = dictionary[~np.array(of_people, bool)].reset_index(drop=True)
    about = con.sql("select * from tidy.about").to_arrow_table().to_pylist()[0]
    if depot is not None:
        _check_depot(con, depot)
    having = set(dictionary.loc[dictionary["column_name"] == "depot", "table_name"])
    tables = {}
    for name in chosen:
        narrowed = depot is not None and name in having
        where = " where depot = $depot" if narrowed else ""
        query = f"select * from tidy.{name}{where} order by {', '.join(KEYS[name])}"
        table = con.sql(query, params={"depot": depot} if narrowed else {}).to_arrow_table()
        tables[name] = table.drop_columns(hidden.get(name, []))
    fleet_wide = tuple(name for name in chosen if name not in having)
    return Tidy(about, tables, {name: meanings[name] for name in chosen}, dictionary, depot, fleet_wide)


def _known(names: Sequence[str] | None) -> list[str]:
    known = table_names()
    if names is None:
        return known
    for name in names:
        if name not in known:
            raise InputError(f"there is no table {name!r} to take away", mend=f"Choose from: {', '.join(known)}.")
    if not names:
        raise InputError("no table is chosen", mend=f"Choose from: {', '.join(known)}.")
    return [name for name in known if name in names]


def _check_depot(con: duckdb.DuckDBPyConnection, depot: str) -> None:
    known = depots(con)
    if depot not in known:
        raise InputError(f"no vehicle stands at depot {depot!r}", mend=f"Choose one of: {', '.join(known)}.")


def depots(con: duckdb.DuckDBPyConnection) -> list[str]:
    """Return the depots of the forecast's vehicles, in alphabetical order."""
    rows = con.execute("select distinct depot from tidy.vehicles where depot is not null order by depot").fetchall()
    return [str(row[0]) for row in rows]
