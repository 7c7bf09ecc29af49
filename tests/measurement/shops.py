"""Invented shops whose repeatability and reproducibility are known."""

from __future__ import annotations

import numpy as np

TRUE = {"repeatability": 0.04, "reproducibility": 0.03, "joint to joint": 0.2}


def visit(rng, *, joints=10, people=4, strokes=3, interaction=0.0, true=TRUE):
    """Return joint, person and play of one complete study (n,)."""
    j, p, _ = np.indices((joints, people, strokes))
    play = (
        0.6
        + true["joint to joint"] * rng.normal(size=(joints, 1, 1))
        + true["reproducibility"] * rng.normal(size=(1, people, 1))
        + interaction * rng.normal(size=(joints, people, 1))
        + true["repeatability"] * rng.normal(size=(joints, people, strokes))
    )
    return j.ravel(), p.ravel(), play.ravel()


def repeat_visits(rng, *, lives=20, setup=0.04, stroke=0.02, strokes=(1, 2, 3), visits=(3, 7)):
    """Return life, growth, play (means of strokes), strokes, and the strokes' sum of squares and degrees of freedom.

    Each life wears along a line of its own and is read at so many visits; setup and stroke are standard deviations.
    """
    number = rng.integers(*visits, lives)
    life = np.repeat(np.arange(lives), number)
    n = life.size
    growth, many = rng.uniform(-1.0, 2.0, n), rng.choice(strokes, n)
    true = rng.normal(0.5, 0.2, lives)[life] + rng.normal(0.3, 0.1, lives)[life] * growth + setup * rng.normal(size=n)
    error = stroke * rng.normal(size=(n, max(strokes)))
    taken = np.arange(max(strokes)) < many[:, None]
    mean = np.where(taken, error, 0.0).sum(axis=1) / many
    squares = np.where(taken, (error - mean[:, None]) ** 2, 0.0).sum()
    return life, growth, true + mean, many.astype(float), float(squares), float((many - 1).sum())
