"""What became of one sheet's rows."""

from __future__ import annotations

from dataclasses import dataclass, field


@dataclass(frozen=True)
class LoadSummary:
    """What one sheet brought.

    ``rows_read = rows_in + rows_known + rows_quarantined + rows_quarantined_before``.

    Attributes
    ----------
    file, sheet, table
        Where the rows came from (a CSV has no sheet name) and what they are.
    rows_read, rows_in, rows_known
        Rows under the header; rows new to the store; rows that it had already.
    rows_quarantined, rows_quarantined_before
        Rows refused now; rows refused that were in quarantine already, just so, from the same place.
    settled
        Quarantined rows whose correction this sheet brought.
    set_aside
        Rows of earlier loads that these rows found out as mistaken.
    questions
        What was taken in and is asked about: implausible readings, visits that may be one, sides that may be swapped.
    changed
        Readings taken in whose row an earlier load of this file had with other values. Nothing is removed: they
        count as further strokes beside the earlier ones, so a person should say which one is the mistake.
    reasons
        How many rows each reason refused, the most frequent first.
    ignored
        Headers that name no column, with the nearest that does.
    remarks
        What a person should know: hidden sheets, doubtful vehicle identification numbers, vehicles that changed number.
    elapsed_seconds
        How long reading, checking and storing took.
    """

    file: str
    sheet: str | None
    table: str
    rows_read: int
    rows_in: int
    rows_known: int
    rows_quarantined: int
    rows_quarantined_before: int
    settled: int
    set_aside: int
    questions: int
    changed: int = 0
    reasons: dict[str, int] = field(default_factory=dict)
    ignored: tuple[str, ...] = ()
    remarks: tuple[str, ...] = ()
    elapsed_seconds: float = 0.0
