"""Trends of the demo fleet: every query against plain loops, groups, thin ones, and what is refused."""

import math
from collections import defaultdict
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from fleetwear.errors import InputError, StoreError
from fleetwear.forecast.curves import growth_curve
from fleetwear.planning.effects import read_effects
from fleetwear.store import Store, open_snapshot, publish, sql
from fleetwear.store.known import prepare
from fleetwear.trends import FACTORS, answer, cohort_curves, growth_by, growth_densities, read_trends, thin_groups
from fleetwear.wear.spread import group_sums, spread_of

SERIES = ["vehicle_id", "position_id", "life_no", "direction"]


@pytest.fixture(scope="module")
def read(demo_store):
    con = open_snapshot(demo_store.folder)
    yield con, read_trends(con)
    con.close()


def series_of(con):
    return con.execute("select * from trend_series order by life").df()


def lines_of(con, row):
    return con.execute(
        "select * from posteriors where vehicle_id = ? and position_id = ? and life_no = ? and direction = ?",
        [int(row.vehicle_id), int(row.position_id), int(row.life_no), row.direction],
    ).df()


def test_growth_over_the_first_distance_is_that_of_the_lifes_curve(read):
    con, trends = read
    rows = series_of(con)
    twice = rows[rows["n_visits"] >= 2]
    far = {kind: float(np.median(frame["read_km"])) for kind, frame in twice.groupby("kind")}
    for row in rows.iloc[::60].itertuples():
        lines = lines_of(con, row)
        told = trends.lives.iloc[row.life]
        curve = growth_curve(lines, np.array([0.0, far[row.kind]]))
        assert told["far_km"] == pytest.approx(far[row.kind])
        gained = curve["play_mm"][1] - curve["play_mm"][0]
        assert told["growth_mm_per_km"] == pytest.approx(gained / far[row.kind], abs=1e-13)
        mean, second, weights = 0.0, 0.0, lines["weight"].sum()
        for one in lines.itertuples():

            def run(x, one=one):
                t = x + one.shift_km
                return (
                    max(t / one.reference_km, 0.0) ** one.exponent
                    + (one.pace - 1.0) * max(t - one.onset_km, 0.0) / one.reference_km
                )

            g = run(far[row.kind]) - run(0.0)
            variance = g * g * one.var_growth + one.wander_mm2_per_km * abs(far[row.kind] + one.shift_km - one.from_km)
            mean += one.weight / weights * g * one.growth
            second += one.weight / weights * (variance + (g * one.growth) ** 2)
        assert told["variance"] * far[row.kind] ** 2 == pytest.approx(second - mean**2, rel=1e-6, abs=1e-12)


def test_a_cohorts_curve_is_the_mean_of_its_lives_curves(read):
    con, trends = read
    rows = series_of(con)
    cohort = "kingpin/in-out/H60 truck/long haul"
    own = rows[(rows["cohort"] == cohort) & (rows["n_visits"] >= 2)]
    far = np.quantile(own["read_km"], 0.75)
    at = far * np.arange(25) / 24.0
    means, variances = [], []
    for row in own.itertuples():
        lines = lines_of(con, row)
        curve = growth_curve(lines, at)
        means.append(curve["play_mm"].to_numpy())
        run = at[:, None] + lines["shift_km"].to_numpy()
        g = (
            np.maximum(run / lines["reference_km"].to_numpy(), 0.0) ** lines["exponent"].to_numpy()
            + (lines["pace"].to_numpy() - 1.0)
            * np.maximum(run - lines["onset_km"].to_numpy(), 0.0)
            / lines["reference_km"].to_numpy()
        )
        mean = lines["intercept"].to_numpy() + g * lines["growth"].to_numpy()
        variance = lines["var_intercept"].to_numpy() + g * (
            2.0 * lines["cov_cross"].to_numpy() + g * lines["var_growth"].to_numpy()
        )
        variance = variance + lines["wander_mm2_per_km"].to_numpy() * np.abs(run - lines["from_km"].to_numpy())
        weight = lines["weight"].to_numpy() / lines["weight"].sum()
        variances.append((weight * (variance + mean**2)).sum(axis=1) - curve["play_mm"].to_numpy() ** 2)
    told = cohort_curves(trends, kind="kingpin")
    told = told[told["cohort"] == cohort].reset_index(drop=True)
    assert told["distance_km"].to_numpy() == pytest.approx(at)
    assert told["play_mm"].to_numpy() == pytest.approx(np.mean(means, axis=0))
    nothing = np.zeros(len(own), dtype=np.int64)
    for step in (0, 12, 24):
        column = (np.array([m[step] for m in means]), np.array([max(v[step], 0.0) for v in variances]))
        wanted = spread_of(group_sums(*column, nothing, own["vehicle_id"].to_numpy(), n_groups=1))
        assert told["mean_upper"][step] == pytest.approx(wanted.upper[0], rel=1e-6)
        assert told["parts_upper"][step] == pytest.approx(wanted.mean[0] + 1.6448536 * wanted.spread[0], rel=1e-6)


def plain_limit(limits, way, as_of):
    """Return the limit of a way of reading: the most specific, then the nearest way, then the newest."""
    best, rank = None, ()
    for one in limits:
        named = {key: one[key] for key in ("model", "place", "direction") if one[key] is not None}
        if one["kind"] != way["kind"] or one["valid_from"] > as_of or any(way[k] != v for k, v in named.items()):
            continue
        near = [2 if one[k] is not None and one[k] == way[k] else 1 if one[k] is None else 0
                for k in ("method", "read_at")]  # fmt: skip
        own = (4 * ("model" in named) + 2 * ("place" in named) + ("direction" in named), *near, one["valid_from"],
               one["limit_id"])  # fmt: skip
        if own > rank:
            best, rank = one, own
    return best


def test_when_parts_crossed_is_what_a_plain_walk_through_their_visits_finds(read):
    con, trends = read

    def records(query):
        names = [column[0] for column in con.execute(query).description]
        return [dict(zip(names, row, strict=True)) for row in con.fetchall()]

    limits = records("select * from limits")
    series = {tuple(row[name] for name in SERIES): row for row in records("select * from trend_series")}
    place = {row["position_id"]: row["place"] for row in records("select * from positions")}
    slipped = {
        (*(row[name] for name in SERIES), row["visit_id"], row["timing"])
        for row in records("select * from fit_slips")
        if row["p_slipped"] > 0.5
    }
    looks = defaultdict(list)
    for row in records("select * from known_series_visits"):
        own = series.get(tuple(row[name] for name in SERIES))
        if own is None or (*(row[name] for name in SERIES), row["visit_id"], row["timing"]) in slipped:
            continue
        way = {**row, "kind": own["kind"], "model": own["model"], "place": place[row["position_id"]]}
        limit = plain_limit(limits, way, trends.run.as_of)
        if limit is None:
            continue
        over = None
        if row["result"] == "measured":
            over = row["largest_mm"] > limit["limit_mm"]
        elif row["result"] == "none seen" and limit["limit_mm"] >= 0.25 + 3 * 0.06:
            over = False
        if over is not None:
            looks[row["vehicle_id"], row["position_id"], row["life_no"]].append((row["life_distance_km"], over))
    wanted = {}
    for part, seen in looks.items():
        upper = min((km for km, over in seen if over), default=math.inf)
        lower = max((km for km, over in seen if not over and km < upper), default=0.0)
        wanted[part] = (lower, upper)
    told = {
        (row.vehicle_id, row.position_id, row.life_no): (row.lower_km, row.upper_km)
        for row in trends.lifetimes.assign(upper_km=trends.lifetimes["upper_km"].fillna(math.inf)).itertuples()
    }
    assert len(slipped) > 5
    assert sum(math.isfinite(upper) for _, upper in told.values()) > 10
    assert told.keys() == wanted.keys()
    for part, ends in wanted.items():
        assert told[part] == pytest.approx(ends), part


@pytest.mark.parametrize("by", FACTORS)
def test_every_group_is_told_or_named_as_too_thin(read, by):
    _, trends = read
    told = answer(trends, by=by)
    lives = trends.lives
    groups = {(row.kind, str(getattr(row, by))) for row in lives.itertuples()}
    shown = set(zip(told.growth["kind"], told.growth["level"], strict=True))
    assert shown <= groups
    if by != "kind":
        named = " ".join(one.name.lower() for one in thin_groups(trends, by=by))
        for kind, level in groups - shown:
            assert f"{kind}, {level}".lower() in named
    assert (told.growth["growth_lower"] < told.growth["growth"]).all()
    assert (told.growth["between"] < told.growth["spread"]).all()
    assert (told.growth["growth_05"] < told.growth["growth_95"]).all()
    assert set(told.densities) == shown
    parts = sum(len(one.lifetimes) + one.n_uninformative for one in told.lifetimes)
    assert parts == len(trends.lifetimes)


def test_growth_of_a_group_is_the_mean_of_its_lives_and_joins_its_comparison(read):
    con, trends = read
    told = growth_by(trends, by="depot", kind="ball joint").set_index("level")
    lives = trends.lives[(trends.lives["kind"] == "ball joint") & (trends.lives["n_visits"] >= 2)]
    for depot, frame in lives.groupby("depot"):
        assert told.loc[depot, "growth"] == pytest.approx(frame["growth_mm_per_km"].mean())
        assert told.loc[depot, "n_lives"] == len(frame)
        assert told.loc[depot, "n_vehicles"] == frame["vehicle_id"].nunique()
    effects = read_effects(con, kind="ball joint", factor="depot")
    assert told.loc["Harbour", "compared"] in effects["says"].tolist()
    density = growth_densities(trends, told.reset_index(), by="depot", kind="ball joint")["ball joint", "Harbour"]
    assert density.density.max() == 1.0
    assert len(density.means) == told.loc["Harbour", "n_lives"]


def test_a_thin_group_says_what_it_needs(read):
    _, trends = read
    lives = trends.lives
    some = lives[(lives["kind"] == "kingpin") & (lives["n_visits"] >= 2)].head(2)
    once = lives[(lives["kind"] == "kingpin") & (lives["n_visits"] == 2)].head(1).assign(n_visits=1)
    few = pd.concat([some, once]).assign(cohort="kingpin/in-out/X", vehicle_id=[1, 1, 2])
    (thin,) = thin_groups(replace(trends, lives=few))
    assert thin.words() == (
        "Kingpin, in-out, X: 2 parts of 1 vehicle read at two visits; needs 3 more parts read at two visits, "
        "of 2 more vehicles at least; a second reading of 1 part read once would count."
    )


def test_what_is_not_there_is_refused(read, tmp_path):
    _, trends = read
    with pytest.raises(InputError, match="trends by 'colour'"):
        answer(trends, by="colour")
    with pytest.raises(InputError, match="no trends of the kind 'wing nut'"):
        answer(trends, by="kind", kind="wing nut")
    store = Store.create_or_open(tmp_path)
    publish(store)
    con = open_snapshot(tmp_path)
    with pytest.raises(StoreError, match="no forecast"):
        read_trends(con)
    con.close()


def test_a_record_without_telling_lives_gives_empty_trends(read):
    _, trends = read
    bare = replace(trends, lives=trends.lives.head(0), curves=trends.curves.head(0), lifetimes=trends.lifetimes.head(0))
    told = answer(bare, by="depot")
    assert told.growth.empty
    assert told.lifetimes == told.thin_growth == told.thin_lifetimes == []
    assert told.curves == {}


def test_comparisons_still_take_only_what_was_measured(demo_store):
    con = open_snapshot(demo_store.folder)
    prepare(con, as_of=demo_store.files.as_of)
    counts = []
    for everything in (False, True):
        con.execute(sql("effects/lives"), {"every_result": everything}).fetchall()
        counts.append(con.execute("select count(*) from effect_lives").fetchall()[0][0])
    measured = con.execute(
        "select count(*) from effect_lives as l where exists (select 1 from known_series_visits as r "
        "where r.vehicle_id = l.vehicle_id and r.position_id = l.position_id and r.life_no = l.life_no "
        "and r.direction = l.direction and r.result = 'measured')"
    ).fetchall()[0][0]
    con.close()
    assert counts[0] == measured < counts[1]


def test_a_mean_that_is_known_too_widely_says_how_many_more_would_do(read):
    _, trends = read
    wide = [one for one in thin_groups(trends) if "known to within" in one.has]
    assert wide
    name = wide[0].name.lower().replace(", ", "/")
    own = trends.lives[(trends.lives["cohort"].str.lower() == name) & (trends.lives["n_visits"] >= 2)]
    columns = (own["growth_mm_per_km"].to_numpy(), own["variance"].to_numpy())
    vehicle = own["vehicle_id"].to_numpy()
    found = spread_of(group_sums(*columns, np.zeros(len(own), dtype=np.int64), vehicle, n_groups=1))
    half = (found.upper[0] - found.lower[0]) / 2.0 / found.mean[0]
    more = math.ceil(len(own) * ((half / 0.25) ** 2 - 1.0))
    assert wide[0].has == f"mean growth of {len(own)} parts known to within {100 * half:.0f} % only"
    assert wide[0].needs == f"about {more} more parts read at two visits would bring that to 25 %"
