"""The local method for many samples, against the exact one."""

import numpy as np
import pytest
from scipy.spatial.distance import cdist

from geoprune.geostat import Kriging, LocalKriging, correlation, fit_averaged, fit_local
from geoprune.geostat.local import spread_subset


def dense(count=1200, seed=1):
    rng = np.random.default_rng(seed)
    points = rng.uniform(0, 300, (count, 2))
    covariance = 0.06 * correlation(cdist(points, points), 45.0) + 0.03 * np.eye(count)
    return points, 1.0 + np.linalg.cholesky(covariance) @ rng.standard_normal(count), rng.uniform(5, 295, (60, 2))


def both(points, values, drift=None, trend=()):
    ones = np.ones(len(values))
    exact_drift = ones[:, None] if drift is None else drift
    exact = Kriging(points, values, exact_drift, ones, 0.06, 0.03, 45.0)
    return exact, LocalKriging(points, values, exact_drift, ones, np.array(trend, float), 0.06, 0.03, 45.0)


def test_points_come_close_to_the_exact_answer():
    points, values, targets = dense()
    exact, local = both(points, values)
    (mean, variance), (near_mean, near_variance) = exact.predict(targets), local.predict(targets)
    assert np.sqrt(np.mean((near_mean - mean) ** 2)) < 0.05 * np.sqrt(variance.mean())
    assert near_variance == pytest.approx(variance, rel=0.03)
    assert (near_variance > variance - 1e-12).all()


def test_groups_come_close_to_the_exact_answer():
    points, values, targets = dense()
    exact, local = both(points, values)
    panels = (targets[:, None, :] + np.array([[-3.0, 0.0], [0.0, 0.0], [3.0, 0.0]])).reshape(-1, 2)
    mean, variance = local.group_means(panels, np.arange(180) // 3, 61)
    answers = np.array([exact.predict_block(panels[3 * g : 3 * g + 3]) for g in range(60)])
    assert np.sqrt(np.mean((mean[:60] - answers[:, 0]) ** 2)) < 0.05 * np.sqrt(variance[:60].mean())
    assert variance[:60] == pytest.approx(answers[:, 1], rel=0.04)
    assert np.isnan(mean[60])
    lattice = np.stack(np.meshgrid(np.arange(20, 160, 6.0), np.arange(20, 260, 6.0)), axis=-1).reshape(-1, 2)
    wide = local.group_means(lattice, np.zeros(len(lattice), int), 1)
    block = exact.predict_block(lattice)
    assert wide[0][0] == pytest.approx(block[0], abs=2.5 * np.sqrt(block[1]))
    assert 0.9 * block[1] < wide[1][0] < 4.0 * block[1]


def test_with_all_samples_near_it_is_the_exact_method():
    points, values, targets = dense(60)
    exact, _ = both(points, values)
    ones = np.ones(60)
    local = LocalKriging(points, values, ones[:, None], ones, np.empty(0), 0.06, 0.03, 45.0, neighbours=60)
    for target in ("signal", "new", "exact"):
        there = np.vstack([targets, points[:3]])
        for ours, theirs in zip(local.predict(there, target=target), exact.predict(there, target=target), strict=True):
            assert ours == pytest.approx(theirs, rel=1e-8, abs=1e-12)
    groups = np.arange(60) // 20
    for ours, theirs in zip(local.group_means(targets, groups, 3), _blocks(exact, targets, groups), strict=True):
        assert ours == pytest.approx(theirs, rel=1e-8)
    assert local.leave_one_out()[0] == pytest.approx(exact.leave_one_out()[0], rel=1e-8)


def _blocks(exact, targets, groups):
    answers = np.array([exact.predict_block(targets[groups == g]) for g in range(3)])
    return answers[:, 0], answers[:, 1]


def test_a_trend_is_carried():
    points, values, targets = dense(900)
    drift = np.column_stack([np.ones(900), points[:, 0]])
    _, local = both(points, values + 0.01 * points[:, 0], drift, [0.01])
    _, plain = both(points, values)
    there = np.column_stack([np.ones(60), targets[:, 0]])
    assert local.predict(targets, there)[0] == pytest.approx(plain.predict(targets)[0] + 0.01 * targets[:, 0], rel=1e-9)
    groups = np.arange(60) // 2
    shifted = plain.group_means(targets, groups, 30)[0] + 0.01 * targets[:, 0].reshape(30, 2).mean(axis=1)
    assert local.group_means(targets, groups, 30, there)[0] == pytest.approx(shifted, rel=1e-9)
    assert local.leave_one_out()[0] == pytest.approx(plain.leave_one_out()[0] + 0.01 * points[:, 0], rel=1e-9)


def test_parameters_come_from_a_subset_with_close_pairs():
    points, values, _ = dense(1500, seed=3)
    fit = fit_local(points, values)
    assert fit.nugget == pytest.approx(0.03, rel=0.35)
    assert fit.sill / fit.range_m == pytest.approx(0.06 / 45.0, rel=0.5)
    part = spread_subset(points, 600)
    assert len(np.unique(part)) == 600
    nearest = np.sort(cdist(points[part], points[part]), axis=1)[:, 1]
    assert np.median(nearest) < 0.75 * np.median(np.sort(cdist(points[:600], points[:600]), axis=1)[:, 1])
    assert spread_subset(points[:50], 600).tolist() == list(range(50))


def test_many_readings_keep_few_ranges_and_still_predict():
    points, values, targets = dense(1100, seed=4)
    fit = fit_averaged(points, values, ranges=np.array([20.0, 45.0, 90.0]))
    mean, variance = fit.predict(targets)
    exact, _ = both(points, values)
    assert len(fit.surface.ranges) == 3
    assert np.sqrt(np.mean((mean - exact.predict(targets)[0]) ** 2)) < 0.3 * np.sqrt(variance.mean())
