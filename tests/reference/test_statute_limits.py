"""Published limits of wheel play, their boundaries exact: what ships, and what it says of a check.

- 49 CFR 570.60, Table 3 (vehicles over 10,000 lb): steering linkage play at the tyre tread by nominal bead diameter,
  16 inches or less 1/4 in; 16.01 to 18.00 inches 3/8 in; 18.01 inches or more 1/2 in (6.35, 9.525, 12.7 mm). Read.
- 49 CFR 570.7(b) (10,000 lb and under): shall not exceed 1/4 in; 6.35 mm passes, 6.351 mm does not. Read.
- 49 CFR 570.7(b)(1), 570.60(b)(1): ball joints loaded, wheel bearings adjusted first. Read.
- COMAR 11.22.03.04 (Maryland): wheel bearing play at the tyre sidewall over 1/8 in rejects (3.175 mm). Read.
- Directive 2014/45/EU, Annex I, 5.1.2 and 5.1.3: "excessive" wear or play, no number. Read.

1 in = 25.4 mm exactly (NIST SP 811, Appendix B), so there is no tolerance.
"""

from __future__ import annotations

from datetime import date, datetime

import pandas as pd
import pytest

from fleetwear.errors import InputError
from fleetwear.intake.statutes import statute_table, write_statute
from fleetwear.planning.wheel_checks import judge_wheel
from fleetwear.store import Store, sql
from fleetwear.store.known import prepare
from fleetwear.vocabulary import WeightClass, WheelVerdict
from pipelines import load

LIGHT, HEAVY = str(WeightClass.LIGHT), str(WeightClass.HEAVY)


@pytest.fixture(scope="module")
def limits(tmp_path_factory):
    """The limits of every statute after they were loaded into a store, as a forecast reads them."""
    folder = tmp_path_factory.mktemp("statutes")
    paths = [write_statute(name, folder) for name in statute_table()["statute"].unique()]
    summaries = load.run(folder / "store", paths, date(2026, 11, 20), loaded_at=datetime(2026, 11, 20))
    assert [summary.rows_in for summary in summaries] == [summary.rows_read for summary in summaries]
    with Store(folder / "store").reader() as con:
        prepare(con, as_of=date(2026, 11, 1))
        return con.execute(sql("forecast/wheel_limits")).df().to_dict("records")


def check(play_mm, *, bead=None, weight=None, part="steering linkage", read_at="tyre tread", **changed):
    return {
        "axle": "steer", "side": "left", "wheel_part": part, "direction": None, "method": None, "support": "loaded",
        "read_at": read_at, "bearings_adjusted": True, "bead_diameter_in": bead, "result": "measured",
        "play_mm": play_mm, "play_written": f"{play_mm}", "play_unit": "mm", "model": "Van", "tyre_size": None,
        "weight_class": weight, "visit_date": pd.Timestamp("2026-09-01"),
    } | changed  # fmt: skip


@pytest.mark.parametrize(
    ("bead", "limit_mm"),
    [(15.0, 6.35), (16.0, 6.35), (16.01, 9.525), (17.5, 9.525), (18.0, 9.525), (18.01, 12.7), (22.5, 12.7)],
)
def test_table_3_of_49_cfr_570_60_by_bead_diameter(limits, bead, limit_mm):
    within = judge_wheel(check(limit_mm, bead=bead, weight=HEAVY), limits)
    over = judge_wheel(check(limit_mm + 0.001, bead=bead, weight=HEAVY), limits)
    assert within.verdict is WheelVerdict.WITHIN
    assert over.verdict is WheelVerdict.OVER
    assert "49 CFR 570.60, Table 3" in over.says
    assert "not of one joint" in over.says
    assert over.indicative == within.indicative == ""


@pytest.mark.parametrize("bead", [14.0, 16.0, 16.01, 22.5, None])
def test_a_quarter_of_an_inch_in_49_cfr_570_7_whatever_the_bead(limits, bead):
    assert judge_wheel(check(6.35, bead=bead, weight=LIGHT), limits).verdict is WheelVerdict.WITHIN
    over = judge_wheel(check(6.351, bead=bead, weight=LIGHT), limits)
    assert over.verdict is WheelVerdict.OVER
    assert "6.351 mm" in over.says
    assert "0.25 in (6.35 mm) of 49 CFR 570.7(b)" in over.says


def test_an_eighth_of_an_inch_at_the_sidewall_in_maryland(limits):
    bearing = {"part": "wheel bearing", "read_at": "tyre sidewall"}
    within = judge_wheel(check(3.175, **bearing), limits)
    over = judge_wheel(check(3.176, **bearing), limits)
    assert within.verdict is WheelVerdict.WITHIN
    assert over.verdict is WheelVerdict.OVER
    assert "COMAR 11.22.03.04 (Maryland)" in over.says
    assert "Annex I, 5.1.3 gives no number: excessive wear or play rejects" in over.says


def test_what_has_no_number_decides_nothing(limits):
    judged = judge_wheel(check(30.0, part="stub axle"), limits)
    assert judged.verdict is WheelVerdict.NO_LIMIT
    assert "Annex I, 5.1.2 gives no number" in judged.says


def test_neither_weight_class_nor_bead_is_guessed(limits):
    """Up to 1/4 in passes whatever the vehicle is, over 1/2 in whatever it is does not; between, it is asked for."""
    assert judge_wheel(check(6.35), limits).verdict is WheelVerdict.WITHIN
    assert judge_wheel(check(12.7), limits).verdict is WheelVerdict.UNDECIDED
    assert judge_wheel(check(12.701), limits).verdict is WheelVerdict.OVER
    asked = judge_wheel(check(8.0, tyre_size="some tyre"), limits)
    assert asked.verdict is WheelVerdict.UNDECIDED
    assert "weight class" in asked.says
    assert 'tyre size "some tyre"' in asked.says
    assert judge_wheel(check(8.0, bead=16.0), limits).verdict is WheelVerdict.OVER, "1/4 in either way"
    assert judge_wheel(check(8.0, weight=HEAVY, tyre_size="11R22.5"), limits).verdict is WheelVerdict.WITHIN
    assert judge_wheel(check(8.0, weight=LIGHT), limits).verdict is WheelVerdict.OVER


def test_the_procedure_of_570_is_that_of_the_limit(limits):
    hanging = judge_wheel(check(1.0, weight=LIGHT, support="hanging"), limits)
    assert "limit is for a wheel that is loaded, check hanging" in hanging.indicative
    unadjusted = judge_wheel(check(1.0, weight=LIGHT, bearings_adjusted=None), limits)
    assert "wheel bearings adjusted first" in unadjusted.indicative
    rim = judge_wheel(check(1.0, weight=LIGHT, read_at="rim"), limits)
    assert "limit is read at the tyre tread, check rim" in rim.indicative


def test_every_row_has_a_source_that_was_read_and_says_whom_it_binds():
    table = statute_table()
    assert set(table["status"]) == {"read"}
    assert table["source"].ne("").all()
    assert table.loc[table["statute"] == "49 CFR 570", "note"].str.contains("binds nobody by itself").all()
    with pytest.raises(InputError, match='"49 CFR 570"'):
        write_statute("49 CFR 571", None)
