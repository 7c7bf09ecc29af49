"""Cases worked through from files to flags."""

from datetime import date, datetime

import pytest

from fleetwear.errors import InputError, StoreError
from fleetwear.planning.flags import read_flags
from fleetwear.planning.vehicle import find_unit, read_vehicle
from fleetwear.store import Store, open_snapshot
from fleetwear.vocabulary import Outcome
from pipelines import nightly

AS_OF = date(2026, 11, 1)


def forecast(store):
    nightly.run(store, as_of=AS_OF, made_at=datetime(2026, 11, 2))
    with Store(store).reader() as con:
        return read_flags(con)


def small_fleet(*, extra_readings="", **tables):
    """Return ten vans with four visits each, wearing about 3 thou per 10,000 mi."""
    units = range(10)
    vehicles = "\n".join(f"A{k},Van,2022-01-01,mi,thou,P{k},VIN{k}" for k in units)
    visits, readings, services = [], [], []
    for k in units:
        for n, day in enumerate(("2024-11-01", "2025-05-01", "2025-11-01", "2026-05-01")):
            miles = 30_000 + 10_000 * n
            services.append(f"A{k},{day},{miles},10000,6")
            visits.append(f"A{k},{day},{miles},,,")
            for direction in ("in-out", "fore-aft"):
                play = 5 + 3 * (miles / 10_000) * (0.8 + 0.05 * k) + (-1) ** (k + n)
                readings.append(f"A{k},{day},left front lower ball joint,{direction},{play:.0f}")
    return {
        "vehicles": f"unit,model,in service date,distance unit,play unit,plate,vin\n{vehicles}",
        "positions": "model,axle,side,place,kind\nVan,front,left,lower,ball joint",
        "limits": "kind,limit (in),basis,source\nball joint,0.039,shop,workshop sheet 7",
        "services": "unit,service date,odometer (mi),interval (mi),interval months\n" + "\n".join(services),
        "visits": "unit,visit date,odometer (mi),complaint,symptom confirmed,symptom joint\n" + "\n".join(visits),
        "readings": "unit,visit date,joint,direction,play (thou)\n" + "\n".join(readings) + "\n" + extra_readings,
    } | tables


@pytest.fixture
def noisy(make_store):
    """A van whose joint reads 0.020 in of 0.039 in fore-aft with a confirmed noise, next to nothing in-out."""
    tables = small_fleet(extra_readings="N1,2026-10-01,left front lower ball joint,fore-aft,20\n"
                                        "N1,2026-10-01,left front lower ball joint,in-out,1\n")  # fmt: skip
    tables["vehicles"] += "\nN1,Van,2022-01-01,mi,thou,PN,VINN"
    tables["visits"] += "\nN1,2026-10-01,50000,knock over bumps,yes,left front lower ball joint"
    return make_store(tables)


def test_a_confirmed_noise_with_half_the_allowed_play_calls_for_replacement(noisy):
    """Common practice, no source: a confirmed noise that the joint explains means replace, under the limit or not."""
    flags = forecast(noisy)
    vehicle = flags.vehicles.set_index("unit").loc["N1"]
    assert vehicle["outcome"] == Outcome.SYMPTOM_CONFIRMED
    joints = flags.joints[flags.joints["unit"] == "N1"]
    assert set(joints["outcome"]) == {str(Outcome.SYMPTOM_CONFIRMED)}
    fore_aft = joints.set_index("direction").loc["fore-aft"]
    assert "20 thou on 2026-10-01, 51% of its limit of 39 thou" in fore_aft["reason"]
    assert "calls for replacement even under the limit" in fore_aft["reason"]


def test_a_symptom_is_gone_once_the_joint_is_replaced(noisy, make_store):
    make_store(
        {"work": "unit,work date,odometer (mi),joint,work\nN1,2026-10-02,50000,left front lower ball joint,replaced"}
    )
    vehicle = forecast(noisy).vehicles.set_index("unit").loc["N1"]
    assert vehicle["outcome"] == Outcome.NOT_TESTED
    assert "since its replacement on 2026-10-02" in vehicle["reason"]


def test_a_symptom_is_gone_once_a_later_visit_says_so(noisy, make_store):
    make_store(
        {
            "visits_later": "unit,visit date,odometer (mi),complaint,symptom confirmed,symptom joint\n"
            "N1,2026-10-20,50500,knock over bumps,no,left front lower ball joint"
        }
    )
    assert forecast(noisy).vehicles.set_index("unit").loc["N1", "outcome"] != Outcome.SYMPTOM_CONFIRMED


def test_growth_is_found_and_told_in_the_users_units(make_store):
    flags = forecast(make_store(small_fleet()))
    joints = flags.joints[flags.joints["direction"] == "in-out"].set_index("unit")
    per_10000_mi = joints["growth_mm_per_km"] * 16093.44 / 0.0254
    for k in range(10):
        assert per_10000_mi[f"A{k}"] == pytest.approx(3 * (0.8 + 0.05 * k), abs=0.6)
    assert "per 10,000 mi" in joints["reason"].iloc[0]


def test_nobody_is_flagged_where_no_limit_stands(make_store):
    tables = small_fleet()
    del tables["limits"]
    flags = forecast(make_store(tables))
    assert set(flags.joints["outcome"]) == {str(Outcome.NO_LIMIT)}
    assert flags.joints["p_over_next"].isna().all()


def test_a_limit_holds_from_its_date_and_the_most_specific_one_counts(make_store):
    tables = small_fleet(
        limits="""
            model,kind,place,direction,limit (in),basis,source,valid from
            ,ball joint,,,0.039,shop,any joint,2020-01-01
            Van,ball joint,lower,,0.030,maker,lower joints,2020-01-01
            Van,ball joint,lower,,0.028,maker,lower joints revised,2026-01-01
            Van,ball joint,lower,in-out,0.026,maker,from tomorrow on,2026-11-02
            Van,ball joint,lower,fore-aft,0.020,maker,after every next service,2036-11-02
        """
    )
    flags = forecast(make_store(tables))
    sources = flags.joints.groupby("direction")[["limit_source", "judged_limit_source"]].agg(set)
    assert sources.loc["in-out"].tolist() == [{"from tomorrow on"}, {"lower joints revised"}]
    assert sources.loc["fore-aft"].tolist() == [{"lower joints revised"}] * 2


def test_a_joint_never_tested_is_named(make_store):
    tables = small_fleet(
        positions="model,axle,side,place,kind\nVan,front,left,lower,ball joint\nVan,front,right,lower,ball joint"
    )
    flags = forecast(make_store(tables))
    untested = flags.joints[flags.joints["joint"] == "right front lower ball joint"]
    assert set(untested["outcome"]) == {str(Outcome.NOT_TESTED)}
    assert len(untested) == 20


def test_reading_back_by_unit_plate_or_vin(make_store):
    store = make_store(small_fleet())
    forecast(store)
    con = open_snapshot(store)
    try:
        assert find_unit(con, " p3 ") == find_unit(con, "vin3") == find_unit(con, "A3") == "A3"
        with pytest.raises(InputError, match="A1"):
            find_unit(con, "A11")
        record = read_vehicle(con, "a3")
        assert len(record.readings) == 8
        assert len(record.visits) == 4
        assert set(record.lines["shape"]) <= {"straight", "power", "two-stage", "wandering"}
        assert not record.lines.empty
        with pytest.raises(InputError, match="depot"):
            read_flags(con, depot="nowhere")
        with pytest.raises(InputError, match="probability"):
            read_flags(con, accepted_risk=1.5)
        with pytest.raises(StoreError, match="no forecast number 99"):
            read_flags(con, forecast_id=99)
    finally:
        con.close()


def test_too_few_joints_for_a_model_are_said_to_be_so(make_store):
    flags = forecast(
        make_store(
            {
                "vehicles": "unit,model,in service date\nA1,Van,2023-01-01",
                "positions": "model,axle,side,place,kind\nVan,front,left,lower,ball joint",
                "limits": "kind,limit (mm),basis,source\nball joint,0.9,shop,sheet",
                "readings": """
                    unit,visit date,odometer (km),joint,direction,play (mm)
                    A1,2024-05-01,20000,left front lower ball joint,in-out,0.2
                    A1,2025-05-01,40000,left front lower ball joint,in-out,0.3
                    A1,2026-05-01,60000,left front lower ball joint,fore-aft,0.95
                """,
            }
        )
    )
    by_direction = flags.joints.set_index("direction")
    assert by_direction.loc["in-out", "outcome"] == Outcome.TOO_LITTLE_DATA
    assert "too few readings in the fleet for a model" in by_direction.loc["in-out", "reason"]
    assert by_direction.loc["fore-aft", "outcome"] == Outcome.OVER_LIMIT


def test_a_first_load_of_one_visit_each_still_tells_what_is_over_its_limit(make_store):
    flags = forecast(
        make_store(
            {
                "vehicles": "unit,model,distance source\nA1,Van,odometer\nT1,Van,none",
                "positions": "model,axle,side,place,kind\nVan,front,left,lower,ball joint",
                "limits": "kind,limit (mm),basis,source\nball joint,0.8,shop,sheet",
                "readings": """
                    unit,visit date,odometer (km),joint,direction,method,play (mm)
                    A1,2026-05-01,60000,left front lower ball joint,in-out,pry bar,0.5
                    A1,2026-05-01,60000,left front lower ball joint,in-out,lever under tyre,1.0
                    T1,2026-05-01,,left front lower ball joint,in-out,pry bar,0.3
                """,
            }
        )
    )
    vehicles = flags.vehicles.set_index("unit")
    assert vehicles.loc["A1", "outcome"] == Outcome.OVER_LIMIT
    assert "1.00 mm on 2026-05-01, over its limit of 0.80 mm" in vehicles.loc["A1", "reason"]
    assert vehicles["p_any_over_next"].isna().all(), "nothing can be said without a model"
    assert (vehicles["joints_in_probability"] == 0).all()
    assert "daily distance assumed" in vehicles.loc["A1", "distance_note"]
    assert not vehicles["overdue"].any()


def test_what_is_not_measured_later_does_not_hide_what_was_over(make_store):
    joint = "left front lower ball joint,in-out"
    tables = small_fleet(extra_readings=f'N1,2026-09-01,{joint},45\nN1,2026-10-01,{joint},"seen, not measured"')
    tables["vehicles"] += "\nN1,Van,2022-01-01,mi,thou,PN,VINN"
    tables["visits"] += "\nN1,2026-09-01,49000,,,\nN1,2026-10-01,50000,,,"
    assert forecast(make_store(tables)).vehicles.set_index("unit").loc["N1", "outcome"] == Outcome.OVER_LIMIT


def test_a_symptom_loaded_later_is_not_known_earlier(make_store):
    tables = small_fleet()
    store = make_store(tables)
    make_store(
        {
            "notes": "unit,visit date,odometer (mi),complaint,symptom confirmed,symptom joint\n"
            "A1,2026-05-01,60000,knock,yes,left front lower ball joint"
        },
        loaded_at=datetime(2026, 11, 25),
    )
    early = nightly.run(store, as_of=AS_OF, made_at=datetime(2026, 11, 26), known_by=datetime(2026, 11, 22))
    with Store(store).reader() as con:
        assert Outcome.SYMPTOM_CONFIRMED not in set(read_flags(con, forecast_id=early).vehicles["outcome"])
    assert forecast(store).vehicles.set_index("unit").loc["A1", "outcome"] == Outcome.SYMPTOM_CONFIRMED
