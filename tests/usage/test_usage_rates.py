"""Daily rates against the dense Gaussian, statsmodels, plain loops and simulated truth."""

from __future__ import annotations

import time
import warnings
from itertools import pairwise

import numpy as np
import pytest
from scipy.linalg import block_diag
from scipy.stats import multivariate_normal

from fleetwear.errors import DoubtfulFitWarning, FitError, InputError
from fleetwear.usage import draw_rates, fit_usage, usage_loglik
from fleetwear.usage.history import gather_history
from fleetwear.usage.rates import SLOWEST_KM_PER_DAY


def loop_increments(fleet):
    """Plain loop: (vehicle, t, d, group) of every increment, by vehicle."""
    rows = []
    for v in sorted(set(fleet.vehicle.tolist())):
        mine = fleet.vehicle == v
        entries = sorted(zip(fleet.elapsed_days[mine], fleet.running_km[mine], strict=True))
        by_day = {}
        for day, km in entries:
            by_day[day] = max(km, by_day.get(day, -np.inf))
        days = sorted(by_day)
        rows += [(v, b - a, by_day[b] - by_day[a], fleet.group[mine][0]) for a, b in pairwise(days)]
    v, t, d, g = (np.array(column) for column in zip(*rows, strict=True))
    return v, t, d, g


def dense_covariance(v, t, g, phi2, omega2, tau2):
    same_vehicle, same_group = v[:, None] == v[None, :], g[:, None] == g[None, :]
    return phi2 * np.diag(t) + np.outer(t, t) * (omega2 * same_vehicle + tau2 * same_group)


def small_fleet(simulate_fleet, seed=5):
    return simulate_fleet(np.random.default_rng(seed), n_vehicles=14, n_groups=3, tau2=400.0, phi2=2e3, most_entries=5)


def test_sums_equal_the_plain_loop(simulate_fleet):
    fleet = small_fleet(simulate_fleet)
    v, t, d, _ = loop_increments(fleet)
    history = gather_history(fleet.vehicle, fleet.elapsed_days, fleet.running_km, fleet.group)
    within = 0.0
    for row, label in enumerate(history.vehicles):
        mine = v == label
        assert history.n_increments[row] == mine.sum()
        assert history.days[row] == pytest.approx(t[mine].sum())
        assert history.km[row] == pytest.approx(d[mine].sum())
        if mine.any():
            within += (d[mine] ** 2 / t[mine]).sum() - d[mine].sum() ** 2 / t[mine].sum()
        entries = fleet.vehicle == label
        latest = np.argmax(np.where(entries, fleet.elapsed_days, -np.inf))
        assert history.last_day[row] == fleet.elapsed_days[latest]
        assert history.last_km[row] == fleet.running_km[latest]
        assert history.groups[history.group_codes[row]] == fleet.group[latest]
    assert history.within == pytest.approx(within, rel=1e-9)
    assert history.log_days == pytest.approx(np.log(t).sum())


@pytest.mark.parametrize("tau2", [0.0, 350.0])
@pytest.mark.parametrize("omega2", [0.0, 700.0])
def test_criteria_equal_the_dense_gaussian(simulate_fleet, omega2, tau2):
    fleet, phi2 = small_fleet(simulate_fleet), 2.4e3
    v, t, d, g = loop_increments(fleet)
    dense = dense_covariance(v, t, g, phi2, omega2, tau2)
    solved = np.linalg.solve(dense, np.column_stack([t, d]))
    information = t @ solved[:, 0]
    mu = t @ solved[:, 1] / information
    ml = multivariate_normal(mu * t, dense).logpdf(d)
    reml = ml + 0.5 * np.log(2 * np.pi) - 0.5 * np.log(information)
    given = {"group": fleet.group, "phi2": phi2, "omega2": omega2, "tau2": tau2}
    entries = fleet.vehicle, fleet.elapsed_days, fleet.running_km
    assert usage_loglik(*entries, criterion="ml", **given) == pytest.approx(ml, rel=0, abs=1e-8)
    assert usage_loglik(*entries, criterion="reml", **given) == pytest.approx(reml, rel=0, abs=1e-8)


def test_posterior_equals_the_dense_conditional_gaussian(simulate_fleet):
    fleet = simulate_fleet(np.random.default_rng(8), n_vehicles=24, n_groups=3, tau2=900.0, most_entries=6)
    fit = fit_usage(fleet.vehicle, fleet.elapsed_days, fleet.running_km, group=fleet.group)
    assert fit.tau2 > 0
    assert fit.omega2 > 0
    v, t, d, _ = loop_increments(fleet)
    n_vehicles, n_groups = fit.vehicles.size, fit.groups.size
    # Latent: mu (all but flat), mu_g, r_v; the increments are observed with variance phi2 t.
    flat = 1e10
    to_latent = np.zeros((1 + n_groups + n_vehicles, 1 + n_groups + n_vehicles))
    to_latent[:, 0] = 1.0
    to_latent[1 : 1 + n_groups, 1 : 1 + n_groups] = np.eye(n_groups)
    for row, code in enumerate(fit.group_codes):
        to_latent[1 + n_groups + row, 1 + code] = 1.0
        to_latent[1 + n_groups + row, 1 + n_groups + row] = 1.0
    innovation = block_diag(flat, fit.tau2 * np.eye(n_groups), fit.omega2 * np.eye(n_vehicles))
    precision = np.linalg.inv(to_latent).T @ np.diag(1 / np.diag(innovation)) @ np.linalg.inv(to_latent)
    seen = np.zeros((t.size, precision.shape[0]))
    seen[np.arange(t.size), 1 + n_groups + np.searchsorted(fit.vehicles, v)] = t
    posterior = np.linalg.inv(precision + seen.T @ np.diag(1 / (fit.phi2 * t)) @ seen)
    mean, sd = posterior @ seen.T @ (d / (fit.phi2 * t)), np.sqrt(np.diag(posterior))
    assert fit.mu == pytest.approx(mean[0], rel=1e-5)
    assert fit.mu_se == pytest.approx(sd[0], rel=1e-5)
    np.testing.assert_allclose(fit.group_mean, mean[1 : 1 + n_groups], rtol=1e-6)
    np.testing.assert_allclose(fit.group_sd, sd[1 : 1 + n_groups], rtol=1e-5)
    np.testing.assert_allclose(fit.rate_mean, mean[1 + n_groups :], rtol=1e-6)
    np.testing.assert_allclose(fit.rate_sd, sd[1 + n_groups :], rtol=1e-6)
    single = fit.n_increments == 0
    assert single.any()
    np.testing.assert_allclose(fit.rate_mean[single], fit.group_mean[fit.group_codes[single]])


@pytest.mark.parametrize("criterion", ["reml", "ml"])
def test_estimates_equal_statsmodels(simulate_fleet, criterion):
    from statsmodels.regression.mixed_linear_model import MixedLM

    fleet = simulate_fleet(np.random.default_rng(3), n_vehicles=60, most_entries=8)
    v, t, d, _ = loop_increments(fleet)
    root = np.sqrt(t)
    # In units of 10 days and 100 km: in days and km the peer's search ends at a zero variance.
    days, km = 10.0, 100.0
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        peer = MixedLM(d / root / km, root / days, groups=v, exog_re=root / days).fit(
            reml=criterion == "reml", method="cg"
        )
    to_rate = km / days
    fit = fit_usage(fleet.vehicle, fleet.elapsed_days, fleet.running_km, criterion=criterion)
    assert fit.phi2 == pytest.approx(peer.scale * km**2, rel=1e-5)
    assert fit.omega2 == pytest.approx(float(np.asarray(peer.cov_re)[0, 0]) * to_rate**2, rel=1e-4)
    assert fit.mu == pytest.approx(float(peer.fe_params[0]) * to_rate, rel=1e-6)
    assert fit.mu_se == pytest.approx(float(peer.bse_fe[0]) * to_rate, rel=1e-3)


@pytest.mark.parametrize("criterion", ["reml", "ml"])
def test_no_nearby_variances_are_better(simulate_fleet, criterion):
    fleet = simulate_fleet(np.random.default_rng(21), n_vehicles=120, n_groups=8, tau2=300.0)
    entries = fleet.vehicle, fleet.elapsed_days, fleet.running_km
    fit = fit_usage(*entries, group=fleet.group, criterion=criterion)
    for by in np.eye(3) * 0.01:
        for sign in (-1, 1):
            phi2, omega2, tau2 = np.array([fit.phi2, fit.omega2, fit.tau2]) * np.exp(sign * by)
            other = usage_loglik(*entries, group=fleet.group, phi2=phi2, omega2=omega2, tau2=tau2, criterion=criterion)
            assert other < fit.loglik


def test_estimates_recover_the_truth_over_seeds(simulate_fleet):
    truth = {"mu": 110.0, "omega2": 900.0, "phi2": 2.5e4}
    found = []
    for seed in range(40):
        fleet = simulate_fleet(np.random.default_rng(seed), **truth)
        fit = fit_usage(fleet.vehicle, fleet.elapsed_days, fleet.running_km)
        z_rates = (fit.rate_mean - fleet.rate) / fit.rate_sd
        found.append([fit.mu, fit.omega2, fit.phi2, np.mean(z_rates**2)])
    found = np.array(found)
    z = (found.mean(axis=0) - [*truth.values(), 1.0]) / (found.std(axis=0, ddof=1) / np.sqrt(len(found)))
    assert np.abs(z).max() < 3.5, z


def test_group_variance_is_recovered(simulate_fleet):
    found = []
    for seed in range(20):
        fleet = simulate_fleet(np.random.default_rng(100 + seed), n_groups=20, tau2=600.0)
        fit = fit_usage(fleet.vehicle, fleet.elapsed_days, fleet.running_km, group=fleet.group)
        found.append([fit.tau2, np.mean(((fit.group_mean - fleet.group_mean) / fit.group_sd) ** 2)])
    found = np.array(found)
    z = (found.mean(axis=0) - [600.0, 1.0]) / (found.std(axis=0, ddof=1) / np.sqrt(len(found)))
    assert np.abs(z).max() < 3.5, z


def test_small_groups_borrow_and_the_note_says_so(simulate_fleet):
    fleet = simulate_fleet(np.random.default_rng(2), n_vehicles=120, n_groups=4, tau2=2500.0)
    group = np.array(["day", "night", "school", "trunk"])[fleet.group]
    # Leave two vehicles of the night group on record.
    night = np.unique(fleet.vehicle[group == "night"])
    keep = (group != "night") | np.isin(fleet.vehicle, night[:2])
    fit = fit_usage(fleet.vehicle[keep], fleet.elapsed_days[keep], fleet.running_km[keep], group=group[keep])
    assert "night" in fit.note
    assert "school" not in fit.note
    assert fit.group_sd[1] > 2 * fit.group_sd[[0, 2, 3]].max()


def test_groups_alike_take_the_fleets_mean(simulate_fleet):
    rng = np.random.default_rng(12)
    fleet = simulate_fleet(rng, n_vehicles=60, omega2=900.0)
    # A group by the order of the rates, alternating, has smaller differences than chance.
    group = (np.argsort(np.argsort(fleet.rate)) % 2)[fleet.vehicle]
    fit = fit_usage(fleet.vehicle, fleet.elapsed_days, fleet.running_km, group=group)
    assert fit.tau2 == 0.0
    assert fit.note
    np.testing.assert_allclose(fit.group_mean, fit.mu)


def test_rates_shrink_by_how_much_is_on_record(simulate_fleet):
    fleet = simulate_fleet(np.random.default_rng(4))
    fit = fit_usage(fleet.vehicle, fleet.elapsed_days, fleet.running_km)
    order = np.argsort(fit.observed_days)
    assert (np.diff(fit.rate_sd[order]) <= 1e-12).all()
    history = gather_history(fleet.vehicle, fleet.elapsed_days, fleet.running_km)
    moving = fit.n_increments > 0
    raw, shrunk = history.raw_rate[moving], fit.rate_mean[moving]
    assert (np.abs(shrunk - fit.mu) <= np.abs(raw - fit.mu)).all()


def test_vehicles_alike_end_on_the_boundary(simulate_fleet):
    rng = np.random.default_rng(1)
    vehicle = np.repeat(np.arange(30), 6)
    day = np.tile(np.arange(6) * 30.0, 30)
    noise = np.sqrt(3e4 * 30) * rng.standard_normal((30, 5))
    noise -= noise.mean(axis=1, keepdims=True)
    km = np.c_[np.zeros(30), np.cumsum(3000 + noise, axis=1)].ravel()
    with pytest.warns(DoubtfulFitWarning, match="variance at zero"):
        fit = fit_usage(vehicle, day, km)
    assert fit.omega2 == 0.0
    assert "variance at zero" in fit.doubt
    np.testing.assert_allclose(fit.rate_mean, 100.0)


def test_entries_of_one_day_count_as_one():
    with pytest.warns(DoubtfulFitWarning):
        fit = fit_usage(["a", "a", "a", "a"], [0, 30, 30, 60], [0, 2990, 3000, 6000])
    assert fit.n == 2
    assert fit.last_km[0] == 6000


def test_short_records_assume_variances_and_say_so():
    with pytest.warns(DoubtfulFitWarning, match="assumed"):
        fit = fit_usage(["a", "a", "b"], [0, 30, 10], [0, 3000, 500])
    assert fit.omega2 == pytest.approx(50.0**2)
    assert np.sqrt(fit.phi2 * 30) == pytest.approx(0.3 * 3000)
    np.testing.assert_allclose(fit.rate_mean, 100.0)
    assert fit.rate_sd[1] > fit.rate_sd[0] > 0
    days = np.arange(12) * 30.0
    km = np.cumsum(np.tile([2500.0, 3500.0], 6))
    with pytest.warns(DoubtfulFitWarning, match="assumed"):
        one = fit_usage(np.zeros(12, dtype=int), days, km)
    increments = np.diff(km)
    expected = ((increments - increments.mean()) ** 2 / 30).sum() / 10
    assert one.phi2 == pytest.approx(expected)


def test_computed_distances_are_doubted():
    vehicle, day = np.repeat(np.arange(8), 5), np.tile(np.arange(5) * 30.0, 8)
    with pytest.warns(DoubtfulFitWarning, match="regular"):
        fit = fit_usage(vehicle, day, (80.0 + vehicle) * day)
    assert fit.phi2 >= 0.9
    np.testing.assert_allclose(fit.rate_mean, 80.0 + np.arange(8), atol=0.05)


def test_vehicles_without_distances_keep_their_place():
    with pytest.warns(DoubtfulFitWarning):
        fit = fit_usage([1, 1, 2, 3], [0, 30, 5, 5], [0, 3000, np.nan, 40])
    assert fit.vehicles.tolist() == [1, 2, 3]
    assert np.isnan(fit.last_km[1])
    assert fit.rate_mean[1] == pytest.approx(100.0)


def test_falling_distances_are_told():
    with pytest.warns(DoubtfulFitWarning):
        fit = fit_usage(["a", "a", "a", "b", "b", "b"], [0, 30, 60, 0, 9, 10], [0, 1000, 100, 50, 0, -3])
    assert "falls in 2 places (vehicle a, day 60: -900 km; vehicle b, day 9: -50 km)" in fit.note


def test_take_keeps_order_and_draws(simulate_fleet):
    fleet = simulate_fleet(np.random.default_rng(6), n_groups=3, tau2=500.0)
    fit = fit_usage(fleet.vehicle, fleet.elapsed_days, fleet.running_km, group=fleet.group)
    part = fit.take([5, 2, 9])
    assert part.vehicles.tolist() == [5, 2, 9]
    np.testing.assert_array_equal(part.rate_mean, fit.rate_mean[[5, 2, 9]])
    np.testing.assert_array_equal(part.group_codes, fit.group_codes[[5, 2, 9]])
    assert fit.take(fit.n_increments > 0).vehicles.size == (fit.n_increments > 0).sum()
    assert part.phi2 == fit.phi2


def test_drawn_rates_follow_the_truncated_posterior(simulate_fleet):
    from dataclasses import replace

    from scipy.stats import kstest, truncnorm

    fleet = simulate_fleet(np.random.default_rng(6), n_vehicles=50)
    fit = fit_usage(fleet.vehicle, fleet.elapsed_days, fleet.running_km).take([0, 1, 2, 3])
    fit = replace(fit, rate_mean=np.array([100.0, 5.0, -200.0, 20.0]), rate_sd=np.array([10.0, 20.0, 10.0, 0.0]))
    draws = draw_rates(fit, n_draws=4000, rng=np.random.default_rng(0))
    assert draws.shape == (4, 4000)
    assert (draws >= SLOWEST_KM_PER_DAY).all()
    for row in range(3):
        mean, sd = fit.rate_mean[row], fit.rate_sd[row]
        law = truncnorm((SLOWEST_KM_PER_DAY - mean) / sd, np.inf, mean, sd)
        assert kstest(draws[row], law.cdf).pvalue > 1e-3
    assert (draws[3] == 20.0).all()


def test_bad_entries_are_refused_together():
    with pytest.raises(InputError, match=r"2 entries .* rows \[0, 2\]"):
        fit_usage([1, 1, 1], [np.nan, 1, 2], [0, 1, np.inf])
    with pytest.raises(InputError, match="shapes"):
        fit_usage([1, 1], [0, 1, 2], [0, 1, 2])
    with pytest.raises(InputError, match="no entries"):
        fit_usage([], [], [])
    with pytest.raises(InputError, match="mixed types"):
        fit_usage(np.array([1, "a"], dtype=object), [0, 1], [0, 1])
    with pytest.raises(FitError, match="no vehicle moves"):
        fit_usage([1, 2], [0, 1], [0, 10])
    with pytest.raises(FitError, match="no vehicle moves"):
        fit_usage([1, 1], [0, 9], [10, 10])


def test_a_large_fleet_is_quick(simulate_fleet):
    fleet = simulate_fleet(np.random.default_rng(0), n_vehicles=20_000, n_groups=12, tau2=200.0)
    started = time.perf_counter()
    fit = fit_usage(fleet.vehicle, fleet.elapsed_days, fleet.running_km, group=fleet.group)
    print(f"{fleet.vehicle.size} entries: {time.perf_counter() - started:.2f} s")
    assert fit.phi2 == pytest.approx(2.5e4, rel=0.02)
    assert fit.omega2 == pytest.approx(900.0, rel=0.05)
