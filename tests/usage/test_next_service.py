"""The next service: rolling futures of a simulated fleet, plain-loop twin, and the odd cases."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import ks_2samp

from fleetwear.errors import InputError
from fleetwear.usage import UsageFit, draw_next_service, fit_usage, lateness_fractions

LATENESS = np.linspace(0.85, 1.25, 41)


def known_fit(n=1, *, rate=100.0, sd=0.0, phi2=2.5e4, last_day=0.0, last_km=50_000.0):
    return UsageFit(
        vehicles=np.array([f"unit {i}" for i in range(n)]),
        rate_mean=np.full(n, rate), rate_sd=np.full(n, sd),
        last_day=np.full(n, last_day), last_km=np.full(n, last_km),
        n_increments=np.full(n, 5), observed_days=np.full(n, 300.0),
        group_codes=np.zeros(n, dtype=np.intp), groups=np.array([0]),
        group_mean=np.array([rate]), group_sd=np.array([1.0]), mu=rate, mu_se=1.0,
        phi2=phi2, omega2=sd**2, tau2=0.0, n=5 * n, criterion="reml", loglik=0.0, converged=True,
        doubt="", note="",
    )  # fmt: skip


def draw(fit, **changed):
    given = {
        "as_of_day": 60.0, "service_day": -30.0, "service_km": 47_000.0, "interval_km": 20_000.0,
        "interval_days": 365.0, "lateness": LATENESS, "n_draws": 4000, "rng": np.random.default_rng(1),
    }  # fmt: skip
    return draw_next_service(fit, **(given | changed))


def simulate_services(rng, n, n_days, step=1.0):
    """Fine paths of n vehicles with services on them; plain loops."""
    mu, omega2, phi2 = 100.0, 900.0, 1.5e4
    rate = np.maximum(mu + np.sqrt(omega2) * rng.standard_normal(n), 10.0)
    steps = int(n_days / step)
    path = np.cumsum(rate[:, None] * step + np.sqrt(phi2 * step) * rng.standard_normal((n, steps)), axis=1)
    services = []
    for v in range(n):
        done, k = [(0.0, 0.0)], -1
        while True:
            f = np.exp(0.1 * rng.standard_normal())
            # A vehicle is brought in no sooner than 5 days after it was.
            due = (path[v, k + 5 :] - done[-1][1] >= f * 12_000) | (
                (np.arange(k + 5, steps) + 1) * step - done[-1][0] >= f * 120
            )
            if not due.any():
                break
            k = k + 5 + int(np.argmax(due))
            done.append(((k + 1) * step, path[v, k]))
        services.append(done)
    return path, services


def test_intervals_cover_simulated_futures():
    """90 % intervals of the next service's distance and day, forecast at rolling as-of days."""
    hits_km, hits_days, below_median, by_distance = [], [], [], []
    for seed, as_of in enumerate((420, 500, 580, 660)):
        rng = np.random.default_rng(seed)
        n = 150
        path, services = simulate_services(rng, n, 1000)
        past = [[s for s in done if s[0] <= as_of] for done in services]
        future = [next(s for s in done if s[0] > as_of) for done in services]
        # Entries: every service, and a dated odometer value now and then.
        entries = [(v, day, km) for v in range(n) for day, km in past[v]]
        for v in range(n):
            entries += [(v, float(k + 1), path[v, k]) for k in rng.integers(0, as_of - 10, 4)]
        vehicle, day, km = (np.array(column) for column in zip(*entries, strict=True))
        fit = fit_usage(vehicle, day, km)
        rows = [(v, d, x) for v in range(n) for d, x in past[v]]
        v_done, d_done, km_done = (np.array(column) for column in zip(*rows, strict=True))
        lateness = lateness_fractions(v_done, d_done, km_done, np.full(len(rows), 12_000.0), np.full(len(rows), 120.0))
        drawn = draw_next_service(
            fit,
            as_of_day=float(as_of),
            service_day=np.array([done[-1][0] for done in past]),
            service_km=np.array([done[-1][1] for done in past]),
            interval_km=12_000.0,
            interval_days=120.0,
            lateness=lateness,
            n_draws=1000,
            rng=rng,
        )
        assert drawn.doubt == ""
        true_days = np.array([s[0] for s in future]) - as_of
        true_km = np.array([s[1] for s in future])
        for drawn_part, true, hits in (
            (drawn.service_km, true_km, hits_km),
            (drawn.days, true_days - 0.5, hits_days),  # a path is looked at once a day
        ):
            low, high = np.quantile(drawn_part, [0.05, 0.95], axis=1)
            hits.append((true >= low) & (true <= high))
        below_median.append(true_km < np.median(drawn.service_km, axis=1))
        by_distance.append(drawn.by_distance.mean())
    n_cases = np.concatenate(hits_km).size
    print(np.mean(hits_km), np.mean(hits_days), np.mean(below_median), by_distance)
    error = np.sqrt(0.9 * 0.1 / n_cases)
    assert np.mean(hits_km) == pytest.approx(0.9, abs=3.5 * error)
    assert np.mean(hits_days) == pytest.approx(0.9, abs=3.5 * error)
    assert np.mean(below_median) == pytest.approx(0.5, abs=3.5 * np.sqrt(0.25 / n_cases))
    assert 0.15 < np.mean(by_distance) < 0.85


def test_draws_equal_simulated_paths_of_a_known_rate():
    """The plain twin: one vehicle, many paths in small steps, the same lateness."""
    found = draw(known_fit(), interval_km=18_000.0, interval_days=180.0, n_draws=20_000)
    rng, step, n = np.random.default_rng(5), 0.25, 4000
    km = 50_000.0 + 60 * 100.0 + np.sqrt(2.5e4 * 60) * rng.standard_normal(n)
    as_of = km.copy()
    used = np.maximum((km - 47_000) / 18_000, 90 / 180)
    fraction = np.full(n, np.nan)
    while np.isnan(fraction).any():  # plain rejection
        tried = rng.uniform(0.85, 1.25, n)
        fraction = np.where(np.isnan(fraction) & (tried > used), tried, fraction)
    days, going = np.full(n, np.nan), np.ones(n, dtype=bool)
    for k in range(1, 1000):
        km[going] += 100 * step + np.sqrt(2.5e4 * step) * rng.standard_normal(going.sum())
        due = going & ((km - 47_000 >= fraction * 18_000) | (90 + k * step >= fraction * 180))
        days[due] = k * step
        going &= ~due
        if not going.any():
            break
    assert not going.any()
    assert 0.3 < found.by_distance.mean() < 0.95
    for drawn, simulated in ((found.as_of_km, as_of), (found.days, days), (found.service_km, km)):
        assert ks_2samp(drawn.ravel(), simulated).pvalue > 1e-3


def test_shapes_order_and_bounds():
    found = draw(known_fit(3, sd=20.0), n_draws=500)
    for part in (found.rate, found.as_of_km, found.days, found.service_km, found.used, found.by_distance):
        assert part.shape == (3, 500)
    assert found.overdue.shape == (3,)
    assert (found.as_of_km >= 50_000).all()
    assert (found.days >= 1.0).all()
    assert (found.service_km >= found.as_of_km).all()
    assert not found.overdue.any()


def test_the_first_of_distance_and_months_counts():
    by_km = draw(known_fit(), interval_days=np.nan)
    by_date = draw(known_fit(), interval_km=np.nan, interval_days=220.0)
    both = draw(known_fit(), interval_days=220.0)
    assert by_km.by_distance.all()
    assert not by_date.by_distance.any()
    days = by_date.days + 90  # since the service
    assert np.quantile(days / 220, [0, 1]) == pytest.approx([0.85, 1.25], abs=0.01)
    assert both.days.mean() < min(by_km.days.mean(), by_date.days.mean())
    ran = by_km.service_km - 47_000
    assert np.quantile(ran / 20_000, [0, 1]) == pytest.approx([0.85, 1.25], abs=0.01)


def test_overdue_vehicles_are_due_at_once():
    late = draw(known_fit(), as_of_day=700.0)  # 730 days of 365: beyond any fraction on record
    assert late.overdue.all()
    assert (late.days == 1.0).all()
    np.testing.assert_allclose(late.service_km - late.as_of_km, late.rate)
    beyond = draw(known_fit(), as_of_day=365 * 1.1 - 30, interval_km=np.nan)
    assert beyond.overdue.all()
    assert beyond.days.max() > 20  # others have been later
    near = draw(known_fit(), as_of_day=365 * 0.9 - 30, interval_km=np.nan)
    assert not near.overdue.any()
    # Services later than 0.9 only: evenly over 0.9..1.25 of 365 days.
    assert near.days.mean() == pytest.approx(0.175 * 365, abs=4 * 0.35 * 365 / np.sqrt(12 * 4000))


def test_unknown_distance_at_the_service_is_drawn():
    known, unknown = (
        draw(known_fit(), interval_days=np.nan),
        draw(known_fit(), interval_days=np.nan, service_km=np.nan),
    )
    assert np.median(unknown.used) == pytest.approx(np.median(known.used), abs=0.01)
    assert unknown.used.std() > known.used.std()
    after = draw(known_fit(), service_day=30.0, service_km=np.nan, interval_days=np.nan)
    assert np.median(after.used) == pytest.approx(30 * 100 / 20_000, abs=0.01)
    assert np.median(after.as_of_km) == pytest.approx(56_000, abs=150)


def test_a_later_service_starts_the_path():
    found = draw(known_fit(), service_day=40.0, service_km=58_000.0)
    assert np.median(found.as_of_km) == pytest.approx(60_000, abs=100)


def test_uncertain_rates_widen_the_draws():
    narrow, wide = draw(known_fit()), draw(known_fit(sd=40.0))
    assert wide.as_of_km.std() > 1.5 * narrow.as_of_km.std()
    assert np.corrcoef(wide.rate.ravel(), wide.as_of_km.ravel())[0, 1] > 0.5


def test_few_services_are_said():
    assert "assumed" in draw(known_fit(), lateness=[]).doubt


def test_same_seed_same_draws():
    a, b = draw(known_fit(2, sd=10.0)), draw(known_fit(2, sd=10.0))
    np.testing.assert_array_equal(a.service_km, b.service_km)


def test_vehicles_that_cannot_be_drawn_are_named_together():
    fit = known_fit(4)
    fit = replace(fit, last_km=np.array([50_000.0, np.nan, 50_000.0, 50_000.0]))
    with pytest.raises(InputError) as refused:
        draw(
            fit,
            interval_km=np.array([1.0, 1.0, np.nan, -5.0]),
            interval_days=np.array([1.0, 1.0, np.nan, 1.0]),
            service_day=np.array([70.0, 0.0, np.nan, 0.0]),
        )
    text = str(refused.value)
    for part in (
        "no odometer entry (enter one on the in-service date): 1 vehicles (unit 1)",
        "no day of a last service (give the in-service date): 1 vehicles (unit 2)",
        "no service interval (give one by distance or by months): 1 vehicles (unit 2)",
        "not above 0: 1 vehicles (unit 3)",
        "a service after the as-of day 60: 1 vehicles (unit 0)",
    ):
        assert part in text
    with pytest.raises(InputError, match="an odometer entry after the as-of day"):
        draw(known_fit(), as_of_day=-5.0)
