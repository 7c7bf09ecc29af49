# %% [markdown]
"""A worked analysis of a published snapshot: one group of joints fitted anew with statsmodels, beside the stored fit.

Cells begin with ``# %%``, so that notebooks and editors run them one by one; as a whole it runs on the demo fleet with

    fleetwear demo
    python -m fleetwear.reports.examples.worked_analysis

FLEETWEAR_STORE names another store, FLEETWEAR_EXAMPLE_OUT the folder that the chart goes to (here, if not given).
"""

# %% Open the snapshot and see what it is as of
import os
import warnings
from pathlib import Path

import altair as alt
import numpy as np
import pandas as pd
import statsmodels.formula.api as smf

from fleetwear.store import demo_store_dir, open_snapshot
from fleetwear.store.tidy import require_tidy

GROUP = "kingpin/in-out"

folder = Path(os.environ.get("FLEETWEAR_STORE") or demo_store_dir())
out = Path(os.environ.get("FLEETWEAR_EXAMPLE_OUT") or ".")
con = open_snapshot(folder)
require_tidy(con, where=str(folder))
about = con.execute("select * from tidy.about").df().iloc[0]
print(f"As of {about['as_of']:%Y-%m-%d}: forecast {about['forecast_number']}, fit {about['fit_number']}")

# %% What a column means stands in the snapshot itself
meanings = con.execute(
    "select column_name, unit, meaning from tidy.dictionary "
    "where table_name = 'series' and starts_with(column_name, 'fitted_growth') order by place"
).df()
print(meanings.to_string(index=False))

# %% The readings of one group of lives, as the stored fit took them in: one row a visit
readings = con.execute(
    """
    select
        concat_ws(' / ', v.unit, v.joint, v.load_direction, v.life_no) as series,
        s.cohort,
        v.life_distance_km / 10000.0 as distance,
        v.mean_play_mm
    from tidy.series_visits as v
    join tidy.series as s using (unit, joint, load_direction, life_no)
    where s.model_group = $model_group and v.result = 'measured'
    order by series, distance
    """,
    {"model_group": GROUP},
).df()
lives = readings["series"].nunique()
print(f"{GROUP}: {len(readings)} readings of {lives} lives in {readings['cohort'].nunique()} cohorts")

# %% Fit it anew: a mean line a cohort, a random line a life (straight growth, normal errors, all readings alike)
with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # statsmodels speaks of every search; converged says how it ended
    fit = smf.mixedlm(
        "mean_play_mm ~ 0 + cohort + cohort:distance", readings, groups="series", re_formula="~distance"
    ).fit(reml=True, method=["lbfgs", "powell"])
slopes = {name.removeprefix("cohort[").removesuffix("]:distance"): value for name, value in fit.fe_params.items()}
of_life = readings.groupby("series")["cohort"].first()
own = pd.Series({series: effects["distance"] for series, effects in fit.random_effects.items()})
anew = (own + of_life.map(slopes)).rename("anew")
print(f"MixedLM converged: {fit.converged}; error of a reading {np.sqrt(fit.scale):.3f} mm")

# %% Beside the stored fit: the mean growth of each cohort where growth is taken as straight
stored_cohorts = con.execute(
    """
    select cohort, 10000.0 * growth_mm / growth_over_km as stored, 10000.0 * growth_mm_se / growth_over_km as stored_se
    from tidy.cohorts
    where model_group = $model_group and shape = 'straight'
    order by cohort
    """,
    {"model_group": GROUP},
).df()
cohorts = stored_cohorts.assign(anew=stored_cohorts["cohort"].map(slopes)).dropna()
print("Growth of cohorts, mm per 10,000 km, straight in both fits:")
print(cohorts.round(4).to_string(index=False))

# %% And of each life: the stored fit weighs several shapes, so its growth is the mean over the distance read so far
stored = con.execute(
    """
    select
        concat_ws(' / ', unit, joint, load_direction, life_no) as series,
        cohort,
        fitted_growth_mm_per_10000_km as stored,
        fitted_growth_mm_per_10000_km_lower as lower,
        fitted_growth_mm_per_10000_km_upper as upper
    from tidy.series
    where model_group = $model_group and measured_visits >= 3
    order by series
    """,
    {"model_group": GROUP},
).df()
both = stored.merge(anew, left_on="series", right_index=True)
agreement = float(np.corrcoef(both["stored"], both["anew"])[0, 1])
ratio = float((both["stored"] / both["anew"]).median())
inside = float(((both["anew"] >= both["lower"]) & (both["anew"] <= both["upper"])).mean())
print(f"{len(both)} lives of three readings or more: correlation {agreement:.3f}, median of stored / anew {ratio:.2f}")
print(f"The growth fitted anew lies within the stored 95 % interval for {inside:.0%} of them.")
print("Where they part, the stored fit knows more: other shapes, methods, slips, and readings that are not numbers.")

# %% One chart, to a file
ends = [float(both[["stored", "anew"]].min().min()), float(both[["stored", "anew"]].max().max())]
across = alt.Chart(pd.DataFrame({"anew": ends, "stored": ends})).mark_line(color="#8a8f94", strokeDash=[4, 3])
points = alt.Chart(both).mark_point(filled=True, size=32, color="#1f5673", opacity=0.75)
bars = alt.Chart(both).mark_rule(color="#1f5673", opacity=0.3)
x = alt.X("anew:Q", title="Growth fitted anew, mm per 10,000 km")
y = alt.Y("stored:Q", title="Stored growth with its 95 % interval, mm per 10,000 km")
chart = alt.layer(
    across.encode(x=x, y=y), bars.encode(x=x, y=alt.Y("lower:Q", title=""), y2="upper:Q"), points.encode(x=x, y=y)
).properties(width=420, height=320, title=f"{GROUP}: growth of each life, two fits")
out.mkdir(parents=True, exist_ok=True)
chart.save(str(out / "growth_two_fits.svg"))
con.close()
print(f"Chart: {out / 'growth_two_fits.svg'}")
