"""The trend report: one file that needs nothing else, the same words in PDF, and tables in the fleet's own units."""

import io
import re
from dataclasses import replace
from xml.etree import ElementTree

import pytest
from pypdf import PdfReader

from fleetwear.errors import InputError, UnitError
from fleetwear.reports import trend_words as words
from fleetwear.reports.charts import cohort_chart, crossing_chart, growth_chart
from fleetwear.reports.looks import DARK, LIGHT
from fleetwear.reports.trend_html import trend_html
from fleetwear.reports.trend_pdf import trend_pdf, write_trend_report
from fleetwear.reports.trend_tables import TrendUnits, curves_end, growth_table, lifetime_table, trend_table
from fleetwear.store import open_snapshot
from fleetwear.trends import answer, read_trends
from fleetwear.units import factor
from fleetwear.vocabulary import CAUTION

THOU = TrendUnits("thou", "mi")


@pytest.fixture(scope="module")
def trends(demo_store):
    con = open_snapshot(demo_store.folder)
    yield read_trends(con)
    con.close()


@pytest.fixture(scope="module")
def kingpins(trends):
    return answer(trends, by="depot", kind="kingpin")


@pytest.fixture(scope="module")
def links(trends):
    """The smallest report: three pictures."""
    return answer(trends, by="depot", kind="stabilizer link")


@pytest.fixture(scope="module")
def page(kingpins):
    return trend_html(kingpins, units=THOU)


def test_the_page_needs_nothing_from_outside(page, kingpins):
    cohorts = kingpins.curves["kingpin"]["cohort"].nunique()
    assert page.count("<svg") == 1 + cohorts + len(kingpins.crossing) > 10
    assert "<script" not in page
    assert not re.search(r"\b(?:src|href|srcset)=", page)
    assert not re.search(r"url\((?!#)|@import", page)
    addresses = set(re.findall(r"https?://[^\s\"']+", page))
    assert addresses <= {"http://www.w3.org/2000/svg", "http://www.w3.org/1999/xlink"}, "names, not addresses"


def test_its_pictures_keep_their_names_apart_and_hold_words(page):
    names = re.findall(r'\bid="([^"]+)"', page)
    assert len(names) == len(set(names))
    assert set(re.findall(r"url\(#([^)]+)\)", page)) <= set(names)
    for svg in re.findall(r"<svg.*?</svg>", page, flags=re.DOTALL):
        assert len(list(ElementTree.fromstring(svg).iter("{http://www.w3.org/2000/svg}text"))) > 4


def test_the_page_says_what_stands_behind_it(page, kingpins):
    for said in (
        "2026-11-01", "fleetwear 0.1.0", "number 1", words.METHOD, words.CROSSINGS_CAUTION, words.GROWTH_CAUTION,
        "5 of 76 parts with a limit have been read over it", "service manual, steer axle",
    ):  # fmt: skip
        assert said in page
    assert page.count(CAUTION.replace("'", "&#x27;")) == 2
    for one in (*kingpins.thin_growth, *kingpins.thin_lifetimes):
        assert one.words() in page


def test_the_pdf_says_the_same_on_every_page(kingpins, page):
    made = trend_pdf(kingpins, units=THOU)
    reader = PdfReader(io.BytesIO(made))
    pages = [" ".join(one.extract_text().split()) for one in reader.pages]
    text = " ".join(pages)
    assert all(CAUTION.split(".")[0] in one for one in pages)
    assert f"1 of {len(pages)}" in pages[0]
    for said in ("Trends of kingpins, by depot", "as of", "fleetwear 0.1.0", "Too thin to tell", "Left out"):
        assert said.lower() in text.lower()
    rates = re.findall(r"<td[^>]*>(\d\.\d\d \(\d\.\d\d to \d\.\d\d\))</td>", page)
    assert len(rates) == 3
    for rate in rates:
        assert rate in text


def test_the_same_answer_gives_the_same_bytes(links):
    assert trend_pdf(links, units=THOU) == trend_pdf(links, units=THOU)


def test_words_of_a_record_are_never_markup(trends):
    lives = trends.lives.assign(depot=trends.lives["depot"].replace("Harbour", "<b>#x[1]*"))
    told = answer(replace(trends, lives=lives), by="depot", kind="stabilizer link")
    page = trend_html(told, units=THOU)
    assert "&lt;b&gt;#x[1]*" in page
    assert "<b>#x" not in page
    assert "<b>#x[1]*" in PdfReader(io.BytesIO(trend_pdf(told, units=THOU))).pages[0].extract_text()


def test_a_report_of_nothing_is_still_a_report(trends):
    bare = replace(
        trends, lives=trends.lives.head(0), curves=trends.curves.head(0), lifetimes=trends.lifetimes.head(0),
        effects=trends.effects.head(0),
    )  # fmt: skip
    told = answer(bare, by="depot")
    assert "No group has parts enough" in trend_html(told, units=THOU)
    assert "No group has parts enough" in PdfReader(io.BytesIO(trend_pdf(told, units=THOU))).pages[0].extract_text()


def test_tables_are_in_the_fleets_own_units(kingpins):
    table = growth_table(kingpins.growth, by="depot", units=THOU)
    assert list(table)[:2] == ["Depot", "Mean growth, thou per 10,000 mi (95 %)"]
    row = kingpins.growth.iloc[0]
    assert table.iloc[0, 1].startswith(f"{row['growth'] * 1e4 * factor('mi', 'km') * factor('mm', 'thou'):.2f} (")
    away = trend_table(kingpins.growth, kingpins.lifetimes, by="depot").set_index("level").loc[row["level"]]
    assert away["growth_mm_per_10000_km"] == pytest.approx(row["growth"] * 1e4, rel=1e-3)
    assert away["growth_thou_per_10000_mi"] == pytest.approx(row["growth"] * 633_600.0 / 1e0, rel=1e-3)
    limits = lifetime_table(kingpins.lifetimes, by="depot", units=TrendUnits("mm", "km"))["Limit"]
    assert "1.02 mm, 1.52 mm (service manual, steer axle)" in limits[0]


def test_a_distance_is_told_only_where_enough_crossed(trends):
    told = answer(trends, by="kind")
    table = lifetime_table(told.lifetimes, by="kind", units=THOU).set_index("Kind of joint")
    column = "One in ten has crossed by (95 %)"
    assert re.fullmatch(r"[\d,]+ \([\d,]+ to [\d,]+\) mi, (Weibull|lognormal)", table.loc["ball joint", column])
    assert table.loc["wheel bearing", column] == "too few crossings"
    assert "wheel bearing" not in words.without_crossings(told)
    assert "tie rod end (152)" in words.without_crossings(told)


@pytest.mark.parametrize("look", [LIGHT, DARK], ids=lambda look: look.name)
def test_charts_are_valid_and_hold_their_rows(kingpins, trends, look, valid_chart):
    growth = valid_chart(growth_chart(kingpins.growth, kingpins.densities, by="depot", units=THOU, look=look))
    assert growth["config"]["background"] == look.paper
    assert any("Harbour" in str(rows) for rows in growth["datasets"].values())
    curves = kingpins.curves["kingpin"]
    cohort = curves[curves["cohort"] == curves["cohort"].iloc[0]]
    chart = valid_chart(cohort_chart(cohort, ends=curves_end(curves, THOU), units=THOU, look=look))
    assert any(len(rows) == 25 for rows in chart["datasets"].values())
    (pins,) = list(answer(trends, by="kind", kind="kingpin").crossing)
    drawn = valid_chart(crossing_chart(pins, units=THOU, look=look))
    far = max(row["distance"] for rows in drawn["datasets"].values() for row in rows)
    assert far == pytest.approx(pins.lifetimes.reach * factor("km", "mi"))


def test_units_are_read_from_words_and_others_refused():
    assert TrendUnits.read("thou, mi") == THOU
    assert TrendUnits.read("mm km") == TrendUnits()
    with pytest.raises(InputError, match="units 'mm'"):
        TrendUnits.read("mm")
    with pytest.raises(UnitError, match="furlong"):
        TrendUnits.read("mm furlong")


def test_a_report_of_another_kind_or_place_is_refused(links, tmp_path):
    with pytest.raises(InputError, match=r"trends\.docx is neither"):
        write_trend_report(links, tmp_path / "trends.docx", units=THOU)
    with pytest.raises(InputError, match="cannot be written"):
        write_trend_report(links, tmp_path / "nowhere" / "trends.html", units=THOU)
