"""The local method for many samples, against the exact one."""

import numpy as np
import pytest
from kriging_reference import Kriging
from point_draws import covariance_of_groups
from scipy.spatial.distance import cdist

from geoprune.geostat import AveragedKriging, LocalKriging, correlation, fit_averaged, fit_local
from geoprune.geostat.design import make_design, spread_subset
from geoprune.geostat.simulation import GroupDraws

SILL, NUGGET, RANGE_M = 0.06, 0.03, 45.0


def dense(count=1200, seed=1):
    rng = np.random.default_rng(seed)
    points = rng.uniform(0, 300, (count, 2))
    covariance = SILL * correlation(cdist(points, points), RANGE_M) + NUGGET * np.eye(count)
    return points, 1.0 + np.linalg.cholesky(covariance) @ rng.standard_normal(count), rng.uniform(5, 295, (60, 2))


def local_of(points, values, *, trend=(), neighbours=48, **design):
    return LocalKriging(
        make_design(points, values, **design), np.array(trend, float), SILL, NUGGET, RANGE_M, 1.0, neighbours
    )


def exact_of(points, values):
    ones = np.ones(len(values))
    return Kriging(points, values, ones[:, None], ones, SILL, NUGGET, RANGE_M)


def blocks(exact, points, groups):
    answers = np.array([exact.predict_block(points[groups == g]) for g in np.unique(groups)])
    return answers[:, 0], answers[:, 1]


def test_points_come_close_to_the_exact_answer():
    points, values, targets = dense(2800)
    mean, variance = exact_of(points, values).predict(targets)
    near_mean, near_variance = local_of(points, values).predict(targets)
    assert np.sqrt(np.mean((near_mean - mean) ** 2)) < 0.05 * np.sqrt(variance.mean())
    assert near_variance == pytest.approx(variance, rel=0.03)
    assert (near_variance > variance - 1e-12).all()


def test_panels_and_zones_come_close_to_the_exact_answer():
    points, values, targets = dense(900)
    exact, local = exact_of(points, values), local_of(points, values)
    panels = (targets[:, None, :] + np.array([[-3.0, 0.0], [0.0, 0.0], [3.0, 0.0]])).reshape(-1, 2)
    mean, variance = local.group_means(panels, np.arange(180) // 3, 61)
    answers = blocks(exact, panels, np.arange(180) // 3)
    assert np.sqrt(np.mean((mean[:60] - answers[0]) ** 2)) < 0.05 * np.sqrt(variance[:60].mean())
    assert variance[:60] == pytest.approx(answers[1], rel=0.04)
    assert np.isnan(mean[60])
    lattice = np.stack(np.meshgrid(np.arange(20, 160, 9.0), np.arange(20, 260, 9.0)), axis=-1).reshape(-1, 2)
    wide = local.group_means(lattice, np.zeros(len(lattice), int), 1)
    block = exact.predict_block(lattice)
    assert wide[0][0] == pytest.approx(block[0], abs=0.5 * np.sqrt(block[1]))
    assert block[1] < wide[1][0] < 1.2 * block[1]
    assert wide[0][0] == pytest.approx(local.predict(lattice)[0].mean(), rel=1e-12)


def test_joint_errors_and_draws_come_close_to_the_exact_answer():
    points, values, _ = dense(900)
    local = local_of(points, values)
    panels = np.stack(np.meshgrid(np.arange(60, 160, 4.0), np.arange(60, 160, 9.0)), axis=-1).reshape(-1, 2)
    groups = np.arange(len(panels)) // 5
    draws = 600
    one = fit_averaged(points, values, ranges=np.array([RANGE_M]), shares=np.array([NUGGET / (SILL + NUGGET)]))
    joint = covariance_of_groups(one, panels, np.arange(len(panels)), len(panels))[1] * (SILL + NUGGET)
    joint /= one.sill + one.nugget
    assert local.error_covariance(panels) == pytest.approx(joint, abs=0.03 * joint.max())
    drawn = local.simulate_groups(panels, groups, groups[-1] + 1, draws, seed=3)
    mean, variance = local.group_means(panels, groups, groups[-1] + 1)
    assert isinstance(drawn, GroupDraws)
    assert np.abs(drawn.mean.mean(axis=0) - mean).max() < 5.0 * np.sqrt(variance.max() / draws)
    assert np.mean(drawn.mean.var(axis=0) / variance) == pytest.approx(1.0, abs=0.05)
    whole = exact_of(points, values).predict_block(panels)
    assert drawn.mean.mean(axis=1).var() == pytest.approx(whole[1], rel=0.2)
    assert (drawn.nugget == NUGGET).all()


def test_with_all_samples_near_it_is_the_exact_method():
    points, values, targets = dense(60)
    exact, local = exact_of(points, values), local_of(points, values, neighbours=60)
    for target in ("signal", "new", "exact"):
        there = np.vstack([targets, points[:3]])
        for ours, theirs in zip(local.predict(there, target=target), exact.predict(there, target=target), strict=True):
            assert ours == pytest.approx(theirs, rel=1e-8, abs=1e-12)
    groups = np.arange(60) // 20
    for ours, theirs in zip(local.group_means(targets, groups, 3), blocks(exact, targets, groups), strict=True):
        assert ours == pytest.approx(theirs, rel=1e-8)
    assert local.leave_one_out()[0] == pytest.approx(exact.leave_one_out()[0], rel=1e-8)


def test_with_all_samples_near_seasons_are_the_exact_method_too():
    points, values, targets = dense(50)
    season = np.where(np.arange(50) < 20, 2025, 2024)
    drift = np.column_stack([np.ones(50), season == 2024])
    settings = {"ranges": np.array([RANGE_M]), "shares": np.array([1 / 3]), "persistent_shares": (0.5,)}
    exact = fit_averaged(points, values, drift=drift, season=season, target_drift=np.array([1.0, 0.0]), **settings)
    design = make_design(points, values, drift=drift, season=season)
    local = LocalKriging(design, exact.coefficients[1:], exact.sill, exact.nugget, RANGE_M, 0.5, 50)
    mean, variance = exact.predict(targets)
    near = local.predict(targets)
    assert near[0] == pytest.approx(mean, rel=1e-8)
    # the level of the other season counts as known, so a little less is left to know
    assert near[1] == pytest.approx(variance, rel=0.1)
    assert (near[1] <= variance + 1e-12).all()


def test_few_readings_of_this_season_are_not_crowded_out():
    points, values, targets = dense(1000)
    season = np.where(np.arange(1000) < 30, 2025, 2024)
    drift = np.column_stack([np.ones(1000), season == 2024])
    design = make_design(points, values, drift=drift, season=season)
    local = LocalKriging(design, np.zeros(1), SILL, NUGGET, RANGE_M, 0.5, 48)
    index = local._nearest(targets, 48)
    assert index.shape == (60, 48)
    assert (season[index] == 2025).sum(axis=1).tolist() == [24] * 60
    assert local._nearest(targets, 80).shape == (60, 80)
    assert all(len(np.unique(row)) == 48 for row in index)


def test_a_trend_is_carried():
    points, values, targets = dense(900)
    drift = np.column_stack([np.ones(900), points[:, 0]])
    local = local_of(points, values + 0.01 * points[:, 0], drift=drift, trend=[0.01])
    plain = local_of(points, values)
    there = np.column_stack([np.ones(60), targets[:, 0]])
    assert local.predict(targets, there)[0] == pytest.approx(plain.predict(targets)[0] + 0.01 * targets[:, 0], rel=1e-9)
    groups = np.arange(60) // 2
    shifted = plain.group_means(targets, groups, 30)[0] + 0.01 * targets[:, 0].reshape(30, 2).mean(axis=1)
    assert local.group_means(targets, groups, 30, there)[0] == pytest.approx(shifted, rel=1e-9)
    assert local.leave_one_out()[0] == pytest.approx(plain.leave_one_out()[0] + 0.01 * points[:, 0], rel=1e-9)
    drawn = local.simulate_groups(targets, groups, 30, 40, seed=1, drift=there)
    alone = plain.simulate_groups(targets, groups, 30, 40, seed=1)
    assert drawn.mean - shifted == pytest.approx(alone.mean - plain.group_means(targets, groups, 30)[0], abs=1e-9)
    assert (drawn.vine_sd > alone.vine_sd).all()


def test_parameters_come_from_a_subset_with_close_pairs():
    points, values, _ = dense(1500, seed=3)
    fit = fit_local(points, values)
    assert isinstance(fit.learned, AveragedKriging)
    assert fit.nugget == pytest.approx(NUGGET, rel=0.35)
    assert fit.sill / fit.range_m == pytest.approx(SILL / RANGE_M, rel=0.5)
    part = spread_subset(points, 600)
    assert len(np.unique(part)) == 600
    nearest = np.sort(cdist(points[part], points[part]), axis=1)[:, 1]
    assert np.median(nearest) < 0.75 * np.median(np.sort(cdist(points[:600], points[:600]), axis=1)[:, 1])
    assert spread_subset(points[:50], 600).tolist() == list(range(50))


def test_many_readings_keep_few_ranges_and_still_predict():
    points, values, targets = dense(1100, seed=4)
    fit = fit_averaged(points, values, ranges=np.array([20.0, 45.0, 90.0]))
    mean, variance = fit.predict(targets)
    assert len(fit.surface.ranges) == 3
    assert np.sqrt(np.mean((mean - exact_of(points, values).predict(targets)[0]) ** 2)) < 0.3 * np.sqrt(variance.mean())
