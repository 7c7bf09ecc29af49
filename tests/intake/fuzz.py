"""Malformed rows and files: each loads right, or is refused with a reason; never a traceback, a hang or a wrong number.

    python tests/intake/fuzz.py                          100,000 rows and 2,000 files
    python tests/intake/fuzz.py --rows 2000 --files 50   a shorter run
    python tests/intake/fuzz.py --seed 7                 other ones

Rows start from a reading whose meaning is known; cells are then mutated. What was loaded is compared with a second,
independent reading of the mutated cells (exact fractions, the calendar, lists of words; nothing of the intake), and
every row must be in the store or in quarantine.
"""

from __future__ import annotations

import argparse
import csv
import io
import re
import shutil
import signal
import sys
import tempfile
import time
import zipfile
from collections import Counter
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from fractions import Fraction
from pathlib import Path

import numpy as np
import xlsxwriter

from fleetwear.errors import FleetwearError, InputError
from fleetwear.intake import load_files
from fleetwear.store import Store

TODAY, LOADED_AT = date(2024, 6, 1), datetime(2024, 6, 1, 12)
HEADER = ["unit", "visit date", "odometer", "joint", "direction", "play", "technician"]
UNITS = {"a1": "A1", "a2": "A2"}
JOINTS = ["left front lower ball joint", "right front lower ball joint", "left front tie rod end"]
DIRECTIONS = {
    "in out": "in-out", "in and out": "in-out", "fore aft": "fore-aft", "fore and aft": "fore-aft",
    "up down": "up-down", "up and down": "up-down",
}  # fmt: skip
RESULTS = {"none seen", "none", "no play seen", "seen not measured", "seen"}
MM = Fraction(254, 10)
PLAY_UNITS = {
    **dict.fromkeys(["mm", "millimetre", "millimetres", "millimeter", "millimeters"], Fraction(1)),
    **dict.fromkeys(["thou", "mil", "mils", "thousandths", ".001 in", "0.001 in", "thousandths of an inch"], MM / 1000),
    **dict.fromkeys(["in", "inch", "inches", '"'], MM),
    **dict.fromkeys(["um", "µm", "μm", "micron", "microns", "micrometre", "micrometres"], Fraction(1, 1000)),
    **dict.fromkeys(["micrometer", "micrometers"], Fraction(1, 1000)),
}
KM = {
    **dict.fromkeys(["km", "kilometre", "kilometres", "kilometer", "kilometers"], Fraction(1)),
    **dict.fromkeys(["mi", "mile", "miles"], Fraction(1609344, 1000000)),
}
NUMBER = re.compile(r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]+)?")
COMMA_NUMBER = re.compile(r"[+-]?(?:[0-9]+(?:,[0-9]*)?|,[0-9]+)(?:[eE][+-]?[0-9]+)?")
STRAY = [
    *"0123456789.,;:'\"-+eEx%/\\ \t\n\r|#=@_()[]{}",
    "\xa0", "\u202f", "\u2009", "\u200b", "\ufeff", "\u2212", "\u0660", "\uff15", "\u00bd", "\u2032", "é", "K", "ſ",
    "\x00", "\x1b", "\x7f", "\ud7ff", "\U0001f527", "e+", "mm", "thou", "in", "nan", "inf", "0x1f", "1_0", "1e999",
]  # fmt: skip
WHOLE = [
    "", " ", "-", "?", "n/a", "NaN", "inf", "-inf", "1e400", "1e-400", "0x10", "1,5 mm", "1.250,5", "1 250 km", "½ in",
    "5 ft", "12''", "1/8 in", "#DIV/0!", "#N/A", "=1+1", "TRUE", "none seen", "seen", "-0", "-1 mm", "+5 thou",
    "00012 km", "2024-02-30", "2024-13-01", "24-02-03", "03.02.2024", "03/02/2024", "2024/02/03", "2024-2-3",
    "2099-01-01",
    "0001-01-01", "2024-02-03T00:00:00", "2024-02-03 10:00", "45325", "٢٠٢٤-٠٢-٠٣", "A 1", "a1", "A1 ", "Ａ1",
    "in out", "IN-OUT",
    "inout", "left_front,lower-ball joint", "LEFT FRONT LOWER BALL JOINT", "x" * 300, "1e3 km", "1E+03 mi",
    ".5 mm", "5. mm", "5 mm mm", "5mm", "5 MM", "5\xa0mm", "5\nmm", "0.2 mm ", "\t0.2 mm", "0..2 mm", "0.2.2 mm",
    "--5 mm",
    "5 .001 in", "5 0.001 in",
]  # fmt: skip
TIDY = " \t\n\r\xa0\u1680\u2000\u2001\u2002\u2003\u2004\u2005\u2006\u2007\u2008\u2009\u200a\u202f\u205f\u3000"


@dataclass(frozen=True)
class Said:
    """What a row's cells say: None where a cell says nothing that may be taken."""

    unit: str | None
    day: date | None
    km: Fraction | None
    joint: str | None
    direction: str | None
    play_mm: Fraction | None
    is_result: bool
    technician: str

    @property
    def is_good(self) -> bool:
        known = None not in (self.unit, self.day, self.joint, self.direction)
        return known and self.km is not None and (self.play_mm is not None or self.is_result)


def words(cell: str) -> str:
    return re.sub(r"[\t\n\f\r _,-]+", " ", cell.lower()).strip(TIDY)


def measure(cell: str, units: dict[str, Fraction], *, comma: bool, unit: str) -> Fraction | None:
    """Return a number with its unit, exactly; None if it is not plainly one."""
    cell = cell.strip(TIDY)
    found = (COMMA_NUMBER if comma else NUMBER).match(cell)
    if found is None:
        return None
    spelling = cell[found.end() :].strip(TIDY).lower() or unit
    if spelling not in units:
        return None
    try:
        number = float(found[0].replace(",", "."))
    except OverflowError:
        return None
    if number in (float("inf"), float("-inf")) or number < 0:
        return None
    return Fraction(number) * units[spelling]


def day_of(cell: str, *, dotted: bool) -> date | None:
    cell = cell.strip(TIDY)
    dots = re.fullmatch(r"([0-9]{1,2})\.([0-9]{1,2})\.([0-9]{4})", cell) if dotted else None
    digits = r"[0-9]{1,2}" if dotted else r"[0-9]{2}"
    iso = re.fullmatch(rf"([0-9]{{4}})-({digits})-({digits})", cell)
    try:
        found = None
        if dots:
            found = date(int(dots[3]), int(dots[2]), int(dots[1]))
        elif iso:
            found = date(int(iso[1]), int(iso[2]), int(iso[3]))
    except ValueError:
        return None
    return found if found is not None and date(1950, 1, 1) <= found <= TODAY else None


def read_independently(cells: dict[str, str], *, mapped: bool, play_unit: str = "") -> Said:
    play = words(cells["play"].strip(TIDY))
    return Said(
        UNITS.get(re.sub(r"[\t\n\f\r ]+", " ", cells["unit"].strip(TIDY)).lower()),
        day_of(cells["visit date"], dotted=mapped),
        measure(cells["odometer"], KM, comma=mapped, unit=""),
        {joint: joint for joint in JOINTS}.get(words(cells["joint"].strip(TIDY))),
        DIRECTIONS.get(words(cells["direction"].strip(TIDY))),
        measure(cells["play"], PLAY_UNITS, comma=mapped, unit=play_unit),
        play in RESULTS,
        cells["technician"].strip(TIDY),
    )


def mutate(cell: str, rng: np.random.Generator) -> str:
    kind = rng.integers(0, 7)
    if kind == 0:
        return str(rng.choice(WHOLE))
    for _ in range(int(rng.integers(1, 4))):
        place = int(rng.integers(0, len(cell) + 1))
        if kind in (1, 2):
            cell = cell[:place] + str(rng.choice(STRAY)) + cell[place:]
        elif kind == 3:
            cell = cell[:place] + cell[place + 1 :]
        elif kind == 4:
            cell = cell[:place] + str(rng.choice(STRAY)) + cell[place + 1 :]
        elif kind == 5:
            cell = cell[place:] + cell[:place]
        else:
            cell = cell.upper() if rng.random() < 0.5 else cell[:place] + cell[place:].swapcase()
    return cell


def true_row(rng: np.random.Generator, *, comma: bool) -> dict[str, str]:
    day = date(2023, 1, 1) + timedelta(days=int(rng.integers(0, 400)))
    number = f"{rng.uniform(0, 3):.{rng.integers(0, 5)}f}"
    odometer = f"{10_000 + (day - date(2023, 1, 1)).days * 100}"
    row = {
        "unit": str(rng.choice(["A1", "A2"])),
        "visit date": day.strftime("%d.%m.%Y") if comma and rng.random() < 0.7 else day.isoformat(),
        "odometer": f"{odometer} km",
        "joint": str(rng.choice(JOINTS)),
        "direction": str(rng.choice(["in-out", "fore-aft", "up-down"])),
        "play": f"{number} {rng.choice(['mm', 'thou', 'in', 'um'])}",
        "technician": str(rng.choice(["T1", "T2", "T;3", 'T"4', "T,5", "T\n6"])),
    }
    if comma:
        row["play"] = row["play"].replace(".", ",")
    return row


@dataclass
class Tally:
    """What became of rows and files, and what was wrong."""

    rows: Counter[str] = field(default_factory=Counter)
    files: Counter[str] = field(default_factory=Counter)
    wrong: list[str] = field(default_factory=list)
    slowest: float = 0.0


def template(folder: Path) -> Path:
    """Return a folder with a store of vehicles and positions."""
    texts = {
        "vehicles.csv": "unit,model\nA1,Alpha\nA2,Alpha\n",
        "positions.csv": "model,axle,side,place,kind\nAlpha,front,left,lower,ball joint\n"
        "Alpha,front,right,lower,ball joint\nAlpha,front,left,,tie rod end\n",
    }
    for name, text in texts.items():
        (folder / name).write_text(text, encoding="utf-8")
    store = Store.create_or_open(folder / "store")
    load_files(store, [folder / name for name in texts], today=TODAY, loaded_at=LOADED_AT)
    return folder / "store"


def write_rows(path: Path, header: list[str], rows: list[list[str]], delimiter: str) -> None:
    if path.suffix == ".csv":
        text = io.StringIO(newline="")
        csv.writer(text, delimiter=delimiter, lineterminator="\r\n", quoting=csv.QUOTE_ALL).writerows([header, *rows])
        path.write_bytes(text.getvalue().encode("utf-8"))
        return
    with xlsxwriter.Workbook(path, {"strings_to_formulas": False, "strings_to_urls": False}) as book:
        sheet = book.add_worksheet()
        for number, row in enumerate([header, *rows]):
            for place, cell in enumerate(row):
                sheet.write_string(number, place, cell)


MODES = ("plain", "header unit", "mapped", "workbook")
MAP = 'table = "readings"\ndelimiter = ";"\ndecimal = ","\ndates = "dd.mm.yyyy"\n'


def fuzz_rows(count: int, *, seed: int, folder: Path, batch: int = 2_000) -> Tally:
    """Load mutated rows, a batch a file and a store, in each of `MODES` by turns."""
    tally = Tally()
    rng = np.random.default_rng(seed)
    base = template(folder)
    for number in range(-(-count // batch)):
        mode = MODES[number % len(MODES)]
        size = min(batch, count - number * batch)
        home = folder / f"batch{number}"
        shutil.copytree(base, home / "store")
        rows = []
        for _ in range(size):
            row = true_row(rng, comma=mode == "mapped")
            for _ in range(int(rng.choice([0, 1, 1, 1, 2]))):
                name = HEADER[int(rng.integers(0, len(HEADER)))]
                row[name] = mutate(row[name], rng)
            # a NUL makes the file no text file, which is a test of files; control characters are no XML
            row = {name: cell.replace("\x00", "") for name, cell in row.items()}
            if mode == "workbook":
                row = {name: re.sub(r"[\x1b\x7f\r]", "", cell) for name, cell in row.items()}
            if mode == "header unit" and rng.random() < 0.5:
                row["play"] = row["play"].partition(" ")[0]
            rows.append(row)
        header = ["play (thou)" if name == "play" and mode == "header unit" else name for name in HEADER]
        path = home / ("r.xlsx" if mode == "workbook" else "r.csv")
        write_rows(path, header, [[row[name] for name in HEADER] for row in rows], ";" if mode == "mapped" else ",")
        if mode == "mapped":
            (home / "r.columns.toml").write_text(MAP, encoding="utf-8")
        compare(home, path, rows, mode, tally)
        shutil.rmtree(home)
    return tally


def compare(home: Path, path: Path, rows: list[dict[str, str]], mode: str, tally: Tally) -> None:
    """Load one file and compare each of its rows with the independent reading."""
    try:
        loaded, refused = load(home, path, tally, seconds=120)
    except FleetwearError as error:
        tally.wrong.append(f"{mode}: the whole file is refused: {error}")
        return
    for place, row in enumerate(rows, start=2):
        if not any(cell.strip() for cell in row.values()):
            continue
        said = read_independently(row, mapped=mode == "mapped", play_unit="thou" if mode == "header unit" else "")
        may_be_refused = not said.is_good or any(CONTROL.search(row[name]) for name in TEXTS)
        if place in loaded:
            tally.rows["loaded"] += 1
            if (fault := differs(said, loaded[place])) is not None:
                tally.wrong.append(f"{mode}: {fault}: {row} was loaded as {loaded[place]}")
        elif place in refused:
            tally.rows["refused, and malformed" if may_be_refused else "refused, though its cells can be read"] += 1
            if not any(reason.strip() for reason in refused[place]):
                tally.wrong.append(f"{mode}: refused without a reason: {row}")
            if not may_be_refused and not any(is_of_context(reason) for reason in refused[place]):
                tally.wrong.append(f"{mode}: {row} was refused: {refused[place]}")
        else:
            tally.wrong.append(f"{mode}: lost: {row}")


CONTROL = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f]")
"""Characters that a text may not hold."""

TEXTS = ("technician",)

CONTEXT = (
    "contradict",
    "no visit of unit",
    "visits of unit",
    "set aside",
    "shows the error",
    "lies before",
    "in service",
)


def is_of_context(reason: str) -> bool:
    """Return whether a reason is about other rows, or about an error that a spreadsheet shows."""
    return any(words_ in reason for words_ in CONTEXT) or "odometer" in reason


def differs(said: Said, stored: tuple[object, ...]) -> str | None:
    unit, day, km, joint, direction, result, play_mm = stored
    if (unit, joint, direction) != (said.unit, said.joint, said.direction):
        return "another joint"
    if day != said.day:
        return "another day"
    if said.km is not None and km is not None and abs(Fraction(km) - said.km) > Fraction(1, 10):  # type: ignore[arg-type]
        return "another odometer value"
    if said.is_result:
        return None if result != "measured" and play_mm is None else "another result"
    if said.play_mm is None or play_mm is None:
        return "a play from nothing"
    near = abs(Fraction(play_mm) - said.play_mm) <= Fraction(1, 10**9) + said.play_mm / 10**12  # type: ignore[arg-type]
    return None if near else "another play"


STORED = """select r.source_row, v.unit, d.visit_date, d.odometer_km, p.joint, r.direction, r.result, r.play_mm
from readings as r inner join visits as d on d.visit_id = r.visit_id
inner join (select distinct vehicle_id, unit from vehicles) as v on v.vehicle_id = r.vehicle_id
inner join positions as p on p.position_id = r.position_id
inner join loads as l on l.load_id = r.load_id where l.file_name = ?"""


def load(
    home: Path, path: Path, tally: Tally, *, seconds: int
) -> tuple[dict[int, tuple[object, ...]], dict[int, list[str]]]:
    """Return the readings and the refused rows of a file by row; a load that takes too long is a hang."""

    def hang(*_: object) -> None:
        raise TimeoutError(f"{path.name} hangs")

    began = time.monotonic()
    signal.signal(signal.SIGALRM, hang)
    signal.alarm(seconds)
    try:
        load_files(Store(home / "store"), [path], today=TODAY, loaded_at=LOADED_AT)
    finally:
        signal.alarm(0)
        tally.slowest = max(tally.slowest, time.monotonic() - began)
    with Store(home / "store").reader() as con:
        loaded = {row[0]: row[1:] for row in con.execute(STORED, [path.name]).fetchall()}
        refused = dict(
            con.execute("select source_row, reasons from quarantine where file_name = ?", [path.name]).fetchall()
        )
    return loaded, refused


def malformed(data: bytes, rng: np.random.Generator) -> bytes:
    """Return a file's bytes with some of them wrong."""
    parts = [
        b"\x00",
        b"\xff\xfe",
        b"\xef\xbb\xbf",
        b'"',
        b'""',
        b",",
        b";",
        b"\r",
        b"\n\n",
        b"\r\r\n",
        b"\xe9",
        b"\x1a",
    ]
    parts += [b"PK\x03\x04", b"<", b"&#x0;", b"]]>", b"A" * 40_000, b"," * 2_000, b"\n" * 1_000, b"=cmd()", b"\xf0\x9f"]
    for _ in range(int(rng.integers(1, 5))):
        place = int(rng.integers(0, max(len(data), 1)))
        match int(rng.integers(0, 6)):
            case 0:
                data = data[:place]
            case 1 | 2:
                data = data[:place] + parts[int(rng.integers(0, len(parts)))] + data[place:]
            case 3:
                data = data[:place] + data[place + int(rng.integers(1, 30)) :]
            case 4:
                data = data[:place] + rng.bytes(int(rng.integers(1, 20))) + data[place:]
            case 5:
                other = int(rng.integers(0, max(len(data), 1)))
                low, high = sorted((place, other))
                data = data[:place] + data[low:high][:5_000] + data[place:]
    return data


def malformed_workbook(path: Path, rng: np.random.Generator) -> bytes:
    """Return a workbook's bytes, wrong in its archive or in one of its parts."""
    if rng.random() < 0.3:
        return malformed(path.read_bytes(), rng)
    out = io.BytesIO()
    with zipfile.ZipFile(path) as archive, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as made:
        names = archive.namelist()
        chosen = names[int(rng.integers(0, len(names)))]
        if rng.random() < 0.6:
            chosen = "xl/worksheets/sheet1.xml"
        for name in names:
            data = archive.read(name)
            if name == chosen:
                if rng.random() < 0.1:
                    continue
                data = malformed(data, rng)
                far = [b"A1048576", b"XFD1", b"ZZ999999", b"A99999999999", b"A0", b"AAAAAAAAA1"]
                data = (
                    data.replace(b'r="B3"', b'r="' + far[int(rng.integers(0, 6))] + b'"')
                    if rng.random() < 0.4
                    else data
                )
            made.writestr(name, data)
    return out.getvalue()


def fuzz_files(count: int, *, seed: int, folder: Path) -> Tally:
    """Load malformed files, each into the store of those before it."""
    tally = Tally()
    rng = np.random.default_rng(seed)
    home = folder / "files"
    home.mkdir()
    shutil.copytree(template(folder), home / "store")
    for number in range(count):
        rows = [true_row(rng, comma=False) for _ in range(6)]
        kind = ("csv", "csv", "xlsx", "map")[number % 4]
        path = home / f"f{number}.{'xlsx' if kind == 'xlsx' else 'csv'}"
        columns = home / f"f{number}.columns.toml"
        write_rows(path, HEADER, [[row[name] for name in HEADER] for row in rows], ",")
        if kind == "xlsx":
            path.write_bytes(malformed_workbook(path, rng))
        elif kind == "csv":
            path.write_bytes(malformed(path.read_bytes(), rng))
        else:
            columns.write_bytes(malformed(b'table = "readings"\nheader_rows = [1]\n[columns]\nunit = "unit"\n', rng))
        try:
            loaded, _ = load(home, path, tally, seconds=30)
        except InputError as error:
            tally.files["refused"] += 1
            if not error.what or "Traceback" in str(error):
                tally.wrong.append(f"{path.name} is refused without a reason")
        except Exception as error:  # what must not come is counted here
            tally.files["failed"] += 1
            tally.wrong.append(f"{path.name} (number {number}): {type(error).__name__}: {str(error)[:200]}")
        else:
            tally.files["loaded"] += 1
            check_loaded(path, kind, loaded, tally)
        path.unlink()
        columns.unlink(missing_ok=True)
    return tally


def check_loaded(path: Path, kind: str, loaded: dict[int, tuple[object, ...]], tally: Tally) -> None:
    """Compare what was loaded of a malformed CSV file with an independent reading of its records."""
    if kind == "xlsx" or not loaded:
        return
    text = path.read_bytes().decode("utf-8-sig")
    records = list(csv.reader(io.StringIO(text, newline="")))
    header = next((record for record in records if any(cell.strip() for cell in record)), [])
    plain = [" ".join(re.sub(r"[\s_./#:-]+", " ", cell.casefold()).split()) for cell in header]
    names = {name: plain.index(name) for name in HEADER if name in plain}
    for place, stored in loaded.items():
        record = records[place - 1]
        cells = {name: record[names[name]] if name in names else "" for name in HEADER}
        said = read_independently(cells, mapped=False)
        if (fault := differs(said, stored)) is not None:
            tally.wrong.append(f"{path.name}: {fault}: {record} was loaded as {stored}")


def main() -> int:
    parser = argparse.ArgumentParser(description="Load malformed rows and files.")
    parser.add_argument("--rows", type=int, default=100_000)
    parser.add_argument("--files", type=int, default=2_000)
    parser.add_argument("--seed", type=int, default=1)
    chosen = parser.parse_args()
    wrong = 0
    for what, count, run in (("rows", chosen.rows, fuzz_rows), ("files", chosen.files, fuzz_files)):
        began = time.monotonic()
        with tempfile.TemporaryDirectory() as folder:
            tally = run(count, seed=chosen.seed, folder=Path(folder))
        told = ", ".join(f"{number:,} {name}" for name, number in sorted((tally.rows | tally.files).items()))
        print(f"{count:,} {what} in {time.monotonic() - began:.0f} s (longest load {tally.slowest:.1f} s): {told}")
        print(f"  {len(tally.wrong)} wrong")
        for each in tally.wrong[:20]:
            print(f"  - {each}")
        wrong += len(tally.wrong)
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
