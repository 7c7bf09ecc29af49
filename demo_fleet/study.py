"""An invented repeatability study: ten joints, three people by code, three strokes, with known deviations."""

from __future__ import annotations

import numpy as np
import pandas as pd

JOINTS, PEOPLE, STROKES = 10, 3, 3
STROKE_SD_MM = 0.03
"""Standard deviation of strokes."""
PERSON_SD_MM = 0.02
"""Standard deviation between people."""
LEAST_MM, MOST_MM = 0.15, 0.85
"""The true plays lie evenly between these."""
RESOLUTION_MM = 0.01

FILE = "reading_study.csv"


def study_table(rng: np.random.Generator) -> pd.DataFrame:
    """Return one row a stroke, in the mixed order in which they were taken: joint, technician, play (mm)."""
    joint, person, _ = (index.ravel() for index in np.indices((JOINTS, PEOPLE, STROKES)))
    true = np.linspace(LEAST_MM, MOST_MM, JOINTS)
    habit = PERSON_SD_MM * rng.normal(size=PEOPLE)
    play = true[joint] + habit[person] + STROKE_SD_MM * rng.normal(size=joint.size)
    rounded = np.round(np.maximum(play, 0.0) / RESOLUTION_MM) * RESOLUTION_MM
    table = pd.DataFrame(
        {
            "joint": [f"J{number + 1:02d}" for number in joint],
            "technician": [f"P{number + 1}" for number in person],
            "play (mm)": [f"{value:.2f}" for value in rounded],
        }
    )
    return table.iloc[rng.permutation(len(table))].reset_index(drop=True)
