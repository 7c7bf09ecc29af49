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
