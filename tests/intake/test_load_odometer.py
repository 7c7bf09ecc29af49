from __future__ import annotations

from fleetwear.intake import list_quarantine

HEAD = "unit,entry date,odometer (km),event,new odometer (km)\n"
JOINT = "left front lower ball joint"


def entries(*pairs):
    return HEAD + "".join(f"A1,{day},{km},,\n" for day, km in pairs)


def values(bench):
    return [
        row[0]
        for row in bench.rows(
            "select o.odometer_km from odometer as o anti join set_aside as s "
            "on s.table_name = 'odometer' and s.row_id = o.odometer_id order by 1"
        )
    ]


def test_a_typo_in_the_file_is_quarantined_alone(bench):
    summary = bench.load(
        "o.csv",
        entries(("2022-01-01", 20000), ("2022-02-01", 93400), ("2022-03-01", 25000), ("2022-04-01", 28000)),
    )
    assert (summary.rows_in, summary.rows_quarantined) == (3, 1)
    assert bench.reasons() == [
        [
            "odometer 93,400 km on 2022-02-01 lies above 25,000 km on 2022-03-01: "
            "correct it, or record a swap of the instrument in an odometer file"
        ]
    ]


def test_a_rise_too_fast_and_a_fall_are_told_apart(bench):
    bench.load("o.csv", entries(("2022-01-01", 20000), ("2022-02-01", 25000)))
    bench.load("a.csv", entries(("2022-02-02", 99000)))
    bench.load("b.csv", entries(("2022-03-01", 2500)))
    says = [reason[0] for reason in bench.reasons()]
    assert "99,000 km on 2022-02-02 would be more than 2,500 km a day after 25,000 km on 2022-02-01" in says[0]
    assert "2,500 km on 2022-03-01 lies below 25,000 km on 2022-02-01" in says[1]


def test_a_typo_loaded_earlier_is_set_aside_when_true_rows_outnumber_it(bench):
    bench.load("o.csv", entries(("2022-01-01", 912000)))
    summary = bench.load("true.csv", entries(("2022-02-01", 23000), ("2022-03-01", 25000), ("2022-04-01", 26000)))
    assert (summary.rows_in, summary.rows_quarantined, summary.set_aside) == (3, 0, 1)
    assert values(bench) == [23000, 25000, 26000]
    with bench.store.reader() as con:
        (row,) = list_quarantine(con).to_dict("records")
    assert (row["file"], row["row"], row["table"]) == ("o.csv", 2, "odometer")
    assert "912,000 km on 2022-01-01" in row["reasons"][0]
    assert '"odometer":"912000.0 km"' in row["cells"]


def test_true_rows_that_come_one_at_a_time_outvote_it_too(bench):
    bench.load("x.csv", entries(("2022-01-01", 20000), ("2022-01-02", 412000)))
    assert bench.load("x.csv").rows_in == 0
    bench2 = [("2022-02-01", 23000), ("2022-03-01", 25000), ("2022-04-01", 26000)]
    taken = [bench.load(f"{day}.csv", entries((day, km))).rows_in for day, km in bench2]
    assert taken == [1, 1, 1]


def test_equal_evidence_keeps_what_is_stored_until_there_is_more(bench):
    bench.load("v.csv", "unit,model\nC1,Alpha\n")
    head = "unit,entry date,odometer (km)\n"
    bench.load("typo.csv", head + "C1,2022-01-01,912000\n")
    first = bench.load("a.csv", head + "C1,2022-02-01,23000\n")
    assert (first.rows_in, first.rows_quarantined) == (0, 1)
    second = bench.load("b.csv", head + "C1,2022-03-01,25000\n")
    assert (second.rows_in, second.set_aside) == (1, 1)
    again = bench.load("a.csv")
    assert (again.rows_in, again.settled) == (1, 1)
    assert values(bench) == [23000, 25000]
    assert bench.load("typo.csv").rows_known == 1
    assert values(bench) == [23000, 25000]
    mended = bench.load("typo.csv", head + "C1,2022-01-01,21000\n")
    assert (mended.rows_in, mended.settled) == (1, 1)
    assert values(bench) == [21000, 23000, 25000]
    with bench.store.reader() as con:
        assert list_quarantine(con).empty


def test_a_swap_lets_the_distance_go_on(bench):
    text = HEAD + "A1,2022-01-01,20000,,\nA1,2022-02-01,22000,swap,5\nA1,2022-03-01,2005,,\nA1,2022-04-01,1000,,\n"
    summary = bench.load("o.csv", text)
    assert (summary.rows_in, summary.rows_quarantined) == (3, 1)
    assert "1,000 km on 2022-04-01 lies below 2,005 km on 2022-03-01" in bench.reasons()[0][0]
    assert bench.load("more.csv", entries(("2022-05-01", 4000))).rows_in == 1
    assert bench.load("before.csv", entries(("2022-01-15", 21000))).rows_in == 1


def test_a_swap_that_is_itself_a_typo_shifts_nothing(bench):
    text = (
        HEAD + "A1,2021-12-01,19000,,\nA1,2022-01-01,20000,,\nA1,2022-02-01,"
        "220000,swap,5\nA1,2022-03-01,24000,,\nA1,2022-04-01,26000,,\n"
    )
    summary = bench.load("o.csv", text)
    assert (summary.rows_in, summary.rows_quarantined) == (4, 1)
    assert bench.rows("select source_row from quarantine") == [(4,)]


def test_all_readings_of_a_mistaken_visit_are_refused_together(bench):
    bench.load("o.csv", entries(("2022-01-01", 20000), ("2022-06-01", 26000)))
    head = "unit,visit date,odometer (km),joint,direction,play (mm)\n"
    lines = [
        f"A1,2022-03-01,{km},{JOINT},{direction},0.1\n"
        for km in (230000, 23000)
        for direction in ("in-out", "fore-aft")
    ]
    summary = bench.load("r.csv", head + "".join(lines))
    assert (summary.rows_in, summary.rows_quarantined) == (2, 2)
    assert bench.rows("select odometer_km from visits") == [(23000,)]


def test_readings_after_a_refused_row_are_numbered_without_a_gap(bench):
    bench.load("o.csv", entries(("2022-01-01", 20000), ("2022-06-01", 26000)))
    head = "unit,visit date,odometer (km),joint,direction,play (mm)\n"
    good = "".join(f"A1,2022-03-01,23000,{JOINT},in-out,{play}\n" for play in ("0.1", "0.2", "0.3"))
    bench.load("r.csv", head + f"A1,2022-02-01,230000,{JOINT},in-out,0.9\n" + good)
    numbers = "select reading_id, source_row from readings order by reading_id"
    assert bench.rows(numbers) == [(1, 3), (2, 4), (3, 5)]
    later = "".join(f"A1,2022-04-01,24000,{JOINT},in-out,{play}\n" for play in ("0.1", "0.2", "0.3"))
    assert bench.load("later.csv", head + later).rows_in == 3
    assert bench.rows(numbers) == [(1, 3), (2, 4), (3, 5), (4, 2), (5, 3), (6, 4)]
    assert bench.rows("select count(distinct visit_id) from readings") == [(2,)]


def test_a_mistaken_visit_takes_its_readings_along_and_both_are_corrected(bench):
    """The typo stands in the visits file; the readings have no odometer of their own."""
    bench.load("v.csv", "unit,visit date,odometer (km),complaint\nA2,2022-03-01,230000,knocks\n")
    readings = f"unit,visit date,joint,direction,play (mm)\nA2,2022-03-01,{JOINT},in-out,0.1\n"
    bench.load("r.csv", readings)
    found = bench.load("o.csv", entries(("2022-04-01", 24000), ("2022-05-01", 25000)).replace("A1", "A2"))
    assert (found.rows_in, found.set_aside) == (2, 2)
    assert bench.rows("select table_name, row_id from set_aside order by all") == [
        ("readings", 1), ("visit_notes", 1), ("visits", 1),
    ]  # fmt: skip
    unchanged = bench.dump()
    assert (bench.load("v.csv").rows_known, bench.load("r.csv").rows_known) == (1, 1)
    late = bench.load("late.csv", readings.replace("0.1", "0.2"))
    assert (late.rows_in, late.rows_quarantined) == (0, 1)
    assert "is set aside because of its odometer value" in bench.reasons()[-1][0]
    assert unchanged["reading_rows"] == bench.dump()["reading_rows"]

    mended = bench.load("v.csv", "unit,visit date,odometer (km),complaint\nA2,2022-03-01,23000,knocks\n")
    assert (mended.rows_in, mended.settled) == (1, 1)
    again = bench.load("r.csv")
    assert (again.rows_in, again.settled) == (1, 1)
    assert bench.load("late.csv").settled == 1
    with bench.store.reader() as con:
        assert list_quarantine(con).empty
        assert len(list_quarantine(con, include_settled=True)) == 3
    assert bench.rows("select visit_id, play_mm from readings order by reading_id") == [
        (1, 0.1),
        (2, 0.1),
        (2, 0.2),
    ]


def test_the_in_service_odometer_counts_as_an_entry(bench):
    summary = bench.load(
        "v.csv",
        "unit,model,in service date,in service odometer (km),valid from\nA1,Alpha,2020-01-01,10,2021-01-01\n",
    )
    assert summary.rows_in == 1
    bench.load("o.csv", entries(("2022-01-01", 20000), ("2022-02-01", 22000)))
    wrong = bench.load(
        "v2.csv",
        "unit,model,in service date,in service odometer (km),valid from\nA1,Alpha,2020-01-01,90000,2023-01-01\n",
    )
    assert (wrong.rows_in, wrong.rows_quarantined) == (0, 1)


def test_vehicles_that_the_file_does_not_touch_are_left_alone(bench):
    with bench.store.writer() as con:
        con.execute(
            "insert into odometer (vehicle_id, entry_date, "
            "odometer_km, event, load_id, source_row, row_key) values "
            "(2, '2022-01-01', 900, 'reading', 1, 1, 'a'), (2, '2022-02-01', 100, 'reading', 1, 1, 'b')"
        )
    assert bench.load("o.csv", entries(("2022-01-01", 20000))).set_aside == 0
