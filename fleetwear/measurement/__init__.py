"""How well a reading is known: arrays in, results out. It knows no store, no file and no vehicle.

All numbers of one call are in one unit, that of the readings; the project gives millimetres.
"""

from fleetwear.measurement.budget import Budget, Contribution, PooledDeviation, make_budget, pool_deviations
from fleetwear.measurement.decision import Decision, Settling, decide, probability_within
from fleetwear.measurement.results import StudyResults
from fleetwear.measurement.study import analyse

__all__ = [
    "Budget",
    "Contribution",
    "Decision",
    "PooledDeviation",
    "Settling",
    "StudyResults",
    "analyse",
    "decide",
    "make_budget",
    "pool_deviations",
    "probability_within",
]
