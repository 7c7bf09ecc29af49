"""Growth compared over a fleet: whose part a life is of, where it ran, what is left out, and what is said of it."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import pandas as pd
import pytest

from fleetwear.errors import InputError, StoreError
from fleetwear.forecast.effect_words import say_comparison
from fleetwear.forecast.effects import ALL_KINDS, FACTORS, compare_growth
from fleetwear.planning.effects import read_effects
from fleetwear.store import Store, open_snapshot
from fleetwear.store.known import prepare
from fleetwear.wear.comparisons import MEAN

AS_OF = date(2026, 11, 1)
POSITIONS = """
    model,axle,side,place,kind
    Van,front,left,lower,ball joint
    Van,front,right,lower,ball joint
    Bus,front,left,lower,ball joint
"""
LEFT, RIGHT = "left front lower ball joint", "right front lower ball joint"


def compared(folder, **options):
    with Store(folder).reader() as con:
        prepare(con, as_of=AS_OF)
        return compare_growth(con, **options)


def lives_of(folder, columns):
    with Store(folder).reader() as con:
        prepare(con, as_of=AS_OF)
        compare_growth(con)
        query = (
            f"select v.unit, e.life_no, {columns} from effect_lives as e join known_vehicles as v using (vehicle_id)"
        )
        return con.execute(query + " order by v.unit, e.position_id, e.life_no").fetchall()


def van_fleet(*, vans=24, ratio=1.4, seed=2):
    """Vans whose joints are replaced at 40,000 km, by supplier A's or B's in turn, and read to 90,000 km."""
    rng = np.random.default_rng(seed)
    vehicles = ["unit,model,in service date,depot,duty"]
    readings = ["unit,visit date,odometer (km),joint,direction,timing,play (mm)"]
    work = ["unit,work date,odometer (km),joint,work,supplier"]
    for van in range(vans):
        unit = f"V{van + 1}"
        vehicles.append(f"{unit},Van,2021-01-01,{('Coast', 'Inland', 'North')[van % 3]},tools")
        shared = rng.normal(0.0, 0.15)
        for side, joint in enumerate((LEFT, RIGHT)):
            supplier = ("Supplier A", "Supplier B")[(van + side) % 2]
            for part, start in (("", 0), (supplier, 40_000)):
                rate = 5e-6 * np.exp(rng.normal(0.0, 0.2) + shared) * (ratio if part == "Supplier B" else 1.0)
                for km in range(start + 10_000, 50_000 if not part else 90_001, 10_000):
                    day = date(2021, 1, 1) + timedelta(days=km // 60)
                    play = max(0.1 + rate * (km - start) + rng.normal(0.0, 0.02), 0.01)
                    timing = "before work" if km == 40_000 else ""
                    readings.append(f"{unit},{day},{km},{joint},in-out,{timing},{play:.3f}")
            day = date(2021, 1, 1) + timedelta(days=40_000 // 60)
            work.append(f"{unit},{day},40000,{joint},replaced,{supplier}")
    return {
        "vehicles": "\n".join(vehicles),
        "positions": POSITIONS,
        "readings": "\n".join(readings),
        "work": "\n".join(work),
    }


def test_one_call_tells_whose_joints_wear_how_much_faster(make_store):
    folder = make_store(van_fleet())
    frame = compared(folder, kind="ball joint", factor="supplier")
    row = frame[(frame["level"] == "Supplier B") & (frame["reference"] == "Supplier A")].iloc[0]
    assert row["lower"] < 1.4 < row["upper"]
    assert row["lower"] > 1.1
    assert (row["n_lives"], row["n_vehicles"], row["n_readings"]) == (24, 24, 24 * 5)
    start = f"Supplier B's ball joints wear {row['ratio']:.1f} times as fast as supplier A's ({row['lower']:.1f} to "
    assert row["says"].startswith(start)
    assert row["p_holm"] < 0.01
    original = frame[(frame["level"] == "original") & (frame["reference"] == "Supplier A")].iloc[0]
    assert original["lower"] < 1.0 < original["upper"]
    assert "no difference is shown" in original["says"]
    assert (frame["reference"] == MEAN).sum() == 3
    named = compared(folder, kind="ball joint", factor="supplier", reference="Supplier B")
    turned = named[(named["level"] == "Supplier A") & (named["reference"] == "Supplier B")].iloc[0]
    assert turned["ratio"] == pytest.approx(1.0 / row["ratio"], rel=1e-5)

    everything = compared(folder)
    assert set(everything["factor"]) == set(FACTORS)
    assert set(everything["kind"]) == {"ball joint", ALL_KINDS}
    depots = everything[(everything["factor"] == "depot") & (everything["kind"] == "ball joint")]
    assert len(depots) == 2 + 3
    assert (depots["simultaneous_lower"] < depots["lower"]).all()
    alone = everything[(everything["factor"] == "duty") & (everything["kind"] == "ball joint")].iloc[0]
    assert np.isnan(alone["ratio"])
    assert alone["note"] == "nothing to compare it with"
    again = everything[(everything["level"] == "Supplier B") & (everything["reference"] == "Supplier A")].iloc[0]
    assert again["ratio"] == pytest.approx(row["ratio"])
    assert again["p_holm"] > row["p_holm"], "more comparisons reported, more to answer for"


def test_young_parts_are_compared_over_what_they_have_run(make_store):
    """Original parts run on to 200,000 km, ever faster; over the first 50,000 they wear as supplier A's do."""
    tables = van_fleet(ratio=1.0)
    late = []
    for van in range(24):
        for km in range(50_000, 200_001, 10_000):
            day = date(2021, 1, 1) + timedelta(days=km // 100)
            late.append(f"B{van},{day},{km},{LEFT},in-out,,{0.1 + 5e-6 * km + 2e-5 * max(km - 60_000, 0):.3f}")
        for km in (10_000, 20_000, 30_000, 40_000):
            day = date(2021, 1, 1) + timedelta(days=km // 100)
            late.append(f"B{van},{day},{km},{LEFT},in-out,,{0.1 + 5e-6 * km * (1.0 + 0.01 * van):.3f}")
    tables["vehicles"] += "".join(f"\nB{van},Van,2021-01-01,Coast,tools" for van in range(24))
    tables["readings"] += "\n" + "\n".join(late)
    frame = compared(make_store(tables), kind="ball joint", factor="supplier")
    row = frame[(frame["level"] == "original") & (frame["reference"] == "Supplier A")].iloc[0]
    assert row["ratio"] == pytest.approx(1.0, abs=0.25)
    assert "over the first 50,000 km that all of them have run" in row["note"]


def test_a_life_is_of_the_supplier_of_its_part_and_of_the_depot_where_it_was_read(make_store):
    folder = make_store(
        {
            "vehicles": """
                unit,model,in service date,depot,duty,distance source,valid from
                A1,Bus,2021-01-01,Coast,line,odometer,2021-01-01
                A1,Bus,2021-01-01,Inland,,odometer,2024-01-01
                A2,Bus,,Coast,line,odometer,2021-01-01
                A3,Bus,2021-01-01,Coast,line,none,2021-01-01
            """,
            "positions": POSITIONS,
            "work": f"""
                unit,work date,odometer (km),joint,work,supplier
                A1,2022-01-01,20000,{LEFT},adjusted,
                A1,2023-01-01,40000,{LEFT},replaced,Q
                A1,2023-07-01,50000,{LEFT},adjusted,
                A1,2025-01-01,80000,{LEFT},replaced,
                A2,2024-01-01,60000,{LEFT},replaced,Q
            """,
            "readings": "unit,visit date,odometer (km),joint,direction,result,play (mm)\n"
            + "\n".join(
                f"{unit},{day},{km},{LEFT},in-out,{result},{play}"
                for unit, day, km, result, play in (
                    ("A1", "2021-06-01", 10000, "measured", 0.2),
                    ("A1", "2022-06-01", 30000, "measured", 0.2),
                    ("A1", "2023-06-01", 48000, "measured", 0.2),
                    ("A1", "2023-09-01", 55000, "measured", 0.2),
                    ("A1", "2024-06-01", 65000, "measured", 0.3),
                    ("A1", "2024-09-01", 70000, "measured", 0.3),
                    ("A1", "2025-06-01", 90000, "measured", 0.3),
                    ("A1", "2025-09-01", 95000, "none seen", ""),
                    ("A2", "2023-06-01", 50000, "measured", 0.3),
                    ("A2", "2025-06-01", 90000, "measured", 0.3),
                    ("A3", "2023-06-01", "", "measured", 0.3),
                )
            ),
        }
    )
    assert lives_of(folder, "e.supplier, e.depot, e.duty") == [
        ("A1", 1, "original", "Coast", "line"),
        ("A1", 2, "original", "Coast", "line"),
        ("A1", 3, "Q", "Coast", "line"),
        ("A1", 4, "Q", "Inland", "not recorded"),
        ("A1", 5, "not recorded", "Inland", "not recorded"),
        ("A2", 2, "Q", "Coast", "line"),
    ], "a part of unknown origin, and a vehicle without an odometer, are not compared"
    frame = compared(folder)
    assert frame["ratio"].isna().all()
    assert frame["note"].str.startswith("fewer than 20 lives").all()
    readings = frame[(frame["factor"] == "supplier") & (frame["level"] == "not recorded")]
    assert readings["n_readings"].iloc[0] == 1, "none seen is not measured"


def test_what_there_is_not_is_refused_with_what_there_is(make_store):
    folder = make_store(van_fleet(vans=2))
    for options, words in (
        ({"kind": "wing nut"}, "wheel bearing"),
        ({"factor": "colour"}, "supplier"),
        ({"reference": "B"}, "which factor"),
        ({"factor": "supplier", "reference": "Z"}, "Supplier A, Supplier B, original"),
    ):
        with pytest.raises(InputError, match=words):
            compared(folder, **options)


def test_a_store_without_readings_compares_nothing(make_store):
    folder = make_store({"vehicles": "unit,model,in service date\nA1,Van,2023-01-01", "positions": POSITIONS})
    assert compared(folder).empty


def test_sentences():
    row = {
        "kind": "tie rod end", "factor": "depot", "level": "Coast", "reference": "Inland", "ratio": 1.423,
        "lower": 1.21, "upper": 1.66, "simultaneous_lower": 1.1, "simultaneous_upper": 1.8, "note": "",
    }  # fmt: skip
    assert (
        say_comparison(row)
        == "Tie rod ends at depot Coast wear 1.4 times as fast as those at depot Inland (1.2 to 1.7)."
    )
    chance = say_comparison(row | {"simultaneous_lower": 0.97})
    assert chance.endswith("(1.2 to 1.7), which may be chance among so many comparisons.")
    near = row | {
        "ratio": 0.98,
        "lower": 0.913,
        "upper": 1.042,
        "factor": "side",
        "level": "left",
        "reference": "right",
    }
    assert say_comparison(near) == (
        "Tie rod ends on the left wear 0.98 times as fast as those on the right (0.91 to 1.04), "
        "so no difference is shown."
    )
    thin = row | {"ratio": np.nan, "note": "too few lives to compare", "kind": ALL_KINDS, "reference": ""}
    assert say_comparison(thin) == "Joints of all kinds at depot Coast: too few lives to compare."
    mean = row | {"factor": "supplier", "level": "original", "reference": MEAN}
    assert (
        say_comparison(mean) == "Original tie rod ends wear 1.4 times as fast as the mean of all of them (1.2 to 1.7)."
    )
    unknown = row | {"factor": "supplier", "level": "not recorded", "reference": "Q", "note": "not adjusted for depot"}
    assert say_comparison(unknown) == (
        "Tie rod ends without a supplier on record wear 1.4 times as fast as Q's (1.2 to 1.7); not adjusted for depot."
    )


def test_a_published_fit_has_its_comparisons(demo_store):
    con = open_snapshot(demo_store.folder)
    try:
        stored = read_effects(con)
        depots = read_effects(con, kind="ball joint", factor="depot")
    finally:
        con.close()
    with Store(demo_store.folder).reader() as con:
        prepare(con, as_of=demo_store.files.as_of)
        fresh = compare_growth(con)
    pd.testing.assert_frame_equal(stored, fresh, check_dtype=False, rtol=1e-9)
    assert set(stored["factor"]) == set(FACTORS)
    assert len(depots) == 5
    # the joints of the demo fleet at Harbour wear 1.3 times as fast as they do elsewhere
    harbour = depots[(depots["level"] == "Harbour") & (depots["reference"] != MEAN)].iloc[0]
    assert harbour["lower"] < 1.3 < harbour["upper"]
    supplier = stored[(stored["factor"] == "supplier") & (stored["kind"] == "ball joint")].set_index("level")
    assert supplier.loc["Supplier B", "note"] == "too few lives to compare", "4 lives in 2 vehicles"
    models = stored[(stored["factor"] == "model") & (stored["kind"] == "ball joint")]
    assert models["note"].str.contains("not adjusted for duty").all()


def test_a_fit_made_before_comparisons_were_kept_says_so(demo_store, tmp_path):
    import shutil

    shutil.copy(demo_store.folder / "store.duckdb", tmp_path / "store.duckdb")
    with Store(tmp_path).writer() as con:
        con.execute("delete from fit_effects")
        with pytest.raises(StoreError, match="fleetwear forecast"):
            read_effects(con)
        con.execute("drop table fit_effects")
        with pytest.raises(StoreError, match="fleetwear forecast"):
            read_effects(con)
