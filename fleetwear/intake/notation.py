"""How somebody writes dates, numbers, sides and words, and what a cell so written says in this project's own way."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from datetime import date
from functools import cached_property
from typing import TYPE_CHECKING

from fleetwear.intake.words import word_form
from fleetwear.units import NUMBER_PATTERN

if TYPE_CHECKING:
    from fleetwear.intake.columns import Column

DATE_STYLES = ("yyyy-mm-dd", "dd.mm.yyyy", "dd/mm/yyyy", "mm/dd/yyyy", "dd-mm-yyyy", "yyyy/mm/dd", "yyyy.mm.dd")
"""The ways of writing a date that can be stated."""

_COMMA_NUMBER = re.compile(NUMBER_PATTERN.replace(r"\.", ","))
_SIDED = {"joint", "side", "symptom joint"}
_NUMBERS = {"play", "distance", "number"}


@dataclass(frozen=True)
class Notation:
    """A way of writing cells.

    Attributes
    ----------
    dates
        One of `DATE_STYLES`; "" where none is stated, and only yyyy-mm-dd is read.
    decimal
        The decimal mark.
    blank
        Cells that hold nothing, as "-".
    sides
        Words for left, right and centre inside the names of joints and sides.
    words
        Whole cells by column, and what they say.
    """

    dates: str = ""
    decimal: str = "."
    blank: tuple[str, ...] = ()
    sides: dict[str, str] = field(default_factory=dict)
    words: dict[str, dict[str, str]] = field(default_factory=dict)

    @property
    def is_plain(self) -> bool:
        """Whether cells say what they say without it."""
        return self == Notation()

    def read(self, cell: str, column: Column) -> tuple[str, str | None]:
        """Return a cell as this project writes it, and what is wrong with how it is written, if anything is."""
        text = cell.strip()
        if not text or text in self.blank:
            return "", None
        words = self._words.get(column.name)
        if words is not None and word_form(text) in words:
            return words[word_form(text)], None
        if column.name in _SIDED and self.sides:
            return self._with_sides(text), None
        if column.content == "date" and self.dates:
            return self._date(text)
        if column.content in _NUMBERS and self.decimal == ",":
            return self._number(text)
        return cell, None

    @cached_property
    def _words(self) -> dict[str, dict[str, str]]:
        return {
            name: {word_form(spelling): text for spelling, text in spellings.items()}
            for name, spellings in self.words.items()
        }

    @cached_property
    def _side_words(self) -> re.Pattern[str]:
        longest = sorted(self.sides, key=len, reverse=True)
        return re.compile(rf"(?<!\w)(?:{'|'.join(re.escape(each) for each in longest)})(?!\w)", re.IGNORECASE)

    @cached_property
    def _side_of(self) -> dict[str, str]:
        return {spelling.casefold(): side for spelling, side in self.sides.items()}

    def _with_sides(self, text: str) -> str:
        return self._side_words.sub(lambda found: self._side_of[found[0].casefold()], text)

    def _date(self, text: str) -> tuple[str, str | None]:
        found = _date_pattern(self.dates).fullmatch(text) or _date_pattern("yyyy-mm-dd").fullmatch(text)
        if found is not None:
            try:
                return date(int(found["y"]), int(found["m"]), int(found["d"])).isoformat(), None
            except ValueError:
                pass
        return text, f'"{text}" is not a date as the column map states them: {self.dates}, the year with four digits'

    def _number(self, text: str) -> tuple[str, str | None]:
        found = _COMMA_NUMBER.match(text)
        rest = text[found.end() :] if found else text
        if found is None and not re.match(r"[+-]?\.\d", text):
            return text, None
        if found is None or re.match(r"[.,'\u2019\u202f]?\d|\.", rest):
            return text, (
                f'"{text}" is not a plain number with the decimal comma that the column map states: '
                "write it like 1250 or 0,5, without thousands separators"
            )
        return found[0].replace(",", ".") + rest, None


def _date_pattern(style: str) -> re.Pattern[str]:
    parts = {"yyyy": r"(?P<y>\d{4})", "mm": r"(?P<m>\d{1,2})", "dd": r"(?P<d>\d{1,2})"}
    pattern = re.sub(r"yyyy|mm|dd|[./-]", lambda found: parts.get(found[0], re.escape(found[0])), style)
    return re.compile(pattern, re.ASCII)
