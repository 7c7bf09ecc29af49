"""The printed page of a vehicle: one page whatever is on record, in its own units, inert whatever was written."""

from __future__ import annotations

import dataclasses
import io
from pathlib import Path

import pandas as pd
import pypdf
import pytest
from typer.testing import CliRunner

from fleetwear import __version__, cli
from fleetwear.errors import InputError
from fleetwear.planning.flags import read_flags
from fleetwear.planning.vehicle import read_vehicle
from fleetwear.planning.wording import say_date
from fleetwear.reports.joint_history import joint_histories
from fleetwear.reports.page_text import LACKING, plain
from fleetwear.reports.vehicle_pdf import vehicle_pdf, write_vehicle_pdf
from fleetwear.reports.vehicle_sheet import vehicle_sheet
from fleetwear.store import open_snapshot
from fleetwear.vocabulary import BAY_CAUTIONS, CAUTION

HOSTILE = '#eval("1+1") #panic() *strong* $x$ <script>alert(1)</script> \\u{41} // @ref `raw`'


@pytest.fixture(scope="module")
def con(demo_store):
    con = open_snapshot(demo_store.folder)
    yield con
    con.close()


@pytest.fixture(scope="module")
def flags(con):
    return read_flags(con)


@pytest.fixture(scope="module")
def worst(con, flags):
    return read_vehicle(con, flags.vehicles["unit"].iloc[0])


@pytest.fixture(scope="module")
def trailer(con):
    return read_vehicle(con, "T101")


def opened(made):
    return pypdf.PdfReader(io.BytesIO(made))


def words(made):
    """Return the text of the only page, every gap one space, without the places at which words may break."""
    pages = opened(made).pages
    assert len(pages) == 1
    return " ".join(pages[0].extract_text().replace("\u200b", "").split())


CAUTIONS = (CAUTION, *BAY_CAUTIONS[:-1])


def lacking(text):
    """Return the cautions that a page's text does not hold whole."""
    return [caution for caution in CAUTIONS if caution not in text.replace("’", "'")]


def without_charts(record):
    """Return the record with no readings, which is set in no time."""
    joints = record.joints.assign(n_visits=0)
    return dataclasses.replace(record, readings=record.readings.iloc[:0], joints=joints)


def with_joints(record, number):
    """Return the record with so many rows of joints: its own, which keep their readings, and copies of them."""
    copies = pd.concat([record.joints] * (number // len(record.joints) + 1), ignore_index=True).iloc[:number].copy()
    copies["position_id"] = [
        int(position) + (1000 * at if at >= len(record.joints) else 0)
        for at, position in enumerate(copies["position_id"])
    ]
    return dataclasses.replace(record, joints=copies)


@pytest.mark.parametrize("outcome", ["over limit", "crosses before next service", "not tested", "no limit on record"])
def test_the_page_of_every_sort_of_vehicle(con, flags, outcome):
    unit = flags.vehicles.loc[flags.vehicles["outcome"] == outcome, "unit"].iloc[0]
    record = read_vehicle(con, unit)
    text = words(vehicle_pdf(record))
    vehicle = record.vehicle
    assert text.startswith(unit)
    assert f"{outcome[:1].upper()}{outcome[1:]}." in text
    assert lacking(text) == []
    assert f"forecast number {record.run.forecast_id}, fleetwear {__version__}" in text
    assert f"As of {record.run.as_of}" in text
    assert say_date(vehicle["next_service_date_50"]) in text
    assert f"Growth, {vehicle['play_unit']} per 10,000 {vehicle['distance_unit']}" in text.replace("\u00ad", "")
    assert f"play, {vehicle['play_unit']}" in text
    if (record.joints["n_visits"] == 0).any():
        assert "has not been cleared" in text
        assert "Not tested" in text


def test_a_vehicle_without_an_odometer_is_told_by_dates(trailer):
    text = words(vehicle_pdf(trailer, paper="letter"))
    assert "no odometer value: forecast on dates" in text
    assert f"play, {trailer.vehicle['play_unit']}" in text


def test_sizes_and_bytes(worst):
    bare = without_charts(worst)
    for paper, size in (("a4", (595.276, 841.89)), ("letter", (612.0, 792.0))):
        box = opened(vehicle_pdf(bare, paper=paper)).pages[0].mediabox
        assert (float(box.width), float(box.height)) == pytest.approx(size, abs=0.1)
    assert vehicle_pdf(bare) == vehicle_pdf(bare)
    with pytest.raises(InputError, match="a4"):
        vehicle_pdf(bare, paper="a5")


def test_a_vehicle_without_readings_and_one_without_joints(worst):
    bare = without_charts(worst)
    text = words(vehicle_pdf(dataclasses.replace(bare, visits=bare.visits.iloc[:0])))
    assert "No visit is on record." in text
    assert f"{len(bare.joints)} of {len(bare.joints)}" in text
    assert "Readings and growth" not in text
    empty = dataclasses.replace(bare, joints=bare.joints.iloc[:0], lines=bare.lines.iloc[:0])
    assert "No joint positions are on record" in words(vehicle_pdf(empty))


def test_forty_joints_are_cut_with_a_count(worst):
    many = with_joints(worst, 40)
    sheet = vehicle_sheet(many, joint_histories(many))
    text = words(vehicle_pdf(many))
    said = [at for at, more in enumerate(sheet["more"]) if more and more in text]
    assert len(said) == 1, "exactly one count of the rest stands on the page"
    assert 8 <= said[0] < 40
    assert "Readings and growth of the most pressing joints" in text
    assert f"And {40 - said[0]} more joints and load directions, none more pressing" in text
    assert lacking(text) == []
    ranks = [row["outcome"] for row in sheet["joints"]]
    assert ranks[0].startswith("over limit")


def test_cautions_say_how_to_lift_hold_and_lever_and_who_has_the_last_word():
    said = " ".join(CAUTIONS)
    for words in (
        "Chock the wheels and set the parking brake before lifting",
        "lower onto stands",
        "Never work on a jack alone",
        "before it is lifted or lowered",
        "brakes held",
        "apply force steadily",
        "keep hands and face clear",
        "The maker's procedure, local law and licensed practice come first",
    ):
        assert words in said, words


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_no_caution_is_lost_with_limits_that_are_missing_and_many_joints(worst, paper):
    many = with_joints(worst, 40)
    bare = {
        "limit_mm": float("nan"),
        "limit_source": None,
        "judged_limit_mm": float("nan"),
        "share_of_limit": float("nan"),
    }
    joints = many.joints.assign(**bare)
    assert lacking(words(vehicle_pdf(dataclasses.replace(many, joints=joints), paper=paper))) == []


def test_long_names_shrink_the_table_and_lose_no_caution(worst):
    many = with_joints(without_charts(worst), 60)
    long = "left front upper rearmost " * 400
    many = dataclasses.replace(
        many,
        joints=many.joints.assign(
            joint=long, limit_source=long, reason=long, symptom=long, doubt=long, indicative=long
        ),
        vehicle=many.vehicle.copy(),
    )
    for name in ("unit", "make", "model", "depot", "duty", "vin", "plate", "reason", "distance_note"):
        many.vehicle[name] = "W" * 10_000
    text = words(vehicle_pdf(many, paper="letter"))
    assert lacking(text) == []
    assert "WWWW" in text
    assert "…" in text
    assert "none more pressing" in text


def test_what_was_written_is_text_and_nothing_else(worst):
    bare = without_charts(worst)
    vehicle = bare.vehicle.copy()
    vehicle["model"], vehicle["plate"], vehicle["reason"] = "*bold* _it_", "#sys", HOSTILE
    vehicle["depot"] = "\u202eruobraH\u202c\x00\x07\u2066 = head"
    visits = bare.visits.assign(complaint='#include "/etc/passwd" \u200f- list\n= heading')
    joints = bare.joints.assign(joint='#link("x")[y]', limit_source="] #set page(width: 1cm)")
    made = vehicle_pdf(dataclasses.replace(bare, vehicle=vehicle, visits=visits, joints=joints))
    text = words(made)
    for written in (
        '#eval("1+1")',
        "#panic()",
        "*strong*",
        "$x$",
        "<script>",
        "*bold* _it_",
        "#sys",
        '#include "/etc/',
    ):
        assert written in text, written
    assert '#link("x")[y]' in text
    assert "ruobraH = head" in text
    assert not any(mark in text for mark in "\u202e\u202c\u2066\u200f\x00\x07")
    assert float(opened(made).pages[0].mediabox.width) == pytest.approx(595.276, abs=0.1)


def test_plain_text_is_one_line_cut_and_of_known_characters():
    assert plain("a\n\tb\u200e  c", 20) == "a b c"
    assert plain("x" * 50 + " y", 11) == "x" * 10 + "…"
    assert plain("Büro Łódź, Ковш", 30) == "Büro Łódź, Ковш"
    assert plain("e\u0301", 5) == "é"
    assert plain("車庫 3", 20) == f"{LACKING}{LACKING} 3"
    assert max(len(part) for part in plain("y" * 90, 90).split("\u200b")) <= 18


def test_every_character_that_is_let_through_has_a_glyph(worst):
    """A character that no font has is set as glyph 0 of the font, which this looks for on the page."""
    import typst

    passed = [chr(code) for code in range(0x21, 0x2700) if plain(chr(code), 3) == chr(code)]
    assert len(passed) > 600
    source = '#set text(font: "Libertinus Serif")\n#sys.inputs.text'

    def glyphs(text):
        made = typst.compile(source.encode(), format="pdf", ignore_system_fonts=True, sys_inputs={"text": text})
        found = set()
        for page in opened(made).pages:
            for operands, operator in pypdf.generic.ContentStream(page.get_contents(), None).operations:
                for part in [p for o in operands for p in (o if isinstance(o, list) else [o])]:
                    if operator in (b"Tj", b"TJ") and isinstance(part, (bytes, str)):
                        raw = part.original_bytes if isinstance(part, str) else part
                        found |= {raw[at : at + 2] for at in range(0, len(raw), 2)}
        return found

    assert b"\0\0" in glyphs("車")
    lacking = [character for character in passed if character.isprintable() and b"\0\0" in glyphs(character)] if (
        b"\0\0" in glyphs(" ".join(passed))
    ) else []  # fmt: skip
    assert lacking == []


def test_the_command_writes_the_page(demo_store, tmp_path: Path):
    path = tmp_path / "page.pdf"
    at = ["--store", str(demo_store.folder)]
    done = CliRunner().invoke(cli.app, ["vehicle", "T102", *at, "--pdf", str(path), "--paper", "letter"])
    assert done.exit_code == 0, done.output
    assert "T102" in words(path.read_bytes())
    assert float(opened(path.read_bytes()).pages[0].mediabox.width) == pytest.approx(612.0)


def test_a_file_that_cannot_be_written_says_so(worst, tmp_path):
    with pytest.raises(InputError, match=r"ends in \.pdf"):
        write_vehicle_pdf(worst, tmp_path / "page.txt")
    with pytest.raises(InputError, match="cannot be written"):
        write_vehicle_pdf(without_charts(worst), tmp_path / "none" / "page.pdf")
