"""Fitting the fleet from the store: sums, groups, unknown origins, odd last readings."""

import gc
import weakref
from contextlib import contextmanager
from dataclasses import replace
from datetime import date

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from fleetwear.forecast import fit_fleet, prepare_series
from fleetwear.forecast.group_readings import GroupReadings
from fleetwear.forecast.knowledge import know_series
from fleetwear.store import Store
from fleetwear.store.known import prepare
from fleetwear.wear import EnsembleResults
from fleetwear.wear.reading_errors import ReadingErrors


@contextmanager
def prepared(folder, as_of):
    with Store(folder).reader() as con:
        prepare(con, as_of=as_of)
        yield con, prepare_series(con)


@pytest.fixture(scope="module")
def fitted(demo_store):
    with prepared(demo_store.folder, demo_store.files.as_of) as (con, series):
        yield con, series, fit_fleet(con, series)


def test_one_group_by_gives_the_sums_of_the_arrays(demo_store):
    with prepared(demo_store.folder, demo_store.files.as_of) as (con, _):
        for direction in ("", "in-out"):
            readings = GroupReadings.of(con, kind="ball joint", direction=direction)
            by_query = readings.sums(1.0, readings.mean_distance)
            by_array = readings.arrays().sums(1.0, readings.mean_distance)
            for name in ("n", "w", "wg", "wgg", "wy", "wgy", "wyy", "log_v"):
                assert getattr(by_query, name) == pytest.approx(getattr(by_array, name), rel=1e-12)
            assert readings.n_lives == len(readings.lives) > 50


def test_every_kind_is_fitted_and_every_series_known(fitted):
    _, series, fleet = fitted
    assert fleet.unfitted == {}
    assert {name.split("/")[0] for name in fleet.groups} == set(series["kind"])
    weight = fleet.knowledge.lines.groupby("series")["weight"].sum()
    assert weight.to_numpy() == pytest.approx(np.ones(len(series)))
    assert weight.index.tolist() == series["series"].tolist()
    assert (fleet.knowledge.group != "").all()
    assert 0.0 <= fleet.sharing.vehicle <= fleet.sharing.joint < 1.0


def test_readings_that_slipped_are_far_from_their_history(fitted, demo_store):
    """Most last readings that truly slipped by more than 0.25 mm are told, and few that did not."""
    con, series, fleet = fitted
    truth = pd.read_csv(demo_store.files.truth["readings"])
    rows = con.execute(
        "select r.vehicle_id, r.position_id, k.life_no, r.direction, l.file_name as file, r.source_row as row, "
        "k.visit_date "
        "from readings as r join loads as l using (load_id) join known_readings as k using (reading_id)"
    ).df()
    rows = rows.merge(truth[["file", "row", "expected_mm", "measured_mm", "slipped"]], on=["file", "row"])
    rows = rows.merge(series, on=["vehicle_id", "position_id", "life_no", "direction"])
    last = rows[rows["visit_date"] == rows.groupby("series")["visit_date"].transform("max")]
    by_series = (
        last.assign(off=(last["measured_mm"] - last["expected_mm"]).abs())
        .groupby("series")
        .agg(slipped=("slipped", "max"), off=("off", "max"))
    )
    z = pd.Series(np.abs(fleet.knowledge.last_z)).reindex(by_series.index)
    told = z[fleet.knowledge.n_visits[by_series.index] >= 4] > 3.5
    by_series = by_series.loc[told.index]
    slipped = (by_series["slipped"] == 1) & (by_series["off"] > 0.25)
    assert slipped.sum() >= 5
    assert told[slipped].mean() > 0.6
    assert told[by_series["slipped"] == 0].mean() < 0.02


def straight_with_normal_errors(ensemble):
    def plain(methods):
        n = len(methods.names)
        none = np.full(n, np.nan)
        return replace(methods, offset=np.zeros(n), ratio=np.ones(n), threshold=none, softness=none)

    fit = ensemble.fit_of("straight")
    errors = ReadingErrors(plain(fit.population.errors.methods))
    return EnsembleResults.of_one(replace(fit, population=replace(fit.population, errors=errors)))


def test_an_unknown_origin_is_the_mixture_over_what_it_may_have_run(fitted):
    """Weights of the shifts equal marginal likelihoods of the readings, computed densely, normalised.

    Errors are taken as normal here, so that the likelihoods have a closed form.
    """
    con, series, fleet = fitted
    known = know_series(
        con, series, {name: straight_with_normal_errors(one).learnt for name, one in fleet.groups.items()}
    )
    unknown = series[(series["origin"] == "unknown") & series["is_current"]]
    assert len(unknown) > 4
    checked = 0
    for row in unknown.itertuples():
        readings = con.execute(
            "select distance_km, play_mm, variance_ratio, is_measured, resolution_mm from fit_input_readings "
            "where series = ? order by distance_km",
            [row.series],
        ).df()
        if len(readings) < 3 or not readings["is_measured"].all():
            continue
        fit = fleet.groups[fleet.knowledge.group[row.series]].fit_of("straight")
        lines = known.lines
        own = lines[(lines["series"] == row.series) & (lines["shape"] == "straight")]
        assert 1 <= len(own) <= 12, "twelve are tried, those of next to no weight are left out"
        assert own["shift_km"].between(0, row.earlier_km_at_most).all()
        H = fit.population.to_user()
        line, _ = fit.population.mean_line(row.cohort)
        mean, cov_re = H @ line.mean, fit.cov_re.to_numpy()
        log_density = []
        for shift in own["shift_km"]:
            Z = np.column_stack([np.ones(len(readings)), readings["distance_km"] + shift])
            V = Z @ cov_re @ Z.T + np.diag(fit.residual_variance * readings["variance_ratio"])
            log_density.append(stats.multivariate_normal.logpdf(readings["play_mm"], Z @ mean, V, allow_singular=True))
        wanted = np.exp(np.array(log_density) - max(log_density))
        got = own["weight"].to_numpy() / own["weight"].sum()
        assert got == pytest.approx(wanted / wanted.sum(), rel=1e-4, abs=1e-9)
        checked += 1
    assert checked >= 3


def test_a_series_of_known_origin_has_one_component_a_shape_but_for_onsets(fitted):
    _, series, fleet = fitted
    known = fleet.knowledge.lines[
        fleet.knowledge.lines["series"].isin(series.loc[series["origin"] != "unknown", "series"])
    ]
    single = known[known["shape"] != "two-stage"]
    assert set(single.groupby(["series", "shape"]).size()) == {1}
    assert (single["pace"] == 1.0).all()
    bent = known[known["shape"] == "two-stage"]
    assert len(bent) > len(single)
    assert not bent.duplicated(["series", "onset_km"]).any()
    assert (bent["pace"] > 1.0).eq(bent["onset_km"] > 0.0).all()


def test_a_series_without_readings_has_the_line_of_its_cohort(fitted):
    con, series, fleet = fitted
    known = know_series(
        con, series, {name: straight_with_normal_errors(one).learnt for name, one in fleet.groups.items()}
    )
    empty = np.flatnonzero((fleet.knowledge.n_visits == 0) & (series["origin"] != "unknown").to_numpy())
    assert len(empty)
    for number in empty[:5]:
        fit = fleet.groups[fleet.knowledge.group[number]].fit_of("straight")
        line, whose = fit.population.mean_line(series["cohort"][number])
        own = known.lines[known.lines["series"] == number].iloc[0]
        wanted = fit.population.to_user() @ line.mean
        assert [own["intercept"], own["growth"]] == pytest.approx(wanted)
        assert fleet.knowledge.reliability[number] == pytest.approx(0.0, abs=1e-9)
        assert (
            fleet.knowledge.whose_line[number]
            == fleet.groups[fleet.knowledge.group[number]].best.population.mean_line(series["cohort"][number])[1]
        )
        assert whose


def test_kinds_with_too_few_readings_are_named_not_guessed(make_store):
    folder = make_store(
        {
            "vehicles": "unit,model,in service date\nA1,Van,2023-01-01",
            "positions": "model,axle,side,place,kind\nVan,front,left,lower,ball joint",
            "readings": "unit,visit date,odometer (km),joint,direction,play (mm)\n"
            "A1,2025-05-01,40000,left front lower ball joint,in-out,0.2",
        }
    )
    with prepared(folder, date(2026, 11, 1)) as (con, series):
        fleet = fit_fleet(con, series)
    assert "ball joint" in fleet.unfitted
    assert "too few" in fleet.unfitted["ball joint"]
    assert fleet.knowledge.lines.empty


def test_series_known_in_blocks_are_known_as_in_one(fitted):
    con, series, fleet = fitted
    kept = []
    known = know_series(
        con, series, {name: one.learnt for name, one in fleet.groups.items()}, block=97, keep=kept.append
    )
    assert known.lines.empty
    assert known.residuals.empty
    assert len(kept) == -(-len(series) // 97) > 5
    order = ["series", "shape", "shift_km", "onset_km"]
    pd.testing.assert_frame_equal(
        pd.concat([part.lines for part in kept]).sort_values(order).reset_index(drop=True),
        fleet.knowledge.lines.sort_values(order).reset_index(drop=True),
        rtol=1e-9,
    )
    for name in ("effect", "reliability", "last_expected_mm", "last_z"):
        np.testing.assert_allclose(getattr(known, name), getattr(fleet.knowledge, name), rtol=1e-9, atol=1e-12)
    for name in ("group", "whose_line", "n_visits"):
        assert (getattr(known, name) == getattr(fleet.knowledge, name)).all()
    for name in ("slips", "falls"):
        one, other = getattr(known, name), getattr(fleet.knowledge, name)
        assert len(one)
        keys = [column for column in ("series", "visit_id", "fell_on") if column in one]
        pd.testing.assert_frame_equal(
            one.sort_values(keys).reset_index(drop=True), other.sort_values(keys).reset_index(drop=True)
        )


def test_what_was_taken_of_a_block_is_not_held_on_to(fitted):
    """The lines of a large fleet are more than memory holds."""
    con, series, fleet = fitted
    taken, held = [], []

    def owner(values):
        while values.base is not None:
            values = values.base
        return values

    def keep(block):
        gc.collect()
        held.append(sum(one() is not None for one in taken))
        taken.extend(weakref.ref(owner(frame.iloc[:, -1].to_numpy())) for frame in (block.lines, block.residuals))

    known = know_series(con, series, {name: one.learnt for name, one in fleet.groups.items()}, block=200, keep=keep)
    gc.collect()
    assert known.lines.empty
    assert len(taken) > 8
    assert max(held) <= 2, "of a block before the last one something is held"
    assert not any(one() is not None for one in taken)


def test_residuals_are_standard_normal_but_for_slips(fitted):
    """Away from slipped setups, readings lie about what the others say as far as is claimed."""
    _, _, fleet = fitted
    found = fleet.knowledge.residuals
    z = found["residual_mm"] / found["sd_mm"]
    assert len(found) > 1000
    assert abs(z.median()) < 0.1
    assert 0.8 < 1.4826 * np.abs(z - z.median()).median() < 1.2
    assert not found.duplicated(["series", "visit_id", "timing"]).any()


def test_knowledge_without_groups_is_empty(fitted):
    con, series, _ = fitted
    assert know_series(con, series, {}).lines.empty


def test_the_same_readings_are_the_same_input_in_the_same_order(demo_store):
    """Sums are added in that order, so that a fit can be made again to the last digit."""
    seen = []
    for _ in range(4):
        with Store(demo_store.folder).reader() as con:
            prepare(con, as_of=demo_store.files.as_of)
            prepare_series(con)
            seen.append(con.execute("select * from fit_input_readings").fetchall())
    assert len(seen[0]) > 1000
    assert all(rows == seen[0] for rows in seen)
