"""Readings taken in that look implausible: asked about until a person has answered."""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

from fleetwear.errors import InputError
from fleetwear.intake.statements import statement

if TYPE_CHECKING:
    from datetime import datetime

    import duckdb
    import pandas as pd

Answer = Literal["true reading", "mistake"]


def open_questions(con: duckdb.DuckDBPyConnection) -> pd.DataFrame:
    """Return the questions without an answer, oldest first.

    Returns
    -------
    DataFrame
        question_id, question, reading_id, unit, joint, visit_date, direction, play_mm, play_written,
        play_unit, file, row.
    """
    return con.execute(statement("open_questions")).df()


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
        "true reading" or "mistake".
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
    if answer not in ("true reading", "mistake"):
        raise InputError(f"{answer!r} is not an answer", where=where, mend='Answer "true reading" or "mistake".')
    found = con.execute(
        "select a.answer from questions as q left join answers as a on a.question_id = q.question_id "
        "where q.question_id = $question_id",
        {"question_id": question_id},
    ).fetchall()
    if not found:
        raise InputError("there is no such question", where=where, mend="List the open questions first.")
    if found[0][0] is not None:
        raise InputError(f"it is already answered: {found[0][0]!r}", where=where, mend="Answers stay.")
    con.execute(
        "insert into answers (question_id, answer, answered_by, answered_at) "
        "values ($question_id, $answer, $by, coalesce($at, current_timestamp::timestamp))",
        {"question_id": question_id, "answer": answer, "by": by, "at": answered_at},
    )


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
