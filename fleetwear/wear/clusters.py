"""Covariance of estimates where whole clusters of lives share what the model leaves out.

For weighted least squares with information A = sum_v B_v over clusters v, and scores s_v (the residuals of a
cluster times its derivatives), the covariance of the estimates is::

    A^-1 (sum_v s~_v s~_v') A^-1

whatever the lives of one cluster have in common (Liang & Zeger 1986). The residuals of a small sample are
smaller than the errors; with L L' = A^-1 and L' B_v L = V S^2 V'::

    CR1   s~_v = s_v sqrt(G / (G - 1) (n - 1) / (n - p))
    CR2   L' s~_v = (I - L' B_v L)^(-1/2) L' s_v      exact under the working model (Bell & McCaffrey 2002)

A contrast c of the estimates then has a t distribution with degrees of freedom that make its first two moments
right under the working model (Satterthwaite's, as in Pustejovsky & Tipton 2018); all of it in p x p matrices.

References
----------
Liang, K.-Y. & Zeger, S. L. (1986), Biometrika 73(1), equation 10.
Bell, R. M. & McCaffrey, D. F. (2002), Survey Methodology 28(2), section 4.
Pustejovsky, J. E. & Tipton, E. (2018), J. Bus. Econ. Stat. 36(4), equations 5, 6 and 11.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

from fleetwear.errors import FitError

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from fleetwear.wear.sums import Floats, Integers

Correction = Literal["CR1", "CR2"]

_OWN = 1.0 - 1e-8
"""A direction of which one cluster holds more than this share of all information is that cluster's own: its
residuals there are zero and tell nothing."""


@dataclass(frozen=True)
class ClusterCovariance:
    """The cluster-robust covariance of p estimates from G clusters."""

    covariance: NDArray[np.float64]
    """Shape (p, p)."""
    root: NDArray[np.float64]
    """L, shape (p, p), of L L' = A^-1."""
    directions: list[tuple[NDArray[np.float64], Floats]]
    """V, shape (p, k), and S^2, shape (k,), of every cluster."""

    @property
    def n_clusters(self) -> int:
        """The number of clusters G."""
        return len(self.directions)

    def of(self, contrasts: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return the covariance, shape (m, m), of contrasts of shape (m, p)."""
        return np.asarray(contrasts @ self.covariance @ contrasts.T)

    def degrees(self, contrasts: NDArray[np.float64]) -> Floats:
        """Return the degrees of freedom, shape (m,), of contrasts of shape (m, p); at least 1.

        With n_v the variance that cluster v adds under the working model and q_v what the estimates take from it,
        the quadratic form has the matrix diag(n) - Q Q'.
        """
        turned = self.root.T @ contrasts.T
        m, p = contrasts.shape
        trace, squares, cross = np.zeros(m), np.zeros(m), np.zeros((m, p, p))
        for vectors, shares in self.directions:
            left = _left_over(shares)
            along = vectors.T @ turned
            own = (shares * left**2) @ along**2
            taken = vectors @ ((shares * left)[:, None] * along)
            lost = (taken**2).sum(axis=0)
            trace += own - lost
            squares += own**2 - 2.0 * own * lost
            cross += np.einsum("pm,qm->mpq", taken, taken)
        squares += (cross**2).sum(axis=(1, 2))
        return np.maximum(trace**2 / np.maximum(squares, 1e-300), 1.0)


def cluster_covariance(
    information: NDArray[np.float64],
    rows: NDArray[np.float64],
    scores: NDArray[np.float64],
    cluster: Integers,
    *,
    n_readings: float,
    correction: Correction = "CR2",
) -> ClusterCovariance:
    """Return the covariance of estimates that is robust to what clusters share.

    Parameters
    ----------
    information
        A, the sum of R_j' R_j over the lives, shape (p, p).
    rows
        R_j of each life, shape (J, 2, p).
    scores
        Each life's residuals times its derivatives, shape (J, p).
    cluster
        The cluster of each life, from 0, shape (J,).
    n_readings
        The number of readings n, which CR1 counts.
    correction
        How residuals are scaled for a small sample.

    Raises
    ------
    FitError
        If the information is singular, or there is one cluster only.
    """
    n_clusters, p = int(cluster.max(initial=-1)) + 1, len(information)
    if n_clusters < 2:
        raise FitError("there are lives of one vehicle only", mend="A comparison needs lives of two or more.")
    try:
        root = np.linalg.inv(np.linalg.cholesky(information)).T
    except np.linalg.LinAlgError as error:
        raise FitError(
            "the readings do not tell the growth of every level apart",
            mend="Compare fewer levels, or load more visits.",
        ) from error
    order = np.argsort(cluster, kind="stable")
    ends = np.cumsum(np.bincount(cluster, minlength=n_clusters))
    turned = scores @ root
    meat = np.zeros((p, p))
    directions = []
    for first, last in zip(np.concatenate([[0], ends[:-1]]), ends, strict=True):
        own = order[first:last]
        _, size, vectors = np.linalg.svd(rows[own].reshape(-1, p) @ root, full_matrices=False)
        shares, along = np.minimum(size**2, 1.0), vectors.T
        score = turned[own].sum(axis=0)
        if correction == "CR2":
            score = score + along @ ((_left_over(shares) - 1.0) * (along.T @ score))
        meat += np.outer(score, score)
        directions.append((along, shares))
    if correction == "CR1":
        meat *= n_clusters / (n_clusters - 1.0) * (n_readings - 1.0) / (n_readings - p)
    return ClusterCovariance(root @ meat @ root.T, root, directions)


def _left_over(shares: Floats) -> Floats:
    """Return (1 - S^2)^(-1/2), and 0 for directions that are a cluster's own."""
    return np.where(shares < _OWN, 1.0 / np.sqrt(np.maximum(1.0 - shares, 1.0 - _OWN)), 0.0)
