"""The statements that read a sheet's text cells as what their columns hold, written from the contract.

A column of a million cells holds few distinct ones, so each column's distinct cells are read first, into a
table ``read_<column>``, and ``coded_cells`` puts them back to the rows as ``incoming``; ``typed`` is a view of
that, so that no wide table of text is written. For each column ``c`` of the contract, ``typed`` has
``c_written`` (the cell as it stands, without blanks around it) and ``c`` (what it means, null where it means
nothing); for a play or a distance also ``c_number`` (the number as written) and ``c_unit_spelt`` (its unit);
for names that are looked up, ``c_key``. ``reasons`` lists what is wrong with the row's cells by themselves;
what cells and rows mean together is checked per table, in ``sql/``.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from fleetwear.intake.words import DOMAINS
from fleetwear.intake.workbooks import ERRORS
from fleetwear.units import CANONICAL, NUMBER_PATTERN, SPELLINGS, factor

if TYPE_CHECKING:
    from collections.abc import Iterator

    from fleetwear.intake.columns import Column, Table
    from fleetwear.units import Quantity

_MEASURE = rf"^({NUMBER_PATTERN})[\s\p{{Zs}}]*(.*)$"
_NO_DATE = " is not a date: write it as yyyy-mm-dd, like 2024-03-02"
_LONGEST_TEXT = 1_000
"""Characters that a text may have; a name or a complaint has fewer."""

_MAY_LIE_AHEAD = {"valid from", "expected date"}
_POSITIVE = {"limit", "interval", "resolution"}
_KEYS = {"unit": "lower", "model": "lower", "joint": "word_form", "symptom joint": "word_form"}
_UNIT_COLUMNS = {
    ("vehicles", "in service odometer"): "distance unit",
    ("limits", "limit"): "limit unit",
    ("wheel_limits", "limit"): "limit unit",
    ("services", "interval"): "interval unit",
    ("readings", "play"): "play unit",
    ("readings", "resolution"): "play unit",
    ("wheel_checks", "play"): "play unit",
}
_EXAMPLES: dict[Quantity, tuple[str, str]] = {"play": ("20 thou", "thou"), "distance": ("12400 km", "km")}
_FAILED = (
    "'shows the error \"' || written || '\": correct its formula, or let the spreadsheet program calculate it and save'"
)
_SQL_TYPES = {"date": "date", "whole": "integer", "number": "double", "yes or no": "boolean"}


def snake(name: str) -> str:
    """Return a column's name as SQL names it."""
    return name.replace(" ", "_")


def cell_column(name: str, output: str) -> str:
    """Return what ``incoming`` calls one thing that is known of a column's cells."""
    return f"{snake(name)}__{output}"


def quote(text: str) -> str:
    """Return text as an SQL literal."""
    return "'" + text.replace("'", "''") + "'"


def read_cells(column: Column, *, header: str, result_words: bool = False) -> str:
    """Return the statement that makes ``read_<column>`` from the distinct cells in ``cells_<column>``.

    That has code, written (the cell), said (the cell as the sheet's notation reads it), both without blanks around
    them and null where nothing is left, and miswritten (what the notation has against it).

    Parameters
    ----------
    column
        The column.
    header
        What the sheet calls it, for the reasons.
    result_words
        Whether a play may also be said as a result, such as "none seen".
    """
    outputs = ", ".join(_outputs(column, result_words=result_words))
    cases = " ".join(
        f"when {when} then {quote(header + ' ')} || {text}" for when, text in _problems(column, result_words)
    )
    said_so = quote(f"{header} ")
    cases = (
        f"when written in ({', '.join(quote(error) for error in ERRORS)}) then {said_so} || {_FAILED} "
        f"when miswritten is not null then {said_so} || miswritten {cases}"
    )
    problem = f"case {cases} end"
    c = snake(column.name)
    return f"""
create or replace temp table read_{c} as
with split as (select code, said, written, miswritten{_split(column)} from cells_{c}),
meant as (select code, said, written, miswritten, {outputs} from split)
select * exclude (said, miswritten), {problem} as problem from meant where said is not null"""


def _split(column: Column) -> str:
    """Return the outputs that part a number from what stands beside it."""
    if column.content not in ("play", "distance"):
        return ""
    number, beside = (f"nullif(regexp_extract(said, {quote(_MEASURE)}, {i}, 's'), '')" for i in (1, 2))
    return f", {number} as number, {beside} as beside"


def _outputs(column: Column, *, result_words: bool) -> Iterator[str]:
    match column.content:
        case "text":
            yield "regexp_replace(said, '\\s+', ' ', 'g') as value"
            if column.name in _KEYS:
                yield f"{_KEYS[column.name]}(regexp_replace(said, '\\s+', ' ', 'g')) as key"
        case "date":
            yield ("case when regexp_full_match(said, '\\d{4}-\\d{2}-\\d{2}') then try_cast(said as date) end as value")
        case "whole":
            yield ("case when regexp_full_match(said, '[+-]?\\d+') then try_cast(said as integer) end as value")
        case "number":
            yield "plain_number(said) as value"
        case "yes or no":
            yield "yes_or_no(said) as value"
        case "word":
            yield _word_meant(column.name, "value")
        case "play unit" | "distance unit":
            yield _unit_meant(_quantity(column), "said", "unit", "value")
            yield _unit_meant(_quantity(column), "said", "to_canonical", "to_canonical")
        case "play" | "distance":
            yield "number"
            yield "plain_number(number) as value"
            yield "beside"
            yield _unit_meant(_quantity(column), "beside", "unit", "unit")
            yield _unit_meant(_quantity(column), "beside", "to_canonical", "to_canonical")
            if result_words:
                yield _word_meant("result", "result")


def _word_meant(domain: str, name: str) -> str:
    return (
        f"(select any_value(w.word) from words as w where w.domain = {quote(domain)} "
        f"and w.spelling = word_form(said)) as {name}"
    )


def _unit_meant(quantity: Quantity, spelling: str, output: str, name: str) -> str:
    return (
        f"(select any_value(u.{output}) from unit_spellings as u where u.quantity = {quote(quantity)} "
        f"and u.spelling = lower({spelling})) as {name}"
    )


def _quantity(column: Column) -> Quantity:
    return "play" if column.content.startswith("play") else "distance"


def _problems(column: Column, result_words: bool) -> Iterator[tuple[str, str]]:
    """Yield what can be wrong with a cell by itself: a condition, and the reason as an SQL text."""
    shown = "quoted(written) || "
    match column.content:
        case "text":
            yield (
                "regexp_matches(written, '[\\x00-\\x08\\x0b\\x0c\\x0e-\\x1f\\x7f]')",
                quote("holds a control character, which cannot be read: write it again without"),
            )
            yield (
                f"length(written) > {_LONGEST_TEXT}",
                f"'has ' || length(written) || ' characters: write at most {_LONGEST_TEXT}'",
            )
        case "date":
            yield (
                "value is null and regexp_full_match(said, '\\d{1,2}[./-]\\d{1,2}[./-]\\d{2,4}')",
                shown + quote(f"{_NO_DATE}, or state in a column map how its dates are written"),
            )
            yield "value is null", shown + quote(_NO_DATE)
            if column.name not in _MAY_LIE_AHEAD:
                yield "value > $today", "value || ' lies in the future (today is ' || $today || ')'"
            yield (
                "value < date '1950-01-01'",
                "value || " + quote(" lies before 1950: write the year with its four digits"),
            )
        case "whole":
            yield "value is null", shown + quote(" is not a whole number: write it in digits, like 12")
        case "number":
            yield "value is null", shown + "plain_number_form()"
        case "yes or no":
            yield "value is null", shown + quote(" is neither yes nor no")
        case "word":
            known = quote('"; known: ' + ", ".join(f'"{word}"' for word in DOMAINS[column.name]))
            nearest = (
                "(select arg_max(w.word, jaro_winkler_similarity(w.spelling, word_form(said))) "
                f"from words as w where w.domain = {quote(column.name)})"
            )
            yield (
                "value is null",
                shown + quote(' is not known; nearest is "') + f" || {nearest} || {known}",
            )
        case "play unit" | "distance unit":
            yield "value is null", shown + quote(_unit_form(_quantity(column)))
        case "play" | "distance":
            said = "result is null and " if result_words else ""
            # What stands behind a number and holds a digit is no unit but the rest of a number.
            yield (
                f"{said}(value is null or (unit is null and regexp_matches(coalesce(beside, ''), '\\d')))",
                shown + "plain_number_form()",
            )
            yield f"{said}beside is not null and unit is null", shown + quote(_unit_form(_quantity(column)))
            if column.name in _POSITIVE:
                yield "value <= 0", shown + quote(" must be above zero")
            else:
                yield "value < 0", shown + quote(" is negative: it cannot be below zero")


def _unit_form(quantity: Quantity) -> str:
    known = ", ".join(dict.fromkeys(SPELLINGS[quantity].values()))
    return f" is not a known {quantity} unit; known: {known}"


@dataclass(frozen=True)
class TypedStatement:
    """The statement that makes ``typed`` for one table, with the headers and header units of one sheet.

    Attributes
    ----------
    table
        The table.
    headers
        What the sheet calls each column that it has.
    header_units
        The units that stand in headers.
    nowhere
        Columns of ``incoming`` that would be empty in every row and are left out of it.
    """

    table: Table
    headers: dict[str, str]
    header_units: dict[str, str]
    nowhere: frozenset[str] = frozenset()

    def result_words(self, column: Column) -> bool:
        """Return whether a play of this column may also be said as a result."""
        return (self.table.name, column.name) in (("readings", "play"), ("wheel_checks", "play"))

    def sql(self) -> str:
        """Return the statement; it reads ``incoming``: of each row what its cells mean."""
        outputs = [output for column in self.table.columns for output in self._select(column)]
        found = [reason for column in self.table.columns for reason in self._reasons(column)]
        reasons = ", ".join(found)
        listed = f"case when coalesce({reasons}) is null then []::varchar[] else without_nulls([{reasons}]) end"
        return f"""
create or replace temp view typed as
select i.n, i.source_row, {", ".join(outputs)},
    {listed if found else "[]::varchar[]"} as reasons
from incoming as i"""

    def _select(self, column: Column) -> Iterator[str]:
        c = snake(column.name)
        is_here = column.name in self.headers
        yield (self._cell(column.name, "written") if is_here else "null::varchar") + f" as {c}_written"
        if column.content in ("play", "distance"):
            yield from self._select_measure(column, is_here=is_here)
            return
        sql_type = _SQL_TYPES.get(column.content, "varchar")
        yield (self._cell(column.name, "value") if is_here else f"null::{sql_type}") + f' as "{c}"'
        if column.name in _KEYS:
            yield (self._cell(column.name, "key") if is_here else "null::varchar") + f" as {c}_key"

    def _select_measure(self, column: Column, *, is_here: bool) -> Iterator[str]:
        c = snake(column.name)
        if is_here:
            yield f"{self._cell(column.name, 'number')} as {c}_number"
            yield f"{self._from_unit(column, 'unit')} as {c}_unit_spelt"
            yield f'round({self._cell(column.name, "value")} * {self._from_unit(column, "factor")}, 9) as "{c}"'
        else:
            yield f"null::varchar as {c}_number"
            yield f"null::varchar as {c}_unit_spelt"
            yield f'null::double as "{c}"'
        if self.result_words(column):
            yield (self._cell(column.name, "result") if is_here else "null::varchar") + f" as {c}_result"

    def _cell(self, name: str, output: str) -> str:
        """Return what ``incoming`` has of a column's cells."""
        column = cell_column(name, output)
        return "null::varchar" if column in self.nowhere else f"i.{column}"

    def _from_unit(self, column: Column, output: Literal["unit", "factor"]) -> str:
        """Return the expression for the unit beside the number, in the unit column or in the header."""
        beside, in_column = ("unit", "value") if output == "unit" else ("to_canonical", "to_canonical")
        whens = []
        if cell_column(column.name, "beside") not in self.nowhere:
            whens.append(f"when {self._cell(column.name, 'beside')} is not null then {self._cell(column.name, beside)}")
        unit_column = self._unit_column(column)
        if unit_column in self.headers:
            written, said = (self._cell(unit_column, which) for which in ("written", in_column))
            whens.append(f"when {written} is not null then {said}")
        unit = self.header_units.get(column.name)
        if unit is None:
            otherwise = "null::varchar" if output == "unit" else "null::double"
        elif output == "unit":
            otherwise = quote(unit)
        else:
            otherwise = f"{factor(unit, CANONICAL[_quantity(column)])!r}::double"
        return f"case {' '.join(whens)} else {otherwise} end" if whens else otherwise

    def _unit_column(self, column: Column) -> str:
        return _UNIT_COLUMNS.get((self.table.name, column.name), "odometer unit")

    def _reasons(self, column: Column) -> Iterator[str]:
        if column.name not in self.headers:
            return
        header = self.headers[column.name]
        if column.filled and cell_column(column.name, "blank") not in self.nowhere:
            empty = quote(header + " is empty: it must be filled in")
            yield f"case when i.{cell_column(column.name, 'blank')} then {empty} end"
        if cell_column(column.name, "problem") not in self.nowhere:
            yield self._cell(column.name, "problem")
        if column.content in ("play", "distance") and column.name not in self.header_units:
            example, unit = _EXAMPLES[_quantity(column)]
            unit_column = self._unit_column(column)
            without = f"{self._cell(column.name, 'beside')} is null and {self._cell(column.name, 'value')} is not null"
            if unit_column in self.headers:
                if cell_column(unit_column, "blank") in self.nowhere:
                    return
                without += f" and i.{cell_column(unit_column, 'blank')}"
            text = (
                f" has no unit: write it beside the number, like {example}, in a column {unit_column!r}, "
                f"or in the header, like {column.name} ({unit})"
            )
            shown = f"{quote(header + ' ')} || quoted({self._cell(column.name, 'written')}) || {quote(text)}"
            yield f"case when {without} then {shown} end"
