"""Repeat visits: what readings of the same joint at several visits say of setup, by restricted maximum likelihood.

A reading i, the mean of n_i strokes of m_i setups, has the variance::

    V_i = setup_g s_i + repeatability_g / n_i        s_i = sum over setups of (strokes of one / n_i)^2, 1 for one setup

about the true play, which in each life is a line of columns that the caller gives (one, and growth). Lines are fixed
effects, life by life, so that nothing is assumed of how lives wear: what a life's own line takes up is left out of the
likelihood. With w = 1 / V, P = W - W X (X' W X)^- X' W and u = P y, for each group g::

    slope  1/2 sum_i s_i (u_i^2 - P_ii)             information  1/2 sum_ik s_i s_k P_ik^2

Repeatability comes from strokes of one setup and is taken as given here. Setup is what is left of the scatter between
visits, whatever makes it: the lever's place, the support, rounding, and wear that keeps to no line of these columns.

References
----------
Patterson & Thompson (1971), Biometrika 58, 545-554. Searle, Casella & McCulloch (1992), Variance Components, chapter 6.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from fleetwear.errors import InputError

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Integers = NDArray[np.int64]

_FLAT = 0.05
"""Length of a column beside a life's other columns below which it tells nothing of that life's line."""
_STEPS, _AT_REST = 100, 1e-11
_LEAST = 1e-6
"""Smallest variance of a reading, over the variance of all about their lines."""
_LARGEST_STEP = 4.0
"""Most by which one step multiplies or divides the smallest variance of a group."""


@dataclass(frozen=True)
class Repeats:
    """n readings of lives that were read more often than their lines take up.

    Attributes
    ----------
    life, group
        Codes of each reading's life and of the group whose setup it shares (n,).
    basis
        Orthonormal columns of each life's line; nought where a life has fewer (n, q).
    columns
        How many columns each life's line has (J,).
    play
        Readings (n,).
    strokes, setup_share
        Strokes behind each, and the share of the setup variance that is left in their mean (n,).
    """

    life: Integers
    group: Integers
    basis: Floats
    columns: Integers
    play: Floats
    strokes: Floats
    setup_share: Floats

    @property
    def n_lives(self) -> int:
        """The number of lives J."""
        return len(self.columns)

    def grouped(self, group: Integers) -> Repeats:
        """Return the same readings in other groups."""
        return Repeats(self.life, group, self.basis, self.columns, self.play, self.strokes, self.setup_share)


def repeats_of(
    life: Integers, columns: Floats, play: Floats, *, strokes: Floats, setup_share: Floats
) -> tuple[Repeats, NDArray[np.bool_]]:
    """Return the readings of lives that were read more often than their lines take up, all in one group, and which.

    Parameters
    ----------
    life
        Any codes (n,).
    columns
        What the true play of a life is made of, of order one (n, q); columns that hardly move in a life do not count.
    play, strokes, setup_share
        As in `Repeats` (n,).

    Raises
    ------
    InputError
        If the arrays do not go together or hold what is not finite, or strokes or shares that cannot be.
    """
    n = len(life)
    if not (columns.ndim == 2 and len(columns) == n and play.shape == strokes.shape == setup_share.shape == (n,)):
        raise InputError("the arrays of repeat visits do not go together", mend="Give one row a reading.")
    finite = np.isfinite(columns).all(axis=1) & np.isfinite(play)
    finite &= (strokes >= 1.0) & (setup_share > 0.0) & (setup_share <= 1.0)
    if not finite.all():
        at = int(np.flatnonzero(~finite)[0])
        raise InputError(
            f"reading {at}: play {play[at]}, strokes {strokes[at]}, share {setup_share[at]}, line {columns[at]}",
            mend="Give finite numbers, at least one stroke, and shares above 0 up to 1.",
        )
    codes, lives = np.unique(life, return_inverse=True)[1], len(np.unique(life))
    basis, rank = _orthonormal(codes, columns, lives)
    kept = np.bincount(codes, minlength=lives)[codes] > rank[codes]
    chosen, inverse = np.unique(codes[kept], return_inverse=True)
    group = np.zeros(int(kept.sum()), dtype=np.int64)
    found = Repeats(
        inverse.astype(np.int64), group, basis[kept], rank[chosen], play[kept], strokes[kept], setup_share[kept]
    )
    return found, kept


def _orthonormal(life: Integers, columns: Floats, lives: int) -> tuple[Floats, Integers]:
    """Return columns that span each life's line and are orthonormal within it, and how many each life has."""
    gram = _within(life, columns[:, :, None] * columns[:, None, :], lives)
    values, vectors = np.linalg.eigh(gram)
    kept = np.sqrt(np.maximum(values, 0.0)) > _FLAT
    scale = np.where(kept, 1.0 / np.sqrt(np.where(kept, values, 1.0)), 0.0)
    turned = vectors * scale[:, None, :]
    return np.einsum("iq,iqr->ir", columns, turned[life]), kept.sum(axis=1).astype(np.int64)


def _within(life: Integers, values: Floats, lives: int) -> Floats:
    """Return the sums over each life of values of shape (n, ...)."""
    flat = values.reshape(len(values), -1)
    sums = [np.bincount(life, weights=column, minlength=lives).astype(np.float64, copy=False) for column in flat.T]
    return np.stack(sums, axis=-1).reshape(lives, *values.shape[1:])


@dataclass(frozen=True)
class SetupFit:
    """The setup variances of G groups where the restricted likelihood is highest, in squares of the unit of play.

    Attributes
    ----------
    setup
        The estimates; below nought where visits scatter less than strokes do (G,).
    repeatability
        As it was given (G,).
    degrees
        Effective degrees of freedom of the visit variance: twice its square over its own variance, which comes from the
        expected information, repeatability as known (G,).
    leaning
        How much of the repeatability of one stroke the scatter of visits holds, 1 where all had one stroke (G,).
    readings
        How many of each group (G,).
    minus_two
        -2 log restricted likelihood, up to a constant that all groupings share.
    """

    setup: Floats
    repeatability: Floats
    degrees: Floats
    leaning: Floats
    readings: Integers
    minus_two: float

    @property
    def visit_variance(self) -> Floats:
        """The variance of a reading with as many strokes as there were, which is what visits show (G,)."""
        return np.asarray(self.setup + self.leaning * self.repeatability)


def fit_setups(repeats: Repeats, repeatability: Floats, *, least_visit: Floats | None = None) -> SetupFit:
    """Return the setup variances of the groups (codes 0 to G - 1) by restricted maximum likelihood.

    Parameters
    ----------
    repeats
        The readings; every group has some that its lives' lines do not take up.
    repeatability
        The variance of one stroke of each group, nought where it is not known apart from setup (G,).
    least_visit
        The least visit variance of each group at which degrees of freedom are counted (G,), since a group whose visits
        happen to lie on their lines would have none; a sixteenth of that of all readings where not given.
    """
    groups = len(repeatability)
    share, stroke = repeats.setup_share, repeatability[repeats.group] / repeats.strokes
    pooled = _scatter(repeats)
    least = _LEAST * max(pooled, 1e-300)
    floor = np.full(groups, -np.inf)
    np.maximum.at(floor, repeats.group, (least - stroke) / share)
    setup = np.maximum(np.full(groups, pooled) - repeatability, floor + pooled)
    value, slope, information = _restricted(repeats, share * setup[repeats.group] + stroke, groups)
    for _ in range(_STEPS):
        step = np.linalg.lstsq(information, slope, rcond=None)[0]
        room = setup - floor
        step = np.clip(step, -room * (1.0 - 1.0 / _LARGEST_STEP), room * (_LARGEST_STEP - 1.0))
        if slope @ step < _AT_REST:
            break
        size = 1.0
        while True:
            moved = setup + size * step
            found = _restricted(repeats, share * moved[repeats.group] + stroke, groups)
            if found[0] <= value or size < 1e-4:
                break
            size /= 2.0
        setup, (value, slope, information) = moved, found
    weight = _stroke_weight(repeats, share * setup[repeats.group] + stroke, groups)
    least_visit = np.full(groups, pooled / 16.0) if least_visit is None else least_visit
    counted = np.maximum(setup, least_visit - weight * repeatability)
    information = _restricted(repeats, share * counted[repeats.group] + stroke, groups)[2]
    variance = np.diag(np.linalg.pinv(information, hermitian=True))
    degrees = 2.0 * (counted + weight * repeatability) ** 2 / np.where(variance > 0.0, variance, np.inf)
    readings = np.bincount(repeats.group, minlength=groups).astype(np.int64)
    return SetupFit(setup, repeatability, degrees, weight, readings, value)


def _scatter(repeats: Repeats) -> float:
    """Return the mean square of readings about their lives' lines, all weighing alike."""
    fitted = _within(repeats.life, repeats.basis * repeats.play[:, None], repeats.n_lives)
    left = repeats.play - np.einsum("iq,iq->i", repeats.basis, fitted[repeats.life])
    return float(left @ left) / max(len(left) - int(repeats.columns.sum()), 1)


def _projection(repeats: Repeats, variance: Floats) -> tuple[Floats, Floats, Floats, float]:
    """Return w, u = P y, and z with P = W - z z' within lives (n, q), and log of the determinants."""
    w, lives, q = 1.0 / variance, repeats.n_lives, repeats.basis.shape[1]
    gram = _within(repeats.life, w[:, None, None] * repeats.basis[:, :, None] * repeats.basis[:, None, :], lives)
    # a column that a life does not have is nought: it gets a one of its own, which adds nothing
    absent = np.einsum("jqq->jq", _within(repeats.life, (repeats.basis**2)[:, :, None] * np.eye(q), lives)) < 0.5
    gram += absent[:, :, None] * np.eye(q)
    factor = np.linalg.cholesky(gram)
    inverse = np.linalg.inv(factor)
    z = w[:, None] * np.einsum("irq,iq->ir", inverse[repeats.life], repeats.basis)
    fitted = _within(repeats.life, z * repeats.play[:, None], lives)
    u = w * repeats.play - np.einsum("iq,iq->i", z, fitted[repeats.life])
    log_determinants = float(np.log(variance).sum()) + 2.0 * float(np.log(np.einsum("jqq->jq", factor)).sum())
    return w, u, z, log_determinants


def _restricted(repeats: Repeats, variance: Floats, groups: int) -> tuple[float, Floats, Floats]:
    """Return -2 log restricted likelihood, its slope by the setups upward in likelihood, and their information."""
    w, u, z, log_determinants = _projection(repeats, variance)
    share, group = repeats.setup_share, repeats.group
    slope = 0.5 * np.bincount(group, weights=share * (u**2 - w + (z**2).sum(axis=1)), minlength=groups)
    return (
        log_determinants + float(u @ repeats.play),
        np.asarray(slope, dtype=np.float64),
        _information(repeats, w, z, share, groups),
    )


def _information(repeats: Repeats, w: Floats, z: Floats, share: Floats, groups: int) -> Floats:
    """Return the expected information of the groups' setups (G, G)."""
    group, lives, q = repeats.group, repeats.n_lives, z.shape[1]
    own = np.bincount(group, weights=share**2 * (w**2 - 2.0 * w * (z**2).sum(axis=1)), minlength=groups)
    # sum over pairs within a life of s_i s_k (z_i . z_k)^2, group by group
    cell = repeats.life * groups + group
    cells, at = np.unique(cell, return_inverse=True)
    products = _within(at.astype(np.int64), share[:, None, None] * z[:, :, None] * z[:, None, :], len(cells))
    flat = np.zeros((lives, groups, q * q)) if lives * groups * q * q < 5_000_000 else None
    life, of = cells // groups, cells % groups
    if flat is not None:
        flat[life, of] = products.reshape(len(cells), -1)
        pairs = np.einsum("jga,jha->gh", flat, flat, optimize=True)
    else:
        pairs = np.zeros((groups, groups))
        for column in products.reshape(len(cells), -1).T:
            from scipy import sparse

            table = sparse.csr_array((column, (life, of)), shape=(lives, groups))
            pairs += (table.T @ table).toarray()
    return np.asarray(0.5 * (np.diag(own) + pairs))


def _stroke_weight(repeats: Repeats, variance: Floats, groups: int) -> Floats:
    """Return how much of one stroke's variance the setups' estimates lean on (G,).

    That is minus the slope of each estimate by its group's repeatability: a mean of 1 / (strokes x share), weighted
    by what each reading tells.
    """
    w, _, z, _ = _projection(repeats, variance)
    told = repeats.setup_share * w * np.maximum(w - (z**2).sum(axis=1), 0.0)
    total = np.bincount(repeats.group, weights=told * repeats.setup_share, minlength=groups)
    stroke = np.bincount(repeats.group, weights=told / repeats.strokes, minlength=groups)
    return np.asarray(np.where(total > 0.0, stroke / np.where(total > 0.0, total, 1.0), 1.0))
