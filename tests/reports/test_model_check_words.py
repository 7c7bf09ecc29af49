"""The model check in words, and its chart."""

import xml.etree.ElementTree as ET
from datetime import datetime

import pandas as pd
import pytest
import vl_convert

from fleetwear.backtest.records import StoredBacktest, read_backtest
from fleetwear.reports.charts import calibration_chart
from fleetwear.reports.looks import DARK, LIGHT, PRINT
from fleetwear.reports.model_check import (
    NONE,
    UNTOLD,
    bin_table,
    date_table,
    figure_table,
    left_out,
    say_coverage,
    say_lost,
    say_scope,
)
from fleetwear.store import open_snapshot


def made_up(*, coverage_95=0.95, n=1000, skill=0.4, replaced=(0, 0), skipped=""):
    dates = {"as_of": pd.Timestamp("2025-10-31"), "n_cases": n, "n_events": 40, "n_repeats": 3,
             "n_replaced": replaced[0], "n_replaced_flagged": replaced[1], "n_waiting": 7, "n_without_model": 2,
             "skipped": ""}  # fmt: skip
    other = dates | {"as_of": pd.Timestamp("2024-10-31"), "n_waiting": 0, "n_without_model": 0, "skipped": skipped}
    figures = {"events": 40.0, "expected_events": 38.2, "coverage_80": 0.79, "coverage_95": coverage_95,
               "brier_skill": skill, "missed": 12.0, "flags": 55.0, "false_flags": 27.0}  # fmt: skip
    rows = [("forecast", "all", measure, value, n) for measure, value in figures.items()]
    rows.append(("share of limit", "all", "missed", 14.5, n))
    scores = pd.DataFrame(rows, columns=["forecaster", "scope", "measure", "value", "n"])
    frame = pd.DataFrame([other, dates] if skipped else [dates])
    return StoredBacktest(1, datetime(2026, 1, 1), "0", {}, 60.0, frame, scores, pd.DataFrame())


def test_figures_in_words():
    table = figure_table(made_up(skill=float("nan"))).set_index("figure")
    assert table.loc["Crossings missed", "forecast"] == "12"
    assert table.loc["Crossings missed", "share_of_limit"] == "14.5", "ties share what they miss"
    assert table.loc["Crossings missed", "straight_line"] == NONE
    assert table.loc["Brier skill", "forecast"] == UNTOLD
    assert table.loc["Read within the 95\u00a0% interval", "forecast"] == "95\u00a0%"


@pytest.mark.parametrize(
    ("coverage", "words"), [(0.95, "within what chance allows"), (0.90, "too narrow"), (0.99, "too wide")]
)
def test_coverage_is_judged_with_room_for_chance(coverage, words):
    assert words in say_coverage(made_up(coverage_95=coverage))


def test_a_few_cases_judge_no_interval():
    assert "within what chance allows" in say_coverage(made_up(coverage_95=0.90, n=30))


def test_scope_and_lost_cases():
    assert say_scope(made_up()) == (
        "Looking from 2025-10-31, 1,000 next readings were forecast and then taken; 40 came out over the limit, where "
        "38.2 were forecast."
    )
    assert say_lost(made_up()).startswith("No case was lost to a part replaced or adjusted before being read again.")
    told = say_lost(made_up(replaced=(41, 33)))
    assert told.startswith("41 cases were lost to parts replaced or adjusted before being read again, 33 of them above")
    assert ", by then above the accepted risk." in say_lost(made_up(replaced=(1, 1)))
    assert ", not above the accepted risk." in say_lost(made_up(replaced=(1, 0)))
    assert "7 others have not been read again" in told


def test_dates_left_out_say_why():
    check = made_up(skipped="no kind of joint had enough readings by then for a model")
    assert date_table(check)["as_of"].tolist() == ["2025-10-31"]
    assert left_out(check)[0].startswith("2024-10-31 is left out: no kind of joint had enough readings")
    assert "2 cases of kinds with too few readings" in left_out(check)[1]


@pytest.fixture(scope="module")
def check(checked_store):
    con = open_snapshot(checked_store.folder)
    yield read_backtest(con)
    con.close()


@pytest.mark.parametrize("look", [LIGHT, DARK, PRINT])
def test_the_chart_draws_every_bin_with_its_cases(check, look, valid_chart):
    curve = check.calibration[check.calibration["scope"] == "all"]
    svg = ET.fromstring(vl_convert.vegalite_to_svg(valid_chart(calibration_chart(curve, look=look, width=360))))
    words = [element.text for element in svg.iter() if element.tag.endswith("text") and element.text]
    for n in curve["n"]:
        assert f"{n:,}" in words
    assert {"Forecast probability", "Share over the limit"} <= set(words)
    assert {"0.01", "0.2", "1"} <= set(words), "axes are labelled in probabilities, not in their roots"
    assert len(bin_table(check)) == len(curve)
