"""Readings that are not numbers within a life: against quadrature over its line."""

import numpy as np
import pytest
from numpy.polynomial.hermite_e import hermegauss
from scipy import stats

from fleetwear.wear.judging import judge
from fleetwear.wear.methods import Methods
from fleetwear.wear.population import MeanLine, Population
from fleetwear.wear.reading_errors import ReadingErrors
from fleetwear.wear.shapes import Shape
from fleetwear.wear.slips import Slips
from fleetwear.wear.sums import reading_arrays
from fleetwear.wear.two_stage import TwoStagePopulation
from fleetwear.wear.wandering import WanderingPopulation

SIGMA, THRESHOLD, SOFTNESS = 0.04, 0.25, 0.06
MEAN, COV_RE = np.array([0.1, 0.4]), np.array([[0.04**2, 0.2 * 0.04 * 0.15], [0.2 * 0.04 * 0.15, 0.15**2]])
ROUNDS = 60


def errors(readings, slips=None):
    return ReadingErrors(Methods.first(readings, ["all"], None, (THRESHOLD, SOFTNESS)), slips)


def parts():
    lines = {"all": MeanLine(MEAN, np.zeros((2, 2)))}
    return Shape("straight"), 0.0, 1.0, COV_RE / SIGMA**2, SIGMA**2, lines, {}, ""


def life(x, y, seen, resolution=None):
    return reading_arrays(
        np.zeros(len(x), dtype=np.int64), x, y, n_lives=1, seen=np.array(seen, dtype=np.int8), resolution=resolution
    )


def likelihood(y, seen, z, half=0.0, slips=None):
    """Of one reading given true plays z."""
    below = stats.norm.cdf((THRESHOLD - z) / SOFTNESS)
    if seen:
        return below if seen < 0 else 1.0 - below
    if half:
        number = stats.norm.cdf(y + half, z, SIGMA) - (stats.norm.cdf(y - half, z, SIGMA) if y >= half else 0.0)
    else:
        number = stats.norm.pdf(y, z, SIGMA)
    if slips:
        slipped = stats.norm.pdf(y, z + slips.shift, np.sqrt(slips.variance))
        number = (1.0 - slips.share) * number + slips.share * slipped
    return number * (1.0 - below)


def exact(growth, x, y, seen, half=0.0, slips=None):
    """Log density of a life and moments of its line, by Gauss-Hermite quadrature over intercept and growth."""
    nodes, weights = hermegauss(160)
    a, b = np.meshgrid(nodes, nodes, indexing="ij")
    weight = np.outer(weights, weights) / (2 * np.pi)
    line = MEAN + np.stack([a, b], axis=-1) @ np.linalg.cholesky(COV_RE).T
    for xi, yi, si in zip(x, y, seen, strict=True):
        weight = weight * likelihood(yi, si, line[..., 0] + line[..., 1] * growth(xi), half, slips)
    total = weight.sum()
    mean = np.einsum("ij,ijk->k", weight, line) / total
    gap = line - mean
    return np.log(total), mean, np.einsum("ij,ijk,ijl->kl", weight, gap, gap) / total


def told(population, readings, slips=None):
    prior = population.prior(["all"], np.array([0]))
    judged = judge(population, errors(readings, slips), readings, prior, rounds=ROUNDS)
    return population.know(population.sums_of(judged.settled), prior)


@pytest.mark.parametrize("seen", [-1, 1])
@pytest.mark.parametrize("at", [0.2, 0.5, 0.9])
def test_one_reading_without_a_number_is_exact(seen, at):
    """The log density and the moments of the line, to 1e-6."""
    x, y, kinds = np.array([at, 0.75, 1.1]), np.array([0.0, 0.62, 0.8]), [seen, 0, 0]
    known = told(Population(*parts()), life(x, y, kinds))
    density, mean, cov = exact(lambda v: v, x, y, kinds)
    # the numbers lie far above the threshold, where that movement was seen says nothing
    assert known.log_density[0] == pytest.approx(density, abs=2e-6)
    np.testing.assert_allclose(known.lines.mean[0], mean, atol=1e-6)
    np.testing.assert_allclose(known.lines.cov[0], cov, atol=1e-6)


@pytest.mark.parametrize("y", [0.0, 0.5, 1.0])
def test_one_coarsely_rounded_reading_is_exact(y):
    """Steps of 0.5 mm beside an error of 0.04 mm; a reading of nothing is open below."""
    x, play, kinds = np.array([0.6]), np.array([y]), [0]
    population = Population(*parts())
    readings = life(x, play, kinds, resolution=0.5)
    prior = population.prior(["all"], np.array([0]))
    plain = ReadingErrors(Methods.one())
    judged = judge(population, plain, readings, prior, rounds=ROUNDS)
    known = population.know(population.sums_of(judged.settled), prior)
    # quadrature over the play at that distance
    m, s = MEAN @ [1, 0.6], np.array([1, 0.6]) @ COV_RE @ [1, 0.6]
    z = np.linspace(m - 10 * np.sqrt(s), m + 10 * np.sqrt(s), 200_001)
    low = 0.0 if y == 0.0 else stats.norm.cdf(y - 0.25, z, SIGMA)
    weight = stats.norm.pdf(z, m, np.sqrt(s)) * (stats.norm.cdf(y + 0.25, z, SIGMA) - low)
    total = weight.sum() * (z[1] - z[0])
    mean = (weight * z).sum() / weight.sum()
    variance = (weight * (z - mean) ** 2).sum() / weight.sum()
    assert known.log_density[0] == pytest.approx(np.log(total), abs=1e-6)
    foretold, spread = known.lines.at(np.array([0.6]))
    assert foretold[0] == pytest.approx(mean, abs=1e-6)
    assert spread[0] == pytest.approx(variance, abs=1e-6)


def simulated(rng, growth, visits=7):
    x = np.sort(rng.uniform(0.1, 1.3, visits))
    line = rng.multivariate_normal(MEAN, COV_RE)
    z = line[0] + line[1] * growth(x)
    y = z + rng.normal(0, SIGMA, visits)
    unseen = rng.random(visits) < stats.norm.cdf((THRESHOLD - z) / SOFTNESS)
    return x, np.where(unseen, 0.0, y), np.where(unseen, -1, 0)


def test_several_readings_without_a_number():
    """Measured error of the approximation over 40 lives of seven visits, slips among the possibilities: moments of
    the play ahead within 0.05 of a reading's error on average, log density (slips leave two accounts of a life) 0.3.
    """
    rng, slips = np.random.default_rng(2), Slips(0.03, -0.15, 0.02)
    off, density_off, spread_off = [], [], []
    for _ in range(40):
        x, y, seen = simulated(rng, lambda v: v)
        known = told(Population(*parts()), life(x, y, seen), slips)
        density, mean, cov = exact(lambda v: v, x, y, seen, slips=slips)
        ahead = np.array([1.0, 1.5])
        off.append(abs(known.lines.mean[0] @ ahead - mean @ ahead))
        spread_off.append(np.sqrt(ahead @ known.lines.cov[0] @ ahead) / np.sqrt(ahead @ cov @ ahead) - 1.0)
        density_off.append(abs(known.log_density[0] - density))
    print(np.mean(off) / SIGMA, np.max(off) / SIGMA, np.mean(np.abs(spread_off)), np.mean(density_off))
    assert np.mean(off) < 0.05 * SIGMA
    assert np.mean(np.abs(spread_off)) < 0.03
    assert np.mean(density_off) < 0.3


def test_two_stage_wear_with_readings_without_a_number():
    """Play ahead against the exact mixture over onsets, every life of seven visits."""
    grid, weights, pace = np.array([0.3, 0.6, 0.9, np.inf]), np.array([0.2, 0.2, 0.2, 0.4]), 4.0
    population = TwoStagePopulation(*parts(), pace, grid, weights)
    rng = np.random.default_rng(5)
    off, sds = [], []
    for _ in range(40):
        onset = rng.choice(grid, p=weights)
        x, y, seen = simulated(rng, lambda v, c=onset: v + (pace - 1) * np.maximum(v - c, 0))
        known = told(population, life(x, y, seen))
        mean, _, shares = known.at(population.coordinates(np.array([1.5])))
        each = [exact(lambda v, c=c: v + (pace - 1) * np.maximum(v - c, 0), x, y, seen) for c in grid]
        weight = np.log(weights) + np.array([one[0] for one in each])
        weight = np.exp(weight - weight.max())
        weight /= weight.sum()
        ahead = [np.array([1.0, 1.5 + (pace - 1) * max(1.5 - c, 0.0)]) for c in grid]
        means = np.array([a @ one[1] for a, one in zip(ahead, each, strict=True)])
        wanted = weight @ means
        sd = np.sqrt(weight @ np.array([a @ one[2] @ a for a, one in zip(ahead, each, strict=True)])
                     + weight @ (means - wanted) ** 2)  # fmt: skip
        off.append(abs((shares * mean).sum() - wanted) / sd)
        sds.append(sd)
    print(np.mean(off), np.max(off))
    assert np.mean(off) < 0.05
    assert np.max(off) < 0.5


def test_wandering_wear_with_readings_without_a_number():
    """The path is many-dimensional: against importance sampling of paths, the error of the approximation in the play
    ahead, over its standard deviation.
    """
    wander = 4.0
    population = WanderingPopulation(*parts(), wander)
    rng = np.random.default_rng(8)
    off = []
    for _ in range(8):
        x, y, seen = simulated(rng, lambda v: v)
        known = told(population, life(x, y, seen))
        mean, variance, _ = known.at(population.coordinates(np.array([1.5])))
        n = 1_000_000
        line = rng.multivariate_normal(MEAN, COV_RE, n)
        log_weight, path, last = np.zeros(n), np.zeros(n), 0.0
        for xi, yi, si in zip(x, y, seen, strict=True):
            path = path + np.sqrt(wander * SIGMA**2 * (xi - last)) * rng.standard_normal(n)
            last = xi
            log_weight += np.log(np.maximum(likelihood(yi, si, line[:, 0] + line[:, 1] * xi + path), 1e-300))
        ahead = line[:, 0] + 1.5 * line[:, 1] + path
        weight = np.exp(log_weight - log_weight.max())
        if weight.sum() ** 2 / (weight**2).sum() < 300.0:
            continue  # too few draws are left to tell
        wanted = np.average(ahead, weights=weight)
        sd = np.sqrt(np.average((ahead - wanted) ** 2, weights=weight) + wander * SIGMA**2 * (1.5 - last))
        off.append(abs(mean[0, 0] - wanted) / sd)
        assert variance[0, 0] == pytest.approx(sd**2, rel=0.1)
    print(np.mean(off), np.max(off))
    assert len(off) >= 5
    assert np.mean(off) < 0.05


def test_numbers_of_one_method_are_left_as_they_are():
    rng = np.random.default_rng(4)
    x, y = np.tile([0.3, 0.9, 1.2], 5), rng.normal(0.5, 0.04, 15)
    readings = reading_arrays(np.repeat(np.arange(5), 3), x, y, n_lives=5)
    population = Population(*parts())
    prior = population.prior(["all"], np.zeros(5, dtype=np.int64))
    judged = judge(population, ReadingErrors(Methods.one()), readings, prior)
    np.testing.assert_allclose(judged.settled.play, y, rtol=1e-12)
    np.testing.assert_allclose(judged.settled.variance_ratio, 1.0, rtol=1e-12)
    np.testing.assert_allclose(judged.settled.count, 1.0, rtol=1e-9)
    np.testing.assert_allclose(judged.settled.log_ratio, 0.0, atol=1e-9)
