"""What was taken in and is doubtful, asked about until a person has answered: readings, visits, sides."""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

import pandas as pd

from fleetwear.errors import InputError
from fleetwear.intake.statements import statement
from fleetwear.store.migrations import schema_version

if TYPE_CHECKING:
    from datetime import datetime

    import duckdb

Answer = Literal["true reading", "mistake", "same visit", "two visits", "swapped", "as written"]

ANSWERS: dict[str, tuple[str, str]] = {
    "reading": ("true reading", "mistake"),
    "same visit": ("same visit", "two visits"),
    "swapped sides": ("swapped", "as written"),
}
"""The answers to each sort of question."""
_IDENTITY_SINCE = 10


def open_questions(con: duckdb.DuckDBPyConnection) -> pd.DataFrame:
    """Return the questions without an answer, oldest first.

    Returns
    -------
    DataFrame
        question_id, question, answers (a text), reading_id, unit, joint, visit_date, direction, play_mm,
        play_written, play_unit, file, row; what a question is not about is missing.
    """
    found = con.execute(statement("open_questions")).df()
    found.insert(2, "answers", _said("reading"))
    if schema_version(con) < _IDENTITY_SINCE:
        return found
    others = con.execute(statement("open_identity_questions")).df()
    if others.empty:
        return found
    others["answers"] = others.pop("asks").map(_said)
    if found.empty:
        return others.reindex(columns=found.columns)
    found = found.astype({name: "object" for name in found.columns if name not in others.columns})
    both = pd.concat([found, others.reindex(columns=found.columns).astype(found.dtypes.to_dict())], ignore_index=True)
    return both.sort_values("question_id", ignore_index=True)


def _said(asks: str) -> str:
    return " or ".join(f'"{each}"' for each in ANSWERS[asks])


def answer(
    con: duckdb.DuckDBPyConnection,
    question_id: int,
    answer: Answer,
    by: str | None,
    *,
    answered_at: datetime | None = None,
) -> None:
    """Record a person's answer to a question.

    Parameters
    ----------
    con
        The writer.
    question_id
        Which question.
    answer
        One of the two that the question's sort allows: `ANSWERS`.
    by
        Who answered.
    answered_at
        When; now unless given.

    Raises
    ------
    InputError
        If there is no such question, it has been answered, or the answer is another word.
    """
    where = f"question {question_id}"
    found = con.execute(statement("question"), {"question_id": question_id}).fetchall()
    if not found:
        raise InputError("there is no such question", where=where, mend="List the open questions first.")
    asks, given = found[0]
    if answer not in ANSWERS[asks]:
        raise InputError(f"{answer!r} is not an answer to it", where=where, mend=f"Answer {_said(asks)}.")
    if given is not None:
        raise InputError(f"it is already answered: {given!r}", where=where, mend="Answers stay.")
    name = "answer_reading" if asks == "reading" else "answer_identity"
    con.execute(statement(name), {"question_id": question_id, "answer": answer, "by": by, "at": answered_at})


def ask(con: duckdb.DuckDBPyConnection, *, load_id: int) -> int:
    """Ask about the implausibly large readings of a load and return how many there are."""
    rows = con.execute(statement("new_questions"), {"load_id": load_id}).fetchall()
    asked = []
    for reading_id, unit, joint, visit_date, play_mm, written, play_unit, limit_mm in rows:
        against = (
            f"{play_mm / limit_mm:,.0f} times the largest limit on record for such a joint"
            if limit_mm
            else "more than 25 mm, and no limit is on record for such a joint"
        )
        meant = {"mm": " Should it say thou or um instead of mm?", "in": " Should it say thou instead of in?"}
        asked.append(
            (
                reading_id,
                f"Is {written} {play_unit} right for the {joint} of unit {unit} on {visit_date}? "
                f"It is {against}.{meant.get(play_unit, '')}",
                load_id,
            )
        )
    if asked:
        con.executemany("insert into questions (reading_id, question, load_id) values (?, ?, ?)", asked)
    return len(asked)
