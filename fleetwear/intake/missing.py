"""What a store lacks before its forecasts can say much."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fleetwear.intake.statements import statement

if TYPE_CHECKING:
    import duckdb

_WITHOUT = {
    "vehicles": "no vehicle yet: load a vehicles file, and all others can follow",
    "positions": "no joint position yet: without a positions file no reading finds its joint",
    "limits": "no limit yet: without a limits file nothing can be said to be over, or to cross",
    "readings": "no reading yet: without a readings file there is no growth to forecast",
    "services": "no service yet: without a services file the next service is a guess from the settings",
}


def missing_tables(con: duckdb.DuckDBPyConnection) -> list[str]:
    """Return a sentence for each table that a forecast leans on and that is empty, the first to load first."""
    cursor = con.execute(statement("filled_tables"))
    row = cursor.fetchone()
    assert row is not None, "counts always make a row"
    counts = dict(zip([column[0] for column in cursor.description], row, strict=True))
    return [words for table, words in _WITHOUT.items() if not counts[table]]
