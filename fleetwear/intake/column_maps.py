"""Column maps: a TOML file that says what the headers, dates and numbers of somebody's sheet mean."""

from __future__ import annotations

import difflib
import tomllib
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

from fleetwear.errors import InputError, UnitError
from fleetwear.intake.columns import BY_NAME
from fleetwear.intake.notation import DATE_STYLES, Notation
from fleetwear.intake.sizes import MAX_MAP_BYTES, check_file
from fleetwear.intake.words import meaning
from fleetwear.units import resolve

if TYPE_CHECKING:
    from collections.abc import Iterable

    from fleetwear.intake.columns import Column, Table

SUFFIX = ".columns.toml"
"""What the map of ``readings.csv`` ends in: ``readings.columns.toml``, beside it."""

ENCODINGS = {"utf-8": "utf-8-sig", "latin-1": "latin-1", "windows-1252": "cp1252", "utf-16": "utf-16"}
"""The encodings that can be stated, and the codec of each."""
_DELIMITERS = (",", ";", "\t", "|")
_KEYS = {
    "table", "sheet", "header row", "header rows", "encoding", "delimiter", "decimal", "dates", "blank", "columns",
    "constants", "units", "sides", "words", "readings",
}  # fmt: skip
_OF_A_READING = ("joint", "direction", "method", "support", "read at", "indicator", "session", "stroke", "timing")


@dataclass(frozen=True)
class ColumnMap:
    """What a map says.

    Attributes
    ----------
    name
        The map's file, for messages.
    table
        The table that the sheet's rows are of.
    sheet
        The sheet of a workbook; None: its only one.
    header_rows
        The rows of the header, as a person counts them; none: the first that is not blank.
    encoding, delimiter
        How a CSV file is written; "" where the file itself shows it.
    notation
        How dates and numbers are written, and words.
    columns
        The sheet's header of each of the table's columns.
    constants
        What columns hold that the sheet does not have.
    units
        The unit of a column's numbers.
    readings
        For a sheet with a column per joint: what is said of the readings under each header, by column.
    """

    name: str
    table: Table
    sheet: str | None = None
    header_rows: tuple[int, ...] = ()
    encoding: str = ""
    delimiter: str = ""
    notation: Notation = field(default_factory=Notation)
    columns: dict[str, str] = field(default_factory=dict)
    constants: dict[str, str] = field(default_factory=dict)
    units: dict[str, str] = field(default_factory=dict)
    readings: dict[str, dict[str, str]] = field(default_factory=dict)

    @cached_property
    def joints(self) -> tuple[str, ...]:
        """The joints that it names."""
        named = [each["joint"] for each in self.readings.values() if "joint" in each]
        named += [self.constants["joint"]] if "joint" in self.constants else []
        named += [*self.notation.words.get("joint", {}).values()]
        return tuple(dict.fromkeys(named))


def map_beside(path: Path) -> Path | None:
    """Return the column map that lies beside a file, or None."""
    beside = path.with_name(path.stem + SUFFIX)
    return beside if beside.is_file() else None


def read_map(path: Path, *, name: str = "") -> ColumnMap:
    """Return what a column map says.

    Raises
    ------
    InputError
        If it is no TOML, or names a table, column, word, unit or setting that there is not.
    """
    where = name or path.name
    if not path.is_file():
        raise InputError("there is no such column map", where=where, mend="Check the name and the folder.")
    check_file(path, where=where, most=MAX_MAP_BYTES)
    try:
        said = tomllib.loads(path.read_text(encoding="utf-8-sig"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError, RecursionError) as error:
        raise InputError(f"the column map is not TOML: {error}", where=where, mend="Correct it there.") from error
    return _Reader(where, said).read()


@dataclass(frozen=True)
class _Reader:
    where: str
    said: dict[str, Any]

    def read(self) -> ColumnMap:
        said = {key.replace("_", " "): value for key, value in self.said.items()}
        for key in said:
            self._known(key, _KEYS, "setting")
        name = said.get("table")
        if not isinstance(name, str):
            raise self._wrong("the setting 'table' is missing", f'Write it, like table = "{next(iter(BY_NAME))}".')
        self._known(name, BY_NAME, "table")
        table = BY_NAME[name]
        readings = self._readings(said.get("readings"), table)
        columns = self._texts(said.get("columns"), "columns", table)
        constants = self._texts(said.get("constants"), "constants", table)
        for column, text in constants.items():
            self._check_word(table.column(column), text)
        twice = [column for column in columns if column in constants]
        twice += [c for each in readings.values() for c in each if c in columns or c in constants]
        twice += ["play"] if readings and ("play" in columns or "play" in constants) else []
        if twice:
            raise self._wrong(f"the column {twice[0]!r} is said twice", "Say it in one place.")
        return ColumnMap(
            self.where,
            table,
            sheet=self._text(said, "sheet"),
            header_rows=self._header_rows(said),
            encoding=self._one_of(said, "encoding", ENCODINGS) or "",
            delimiter=self._one_of(said, "delimiter", _DELIMITERS) or "",
            notation=self._notation(said, table),
            columns=columns,
            constants=constants,
            units=self._units(said.get("units"), table),
            readings=readings,
        )

    def _wrong(self, what: str, mend: str) -> InputError:
        return InputError(what, where=self.where, mend=mend)

    def _known(self, name: str, known: Iterable[str], what: str) -> None:
        if name in known:
            return
        near = difflib.get_close_matches(name, list(known), n=1, cutoff=0.4)
        nearest = f"; nearest is {near[0]!r}" if near else ""
        raise self._wrong(f"there is no {what} {name!r}{nearest}", f"Known: {', '.join(sorted(known))}.")

    def _text(self, said: dict[str, Any], key: str) -> str | None:
        value = said.get(key)
        if value is not None and not isinstance(value, str):
            raise self._wrong(f"{key} is {value!r} and no text", "Put it in quotes.")
        return value

    def _one_of(self, said: dict[str, Any], key: str, known: Iterable[str]) -> str | None:
        value = self._text(said, key)
        if value is not None and value not in known:
            raise self._wrong(f"{key} is {value!r}", f"Write one of: {', '.join(repr(each) for each in known)}.")
        return value

    def _section(self, value: Any, name: str) -> dict[str, Any]:
        if value is None:
            return {}
        if not isinstance(value, dict):
            raise self._wrong(f"{name} is {value!r} and no section", f"Write it below a line [{name}].")
        return value

    def _column(self, name: str, table: Table) -> Column:
        plain = name.replace("_", " ")
        self._known(plain, [column.name for column in table.columns], f"column of {table.name}")
        return table.column(plain)

    def _texts(self, value: Any, section: str, table: Table) -> dict[str, str]:
        found = {}
        for name, text in self._section(value, section).items():
            column = self._column(name, table)
            if isinstance(text, bool) or not isinstance(text, (str, int, float)) or not str(text).strip():
                raise self._wrong(f"{section}, {name}: {text!r} is no text", "Put it in quotes.")
            found[column.name] = str(text)
        return found

    def _units(self, value: Any, table: Table) -> dict[str, str]:
        found = {}
        for name, unit in self._section(value, "units").items():
            column = self._column(name, table)
            if column.content not in ("play", "distance"):
                raise self._wrong(f"units, {name}: that column has no unit", "Name a play or a distance.")
            try:
                found[column.name] = resolve(str(unit), column.content)
            except UnitError as error:
                raise UnitError(error.what, where=f"{self.where}, units, {name}", mend=error.mend) from error
        return found

    def _check_word(self, column: Column, text: str) -> None:
        if column.content == "word" and meaning(column.name, text) is None:
            raise self._wrong(f"{text!r} is no {column.name}", "Write one of the words that files may use.")

    def _header_rows(self, said: dict[str, Any]) -> tuple[int, ...]:
        rows = said.get("header rows", [said["header row"]] if "header row" in said else [])
        fine = isinstance(rows, list) and all(isinstance(n, int) and not isinstance(n, bool) and n > 0 for n in rows)
        if not fine or rows != list(range(rows[0], rows[0] + len(rows)) if rows else []):
            raise self._wrong(
                f"header rows are {rows!r}", "Write the number of the row, or of rows that follow each other: [2, 3]."
            )
        return tuple(rows)

    def _notation(self, said: dict[str, Any], table: Table) -> Notation:
        words: dict[str, dict[str, str]] = {}
        for name, spellings in self._section(said.get("words"), "words").items():
            column = self._column(name, table)
            entry: dict[str, str] = {}
            for spelling, text in self._section(spellings, f"words.{name}").items():
                if not isinstance(text, str):
                    raise self._wrong(f"words.{name}, {spelling!r}: {text!r} is no text", "Put it in quotes.")
                self._check_word(column, text)
                entry[spelling] = text
            words[column.name] = entry
        sides: dict[str, str] = {}
        for side, spellings in self._section(said.get("sides"), "sides").items():
            if side not in ("left", "right", "centre"):
                raise self._wrong(f"sides has {side!r}", "Write left, right or centre.")
            for spelling in [spellings] if isinstance(spellings, str) else spellings:
                if not isinstance(spelling, str) or not spelling.strip() or sides.get(spelling, side) != side:
                    raise self._wrong(f"sides: {spelling!r} means no one side", "Write each spelling with one side.")
                sides[spelling] = side
        blank = said.get("blank", [])
        if not isinstance(blank, list) or not all(isinstance(each, str) for each in blank):
            raise self._wrong(f"blank is {blank!r}", 'Write a list of texts, like ["-", "n/a"].')
        return Notation(
            dates=self._one_of(said, "dates", DATE_STYLES) or "",
            decimal=self._one_of(said, "decimal", (".", ",")) or ".",
            blank=tuple(blank),
            sides=sides,
            words=words,
        )

    def _readings(self, value: Any, table: Table) -> dict[str, dict[str, str]]:
        found = {}
        for header, entry in self._section(value, "readings").items():
            if table.name != "readings":
                raise self._wrong(f"a section readings in a map of {table.name}", 'It belongs to table = "readings".')
            texts = self._texts(self._section(entry, f"readings, {header!r}"), f"readings, {header!r}", table)
            if alien := [name for name in texts if name not in _OF_A_READING]:
                raise self._wrong(
                    f"readings, {header!r}: {alien[0]!r} is not said of single readings",
                    f"Write some of: {', '.join(_OF_A_READING)}.",
                )
            if "joint" not in texts:
                raise self._wrong(f"readings, {header!r}: the joint is missing", 'Write { joint = "..." }.')
            for name, text in texts.items():
                self._check_word(table.column(name), text)
            found[header] = texts
        return found
