"""What joints of one vehicle share: draws against the dense posterior, correlations on simulated effects."""

import numpy as np
import pytest

from fleetwear.wear.shared import Sharing, draw_shared, estimate_sharing


def dense_posterior(sharing, effect, reliability, vehicle, joint):
    """Mean and covariance of growth effects u given effect / R = u + N(0, (1 - R) / R), by conditioning."""
    same_vehicle, same_joint = vehicle[:, None] == vehicle, joint[:, None] == joint
    prior = sharing.vehicle * same_vehicle + (sharing.joint - sharing.vehicle) * same_joint
    prior = prior + (1 - sharing.joint) * np.eye(len(effect))
    told = reliability > 0
    R = reliability[told]
    gain = prior[:, told] @ np.linalg.inv(prior[np.ix_(told, told)] + np.diag((1 - R) / R))
    return gain @ (effect[told] / R), prior - gain @ prior[told]


@pytest.mark.parametrize(("rho_v", "rho_t"), [(0.2, 0.5), (0.0, 0.0), (0.3, 0.3), (0.0, 0.6), (0.6, 0.9)])
def test_draws_have_the_dense_posterior(rho_v, rho_t):
    rng = np.random.default_rng(0)
    vehicle = np.array([0, 1, 0, 0, 1, 0, 2, 1, 1])
    joint = np.array([0, 3, 0, 1, 3, 1, 6, 4, 5])
    reliability = np.array([0.9, 0.5, 0.0, 0.3, 0.7, 0.99, 0.6, 0.2, 0.0])
    effect = np.sqrt(reliability) * rng.normal(size=9)
    sharing = Sharing(rho_v, rho_t, "")
    n = 200_000
    z = draw_shared(sharing, effect, reliability, vehicle, joint, n_draws=n, rng=rng)
    assert z.shape == (9, n)
    u = effect[:, None] + np.sqrt(1 - reliability)[:, None] * z
    mean, cov = dense_posterior(sharing, effect, reliability, vehicle, joint)
    # means have a Monte Carlo error sd / sqrt(n), covariances of about sqrt(2) sd^2 / sqrt(n); take 5
    sd = np.sqrt(np.diag(cov))
    np.testing.assert_array_less(np.abs(u.mean(axis=1) - mean), 5 * sd / np.sqrt(n))
    np.testing.assert_array_less(np.abs(np.cov(u) - cov), 5 * np.sqrt(2 / n) * np.outer(sd, sd) + 1e-12)


def test_nothing_shared_is_standard_normal():
    rng = np.random.default_rng(1)
    reliability = np.array([0.0, 0.4, 0.95])
    z = draw_shared(
        Sharing(0.0, 0.0, ""), np.array([0.0, 1.5, -2.0]), reliability,
        np.zeros(3, dtype=np.int64), np.arange(3),
        n_draws=100_000, rng=rng,
    )  # fmt: skip
    np.testing.assert_allclose(z.mean(axis=1), 0.0, atol=5 / np.sqrt(1e5))
    np.testing.assert_allclose(np.cov(z), np.eye(3), atol=5 * np.sqrt(2 / 1e5))


def test_a_series_without_data_follows_its_neighbours():
    """Reliability zero: z is pulled up by a joint of the same vehicle that is known to wear fast."""
    z = draw_shared(
        Sharing(0.4, 0.4, ""), np.array([2.0, 0.0]), np.array([0.98, 0.0]),
        np.array([0, 0]), np.array([0, 1]),
        n_draws=50_000, rng=np.random.default_rng(2),
    )  # fmt: skip
    # E(u2) = rho E(u1), E(u1) = 2.0
    assert z[1].mean() == pytest.approx(0.8, abs=0.03)


def test_same_seed_same_draws_in_any_order():
    rng = np.random.default_rng(3)
    vehicle, joint = rng.integers(0, 10, 40), rng.integers(0, 3, 40)
    joint = vehicle * 3 + joint
    effect, reliability = 0.5 * rng.normal(size=40), rng.uniform(0, 1, 40)
    one = draw_shared(
        Sharing(0.2, 0.5, ""),
        effect,
        reliability,
        vehicle,
        joint,
        n_draws=30_000,
        rng=np.random.default_rng(4),
    )
    p = rng.permutation(40)
    other = draw_shared(
        Sharing(0.2, 0.5, ""), effect[p], reliability[p], vehicle[p], joint[p], n_draws=30_000,
        rng=np.random.default_rng(5),
    )  # fmt: skip
    np.testing.assert_allclose(one.mean(axis=1)[p], other.mean(axis=1), atol=0.05)
    np.testing.assert_allclose(one.std(axis=1)[p], other.std(axis=1), rtol=0.05)


def simulated_effects(seed, rho_v, rho_t, vehicles=400):
    """Predictions of growth effects of 4 joints a vehicle, 2 directions each, as a mixed model gives."""
    rng = np.random.default_rng(seed)
    vehicle = np.repeat(np.arange(vehicles), 8)
    joint = np.repeat(np.arange(4 * vehicles), 2)
    u = np.sqrt(rho_v) * rng.normal(size=vehicles)[vehicle]
    u += np.sqrt(rho_t - rho_v) * rng.normal(size=4 * vehicles)[joint]
    u += np.sqrt(1 - rho_t) * rng.normal(size=len(u))
    R = rng.uniform(0.2, 0.95, len(u))
    return R * u + np.sqrt(R * (1 - R)) * rng.normal(size=len(u)), R, vehicle, joint


@pytest.mark.parametrize(("rho_v", "rho_t"), [(0.2, 0.5), (0.0, 0.3), (0.4, 0.4), (0.5, 0.8)])
def test_known_correlations_are_recovered(rho_v, rho_t):
    found = np.array([
        (s.vehicle, s.joint)
        for s in (estimate_sharing(*simulated_effects(seed, rho_v, rho_t)) for seed in range(12))
    ])  # fmt: skip
    # the mean of twelve estimates within 3.5 of its own standard errors; clipping at 0 biases by under 0.02
    error = found.std(axis=0, ddof=1) / np.sqrt(12)
    assert (np.abs(found.mean(axis=0) - [rho_v, rho_t]) < 3.5 * error + 0.02).all()
    assert (error < 0.03).all()


def test_moments_equal_a_loop_over_pairs():
    effect, R, vehicle, joint = simulated_effects(0, 0.3, 0.6, vehicles=12)
    tops, bottoms = np.zeros(2), np.zeros(2)
    for j in range(len(effect)):
        for k in range(j):
            if vehicle[j] == vehicle[k]:
                which = 1 if joint[j] == joint[k] else 0
                tops[which] += effect[j] * effect[k]
                bottoms[which] += R[j] * R[k]
    across, within = tops / bottoms
    found = estimate_sharing(effect, R, vehicle, joint)
    assert found.vehicle == pytest.approx(np.clip(across, 0, 0.95))
    assert found.joint == pytest.approx(np.clip(within, found.vehicle, 0.95))
    assert found.note == ""


def test_few_pairs_are_assumed_and_said():
    effect, R, vehicle, joint = simulated_effects(0, 0.3, 0.6, vehicles=1)
    found = estimate_sharing(effect, R, vehicle, joint)
    assert (found.vehicle, found.joint) == (0.2, 0.5)
    assert "within a vehicle assumed to be 0.2" in found.note
    assert "within a joint assumed to be 0.5" in found.note


def test_series_without_data_are_no_pairs():
    effect, R, vehicle, joint = simulated_effects(0, 0.3, 0.6)
    found = estimate_sharing(np.zeros_like(effect), np.zeros_like(R), vehicle, joint)
    assert "assumed" in found.note
