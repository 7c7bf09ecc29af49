"""Wheel checks and their limits as files: what is taken, what is refused and why, and that nothing is lost."""

from __future__ import annotations

import pytest

CHECK = "unit,visit date,odometer (km),axle,side,wheel part,read at,play\n"


def test_a_check_comes_in_with_its_visit_and_is_known_again(bench):
    text = CHECK + "A1,2024-03-01,5000,Front,left,steering linkage,tire tread,0.25 in\n" * 2
    first = bench.load("wheel_checks.csv", text)
    assert (first.table, first.rows_in, first.rows_known) == ("wheel_checks", 1, 1)
    assert bench.load("wheel_checks.csv").rows_known == 2
    rows = bench.rows(
        "select v.odometer_km, w.axle, w.side, w.read_at, w.result, w.play_mm, w.play_written, w.play_unit "
        "from wheel_checks as w join visits as v on v.visit_id = w.visit_id"
    )
    assert rows == [(5000.0, "front", "left", "tyre tread", "measured", 6.35, "0.25", "in")]
    assert bench.rows("select count(*) from readings") == [(0,)]


def test_a_check_joins_the_visit_that_is_there(bench):
    bench.load("visits.csv", "unit,visit date,odometer (km)\nA1,2024-03-01,5000\n")
    text = "unit,visit date,axle,side,wheel part,read at,result,play\n"
    bench.load("wheel_checks.csv", text + "A1,2024-03-01,front,left,wheel bearing,tyre sidewall,none seen,\n")
    assert bench.rows("select count(*) from visits") == [(1,)]
    assert bench.rows("select result, play_mm from wheel_checks") == [("none seen", None)]


@pytest.mark.parametrize(
    ("row", "reason"),
    [
        (
            "A1,2024-03-01,5000,rear,left,steering linkage,tyre tread,1 mm",
            '"rear" is not an axle of model "Alpha"; its positions name "front"',
        ),
        ("A9,2024-03-01,5000,front,left,steering linkage,tyre tread,1 mm", 'unit "A9" is not a known vehicle'),
        ("A1,2024-03-01,5000,front,left,steering linkage,tyre tread,", "there is neither play nor result"),
        ("A1,2024-03-01,5000,front,left,steering linkage,tyre tread,1", "has no unit"),
        ("A1,2024-03-01,5000,front,up,steering linkage,tyre tread,1 mm", '"up" is not known'),
        ("A1,2024-03-01,5000,front,left,whole wheel,tyre tread,1 mm", '"whole wheel" is not known'),
        ("A1,2024-03-01,5000,front,left,steering linkage,,1 mm", "read at is empty"),
        ("A1,2024-03-01,,front,left,steering linkage,tyre tread,1 mm", "odometer is empty"),
    ],
)
def test_a_refused_check_says_why(module_bench, row, reason):
    before = len(module_bench.reasons())
    assert module_bench.load("wheel_checks.csv", CHECK + row + "\n").rows_quarantined == 1
    assert any(reason in said for said in module_bench.reasons()[before])


def test_a_bead_that_cannot_be_and_a_number_that_was_not_measured_are_refused(bench):
    header = "unit,visit date,odometer (km),axle,side,wheel part,read at,bead inches,result,play\n"
    rows = (
        "A1,2024-03-01,5000,front,left,steering linkage,tyre tread,571.5,,1 mm\n"
        "A1,2024-03-01,5000,front,left,steering linkage,tyre tread,22.5,none seen,1 mm\n"
        "A1,2024-03-01,5000,front,left,steering linkage,tyre tread,22.5,,1 mm\n"
    )
    assert bench.load("wheel_checks.csv", header + rows).rows_in == 1
    bead, unmeasured = bench.reasons()
    assert "nominal rim diameter in inches" in bead[0]
    assert 'the result is "none seen" but the play is "1 mm"' in unmeasured[0]
    assert bench.rows("select bead_diameter_in from wheel_checks") == [(22.5,)]


def test_limits_need_a_number_or_a_note_and_a_range_that_runs_up(bench):
    header = "wheel part,bead inches from,bead inches to,limit,basis,source,note\n"
    rows = (
        "steering linkage,16.01,18.00,0.375 in,statute,a table,\n"
        "wheel bearing,,,,statute,a directive,excessive play rejects\n"
        "wheel bearing,,,,statute,a directive,\n"
        "steering linkage,18.00,16.01,0.375 in,statute,a table,\n"
    )
    summary = bench.load("wheel_limits.csv", header + rows)
    assert (summary.table, summary.rows_in, summary.rows_quarantined) == ("wheel_limits", 2, 2)
    assert bench.rows("select limit_mm, limit_unit, note from wheel_limits order by wheel_limit_id") == [
        (9.525, "in", None), (None, None, "excessive play rejects"),
    ]  # fmt: skip
    nothing, range_ = bench.reasons()
    assert "neither a limit nor a note" in nothing[0]
    assert "change them about" in range_[0]


def test_a_visit_set_aside_takes_its_checks_along_and_they_can_be_corrected(bench):
    """The visit's odometer has a digit too many, which later entries find out."""
    bench.load("wheel_checks.csv", CHECK + "A1,2024-03-01,50000,front,left,steering linkage,tyre tread,7 mm\n")
    later = "\n".join(f"A1,2024-03-{day:02d},{5000 + day}" for day in (5, 9, 12, 20))
    found = bench.load("odometer.csv", "unit,entry date,odometer (km)\nA1,2024-02-01,4000\n" + later + "\n")
    assert found.set_aside == 1
    ((table, row_id),) = bench.rows("select table_name, row_id from set_aside where table_name = 'wheel_checks'")
    assert bench.rows("select wheel_check_id from wheel_checks") == [(row_id,)]
    assert table == "wheel_checks"
    ((cells,),) = bench.rows("select cells::varchar from quarantine")
    assert '"play":"7 mm"' in cells.replace(" :", ":").replace(": ", ":")
    mended = bench.load("wheel_checks.csv", CHECK + "A1,2024-03-01,5000,front,left,steering linkage,tyre tread,7 mm\n")
    assert (mended.rows_in, mended.settled) == (1, 1)


def test_old_rows_of_limits_and_vehicles_are_known_again_and_new_columns_come_in(bench):
    """Support and weight class are columns that came later: what does not say them has the key it had before."""
    plain = "kind,limit,basis,source\nball joint,50 thou,maker,handbook\n"
    assert bench.load("limits.csv", plain).rows_known == 1
    stated = "kind,limit,support,basis,source\nball joint,50 thou,loaded,maker,handbook\n"
    assert bench.load("limits.csv", stated).rows_in == 1
    assert bench.rows("select support from limits order by limit_id") == [(None,), ("loaded",)]
    rows = 'A2,Alpha,2024-01-01,"over 10,000 lb"\nA1,Alpha,2024-01-01,over 10000 lb\n'
    summary = bench.load("vehicles.csv", "unit,model,valid from,weight class\n" + rows)
    assert summary.rows_in == 2
    told = bench.rows("select distinct weight_class from vehicles where weight_class is not null")
    assert told == [("over 10,000 lb",)]
