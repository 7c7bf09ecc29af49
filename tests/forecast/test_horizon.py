"""The next service of vehicles with full, thin and missing records."""

from datetime import date

import numpy as np
import pytest

from fleetwear.forecast import Settings
from fleetwear.forecast.horizon import look_ahead
from fleetwear.store import Store
from fleetwear.store.known import ASSUMED_KM_PER_DAY, prepare

AS_OF = date(2026, 11, 1)


@pytest.fixture
def outlook(make_store):
    rows, services = [], []
    for k in range(12):
        rows.append(f"S{k},Van,2024-01-01,odometer")
        for n, day in enumerate(("2024-07-01", "2025-01-01", "2025-07-01", "2026-01-01", "2026-07-01")):
            services.append(f"S{k},{day},{(n + 1) * (15000 + 300 * k)},16000,6")
    rows += [
        "N1,Van,2024-01-01,odometer",
        "N2,Van,2026-09-01,odometer",
        "T1,Van,2024-01-01,none",
        "T2,Van,2024-01-01,none",
    ]
    services.append("T1,2026-08-01,,,12")
    folder = make_store(
        {
            "vehicles": "unit,model,in service date,distance source\n" + "\n".join(rows),
            "positions": "model,axle,side,place,kind\nVan,front,left,lower,ball joint",
            "services": "unit,service date,odometer (km),interval (km),interval months\n" + "\n".join(services),
            "visits": "unit,visit date,odometer (km)\nN1,2025-11-01,60000",
        }
    )
    with Store(folder).reader() as con:
        prepare(con, as_of=AS_OF)
        yield look_ahead(con, as_of=AS_OF, settings=Settings())


def drawn(outlook, n=2000):
    rows = np.arange(len(outlook.vehicles))
    return outlook.draw(rows, n_draws=n, rng=np.random.default_rng(1))


def row(outlook, unit):
    return int(np.flatnonzero(outlook.vehicles["unit"] == unit)[0])


def test_vehicles_with_records_are_next_in_about_when_they_should_be(outlook):
    ahead = drawn(outlook)
    k = row(outlook, "S0")
    assert np.median(ahead.rate[k]) == pytest.approx(15000 / 183, rel=0.1)
    assert 40 < np.median(ahead.service_days[k]) < 80
    assert ahead.now_km[k].mean() == pytest.approx(75000 + 123 * 82, rel=0.05)
    assert (ahead.service_km >= ahead.now_km).all()
    assert len(outlook.lateness) == 12 * 4


def test_a_vehicle_without_service_takes_the_assumed_interval_and_says_so(outlook):
    vehicle = outlook.vehicles.iloc[row(outlook, "N1")]
    assert vehicle["interval_km"] == Settings().default_interval_km
    assert "no service on record, assumed" in vehicle["note"]
    assert vehicle["assumed"]
    assert drawn(outlook).overdue[row(outlook, "N1")]
    assert not outlook.vehicles.iloc[row(outlook, "S0")]["assumed"]


def test_a_vehicle_without_any_entry_runs_as_its_fleet_does(outlook):
    ahead = drawn(outlook)
    k = row(outlook, "N2")
    assert 50 < np.median(ahead.rate[k]) < 120
    assert ahead.now_km[k].mean() < 12_000


def test_a_trailer_runs_on_dates_exactly(outlook):
    ahead = drawn(outlook)
    for unit in ("T1", "T2"):
        k = row(outlook, unit)
        days = (AS_OF - date(2024, 1, 1)).days
        assert ahead.now_km[k] == pytest.approx(np.full(2000, days * ASSUMED_KM_PER_DAY), abs=1.0)
        assert ahead.service_km[k] - ahead.now_km[k] == pytest.approx(
            ahead.service_days[k] * ASSUMED_KM_PER_DAY, abs=1.0
        )
        assert "distance estimated from dates" in outlook.vehicles.iloc[k]["note"]
    assert 200 < np.median(ahead.service_days[row(outlook, "T1")]) < 320
