"""First and second derivatives of the criterion by the relative covariance T and by its factor theta.

With P_j, e_j, A_c, beta_c, d and RSS of module ``criterion``, sigma2 = RSS / d and u_j = e_j - P_j beta_c, let::

    W_j = u_j u_j' / sigma2 + [P_j A_c^-1 P_j]                       ([...] in REML only)

From dP = -P dT P and du = -P dT u + P A^-1 (sum P dT u), the derivatives along dT, and along dT and dS, are::

    sum tr((P_j - W_j) dT)

    sum tr(dT P_j dS (2 W_j - P_j))
      - [sum_c tr(A_c^-1 (sum P_j dT P_j) A_c^-1 (sum P_j dS P_j))]
      - 2 / sigma2 sum_c (sum P_j dT u_j)' A_c^-1 (sum P_j dS u_j)
      - (sum u_j' dT u_j) (sum u_j' dS u_j) / (d sigma2^2)

the last only where sigma2 is profiled out. (The average of observed and expected information would leave out
parts of these; from the sums the whole costs little more.)
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Iterable

    from numpy.typing import NDArray

    from fleetwear.wear.blocks import Block
    from fleetwear.wear.sums import Floats


_TWICE = np.array([1.0, 2.0, 1.0])
"""How often the elements 11, 12 and 22 stand in a symmetric matrix."""

_MOVED = np.zeros((6, 6))
"""P E_i u, E_i the changes of T11, T12 and T22, from the products of P with u_1 and with u_2."""
_MOVED[[0, 1, 2, 2, 3, 3, 4, 5], [0, 1, 1, 3, 2, 4, 4, 5]] = 1.0

_SQUARES = np.zeros((12, 6))
"""P E_i P from the products of elements of P."""
_SQUARES[[0, 1, 2, 3, 5, 5, 6, 6, 8, 9, 10, 11], [0, 1, 1, 3, 2, 3, 2, 3, 3, 4, 4, 5]] = 1.0
_SQUARES[[4, 7], [1, 4]] = 2.0


@dataclass(frozen=True)
class Derivatives:
    """Derivatives of the deviance by (T11, T12, T22)."""

    first: NDArray[np.float64]
    """Shape (3,)."""
    second: NDArray[np.float64]
    """Shape (3, 3)."""

    def by_theta(
        self, theta: Floats, *, level: bool
    ) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
        """Return gradient and Hessian by theta, where T = (a^2, a b, b^2 + c^2), and Gamma, shape (2, 2)."""
        a, b, c = (float(value) for value in theta)
        g11, g12, g22 = (float(value) for value in self.first)
        chain = np.array([[2.0 * a, 0.0, 0.0], [b, a, 0.0], [0.0, 2.0 * b, 2.0 * c]])
        curved = np.array([[2.0 * g11, g12, 0.0], [g12, 2.0 * g22, 0.0], [0.0, 0.0, 2.0 * g22]])
        gradient, hessian = self.first @ chain, chain.T @ self.second @ chain + curved
        slope = np.array([[g11, g12 / 2.0], [g12 / 2.0, g22]])
        if level:
            gradient[1:], hessian[1:], hessian[:, 1:], slope[1:], slope[:, 1:] = 0.0, 0.0, 0.0, 0.0, 0.0
        return gradient, hessian, slope


def derivatives(
    blocks: Iterable[tuple[Block, Floats]],
    beta: Floats,
    inverse: Floats,
    sigma2: float,
    dof: float,
    *,
    reml: bool,
) -> Derivatives:
    """Return the derivatives of the deviance by T.

    Parameters
    ----------
    blocks
        Blocks of L lives with their P11, P12, P22, e1 and e2, shape (5, L).
    beta, inverse
        Mean lines of the cohorts, shape (2, C), and elements 11, 12 and 22 of A_c^-1, shape (3, C).
    sigma2, dof
        Residual variance, and the degrees of freedom d that it is profiled out with; infinite where it is known.
    reml
        Whether the likelihood is the restricted one.
    """
    total, of_pair, product = np.zeros(3), np.zeros(3), np.zeros((3, 3))
    by_cohort = np.zeros((12, beta.shape[1]))
    for block, kept in blocks:
        P, e = kept[:3], kept[3:]
        counted = block.weighed(P)
        u = e - P[:2] * block.each(beta[0]) - P[1:] * block.each(beta[1])
        W = np.concatenate([u * u[0], u[1:] * u[1:]])
        of_pair += block.total(W)
        W /= sigma2
        products = np.concatenate(
            [P * counted[0], P[1:] * counted[1], P[2:] * counted[2], counted * u[0], counted * u[1]]
        )
        by_cohort[:, block.cohorts] += block.by_cohort(products)
        if reml:
            i11, i12, i22 = block.each(inverse[0]), block.each(inverse[1]), block.each(inverse[2])
            W[0] += i11 * products[0] + 2.0 * i12 * products[1] + i22 * products[3]
            W[1] += i11 * products[1] + i12 * (products[2] + products[3]) + i22 * products[4]
            W[2] += i11 * products[3] + 2.0 * i12 * products[4] + i22 * products[5]
        left = P - W
        total += block.total(left)
        product += (W - left) @ counted.T
    of_pair *= _TWICE
    second = _along_pairs(product) - _through_lines(by_cohort, inverse, sigma2, reml=reml)
    second -= of_pair[:, None] * of_pair / (dof * sigma2**2)
    return Derivatives(_TWICE * total, second)


def _along_pairs(product: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return tr(E_i P E_k M) summed over lives, E the changes of T11, T12 and T22, shape (3, 3).

    ``product`` has the elements (11, 12, 22) of M by those of P.
    """
    g = product
    k12, k23 = g[0, 1] + g[1, 0], g[1, 2] + g[2, 1]
    k22 = 2.0 * g[1, 1] + g[0, 2] + g[2, 0]
    return np.array([[g[0, 0], k12, g[1, 1]], [k12, k22, k23], [g[1, 1], k23, g[2, 2]]])


def _through_lines(by_cohort: Floats, inverse: Floats, sigma2: float, *, reml: bool) -> NDArray[np.float64]:
    """Return what the second derivatives lose because mean lines move along, shape (3, 3).

    ``by_cohort`` holds the sums of products of elements of P (11 11, 11 12, 11 22, 12 12, 12 22, 22 22), and of
    elements 11, 12 and 22 of P with u_1 and with u_2, shape (12, C).
    """
    A = inverse[[0, 1, 1, 2]].T.reshape(-1, 2, 2)
    moved = (_MOVED @ by_cohort[6:]).reshape(3, 2, -1).transpose(2, 0, 1)
    lost = (2.0 / sigma2) * (moved @ A @ moved.transpose(0, 2, 1)).sum(axis=0)
    if reml:
        squares = (_SQUARES @ by_cohort[:6]).reshape(3, 2, 2, -1).transpose(0, 3, 1, 2)
        turned = A @ squares
        lost += turned.reshape(3, -1) @ turned.transpose(0, 1, 3, 2).reshape(3, -1).T
    return np.asarray(lost)
