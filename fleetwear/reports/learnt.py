"""What a fit has learnt as tables that people read; play in mm and thousandths of an inch, because fleets use both."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from fleetwear.planning.wording import is_known, say_small_play

if TYPE_CHECKING:
    from collections.abc import Mapping
    from typing import Any

    from fleetwear.planning.learnt import Learnt

_LEAST = 0.05
"""Weight below which a shape is not spoken of."""
_FAR_KM = 100_000.0
_NOTHING_MM = 0.0005

REFERENCE = "reference"


def shape_table(learnt: Learnt) -> pd.DataFrame:
    """Return one row a group of joints: Joints, Shapes by weight, Error of a reading, Slipped, Lives, Spread."""
    rows = []
    for group, frame in learnt.shapes.groupby("model_group", sort=True):
        best = frame.iloc[0]
        heavy = frame[frame["weight"] >= _LEAST]
        slipped = f"{best['slip_share']:.1%}" if is_known(best["slip_share"]) else "not looked for"
        rows.append(
            {
                "Joints": str(group).replace("/", ", "),
                "Shapes by weight": "; ".join(_said(one) for one in heavy.to_dict("records")),
                "Error of a reading": say_small_play(float(np.sqrt(best["residual_variance"]))),
                "Slipped": slipped,
                "Parts, readings": f"{int(best['n_lives']):,}, {int(best['n_readings']):,}",
                "Spread": f"{best['spread']:.2f}",
            }
        )
    return pd.DataFrame(rows)


def _said(row: Mapping[Any, Any]) -> str:
    """Return a shape in words: "two-stage 0.80 (4.3 times as fast after its onset)"."""
    strays = float(np.sqrt(row["wander_mm2_per_km"] * _FAR_KM))
    about = {
        "power": f" (exponent {row['exponent']:.2f})",
        "two-stage": f" ({row['pace']:.1f} times as fast after the onset)",
        "wandering": f" ({say_small_play(strays)} in 100,000 km)" if strays > _NOTHING_MM else " (no wandering found)",
    }.get(str(row["shape"]), "")
    return f"{row['shape']} {row['weight']:.2f}{about}"


def method_table(learnt: Learnt) -> pd.DataFrame:
    """Return one row a group and way of reading: Joints, How it was read, Readings, Reads, Noise, Sees."""
    return pd.DataFrame(
        [
            {
                "Joints": str(row["model_group"]).replace("/", ", "),
                "How it was read": row["method"],
                "Readings": f"{int(row['n_readings']):,}",
                "Reads higher (+) or lower (-)": REFERENCE
                if row["is_reference"]
                else f"{row['offset_mm']:+.3f} mm \u00b1 {1.96 * row['offset_se']:.3f}",
                "Noise": REFERENCE if row["is_reference"] else f"{np.sqrt(row['variance_ratio']):.2f} times",
                "Sees every other time": say_small_play(row["threshold_mm"]) if is_known(row["threshold_mm"]) else "",
            }
            for row in learnt.methods.to_dict("records")
        ]
    )


def weight_table(learnt: Learnt) -> pd.DataFrame:
    """Return one row a cohort whose weights differ from its group's: Cohort, Shapes by weight, Visits scored."""
    rows = []
    for cohort, frame in learnt.weights.groupby("cohort", sort=True):
        words = "; ".join(f"{one['shape']} {one['weight']:.2f}" for one in frame.to_dict("records")
                          if one["weight"] >= _LEAST)  # fmt: skip
        rows.append(
            {
                "Cohort": str(cohort).replace("/", ", "),
                "Shapes by weight": words,
                "Visits scored": f"{int(frame['n_scored'].iloc[0]):,}",
            }
        )
    return pd.DataFrame(rows, columns=["Cohort", "Shapes by weight", "Visits scored"])
