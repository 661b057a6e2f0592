"""The mixture equals the sum over its nodes written out, and its shortcuts equal refitting."""

from functools import partial

import numpy as np
import pytest
from point_draws import covariance_of_groups
from scipy.spatial.distance import cdist

from geoprune.geostat import MODELS, averaging, correlation, fit_averaged, reml_surface
from geoprune.geostat.pairs import average_correlation

FAR = np.array([5e5, 4.7e6])


def vineyard(seed=0, *, seasons=False, covariate=True):
    rng = np.random.default_rng(seed)
    points = rng.uniform(0, 200, (40, 2)) + FAR
    elevation = rng.normal(100.0, 1.0, 40)
    values = 1.0 + (points[:, 0] - 5e5) / 300 + rng.normal(0, 0.2, 40) + 0.01 * elevation
    season = np.repeat([2024, 2025], [15, 25])
    columns = [np.ones(40)] + ([elevation] if covariate else []) + ([season == 2024] if seasons else [])
    targets = rng.uniform(0, 200, (30, 2)) + FAR
    there = [np.ones(30)] + ([rng.normal(100.0, 1.0, 30)] if covariate else []) + ([np.zeros(30)] if seasons else [])
    settings = {"drift": np.column_stack(columns).astype(float), "noise": 1.0 / rng.integers(1, 4, 40)}
    if seasons:
        settings["season"] = season
    return points, values, settings, targets, np.column_stack(there)


def written_out(fit, targets, drift):
    """Mean and covariance of the targets: each node by inverses, then the mixture."""
    design, means, covariances = fit.design, [], []
    place = design.locate(targets)
    for node in fit.nodes:
        share = node.persistent_share
        inverse = np.linalg.inv(
            node.sill * correlation(cdist(design.place, design.place), node.range_m, design.model) * design.sharing(share)
            + np.diag(node.nugget * design.noise)
        )
        cross = node.sill * correlation(cdist(design.place, place), node.range_m, design.model)
        cross *= np.where(design.season == design.target_season, 1.0, share)[:, None]
        normal = np.linalg.inv(design.drift.T @ inverse @ design.drift)
        beta = normal @ design.drift.T @ inverse @ design.values
        lack = drift.T - design.drift.T @ inverse @ cross
        means.append(drift @ beta + cross.T @ inverse @ (design.values - design.drift @ beta))
        own = node.sill * correlation(cdist(place, place), node.range_m, design.model)
        covariances.append(own - cross.T @ inverse @ cross + lack.T @ normal @ lack)
    mean = fit.weights @ np.array(means)
    spread = np.array(means) - mean
    return mean, np.einsum("k,kij->ij", fit.weights, covariances) + np.einsum("k,ki,kj->ij", fit.weights, spread, spread)


@pytest.mark.parametrize("model", MODELS)
@pytest.mark.parametrize("seasons", [False, True])
def test_points_groups_and_contrasts_are_the_sum_over_nodes(model, seasons):
    points, values, settings, targets, drift = vineyard(seasons=seasons)
    fit = fit_averaged(points, values, model=model, anisotropy=(30.0, 0.5), **settings)
    mean, covariance = written_out(fit, targets, drift)
    ours = fit.predict(targets, drift)
    assert ours[0] == pytest.approx(mean, rel=1e-10)
    assert ours[1] == pytest.approx(np.diag(covariance), rel=1e-9)
    groups = np.random.default_rng(1).permutation(np.arange(30) // 3)
    average = (groups[None, :] == np.arange(10)[:, None]) / 3.0
    block = fit.group_means(targets, groups, 10, drift)
    assert block[0] == pytest.approx(average @ mean, rel=1e-10)
    assert block[1] == pytest.approx(np.diag(average @ covariance @ average.T), rel=1e-9)
    joint = covariance_of_groups(fit, targets, groups, 10, drift)
    assert joint[0] == pytest.approx(average @ mean, rel=1e-10)
    assert joint[1] == pytest.approx(average @ covariance @ average.T, rel=1e-9)


def test_points_in_no_group_do_not_count_and_an_empty_group_is_nan():
    points, values, settings, targets, _ = vineyard(covariate=False)
    fit = fit_averaged(points, values, **settings)
    groups = np.where(np.arange(30) < 12, np.arange(30) % 3, -1)
    groups[groups == 1] = 3
    mean, variance = fit.group_means(targets, groups, 5)
    assert np.isnan(mean).tolist() == np.isnan(variance).tolist() == [False, True, False, False, True]
    alone = fit.group_means(targets[:12][groups[:12] == 3], np.zeros(4, int), 1)
    assert (mean[3], variance[3]) == pytest.approx((alone[0][0], alone[1][0]), rel=1e-12)
    draws = fit.simulate_groups(targets, groups, 5, 20, seed=1)
    assert np.isnan(draws.mean).all(axis=0).tolist() == [False, True, False, False, True]


def test_pairs_of_large_groups_are_counted_with_little_loss():
    rng = np.random.default_rng(2)
    lattice = np.stack(np.meshgrid(np.arange(0, 120, 2.7), np.arange(0, 80, 1.6)), axis=-1).reshape(-1, 2)
    scatter = rng.uniform(0, 60, (700, 2)) + np.array([100.0, 0.0])
    ranges = np.array([3.0, 20.0, 120.0])
    for model in MODELS:
        within, between = (average_correlation(lattice, other, ranges, model) for other in (None, scatter))
        for i, range_m in enumerate(ranges):
            all_within = correlation(cdist(lattice, lattice), range_m, model).mean()
            all_between = correlation(cdist(lattice, scatter), range_m, model).mean()
            assert within[i] == pytest.approx(all_within, rel=2e-3, abs=1e-5)
            assert between[i] == pytest.approx(all_between, rel=2e-3, abs=1e-5)


def test_a_large_group_is_the_sum_over_nodes_too():
    points, values, settings, _, _ = vineyard(covariate=False)
    fit = fit_averaged(points, values, **settings)
    lattice = np.stack(np.meshgrid(np.arange(0, 120, 4.7), np.arange(0, 80, 4.1)), axis=-1).reshape(-1, 2) + FAR
    mean, variance = fit.group_means(lattice, np.zeros(len(lattice), int), 1)
    expected, covariance = written_out(fit, lattice, np.ones((len(lattice), 1)))
    assert len(lattice) > 400
    assert mean[0] == pytest.approx(expected.mean(), rel=1e-10)
    assert variance[0] == pytest.approx(covariance.mean(), rel=2e-3)


def test_leaving_one_out_equals_refitting_without_it(monkeypatch):
    # nodes weighed anew: the same mixture as a fit to the other 39, on the same grid and without pruning
    monkeypatch.setattr("geoprune.geostat.averaging._families", partial(averaging._families, kept=1.0))
    points, values, settings, _, _ = vineyard()
    ranges = np.geomspace(5.0, 250.0, 12)
    fit = fit_averaged(points, values, ranges=ranges, **settings)
    mean, variance = fit.leave_one_out()
    for i in (0, 7, 21, 33):
        rest = np.arange(40) != i
        others = fit_averaged(
            points[rest], values[rest], drift=settings["drift"][rest], noise=settings["noise"][rest], ranges=ranges
        )
        again = others.predict(points[i : i + 1], settings["drift"][i : i + 1])
        assert mean[i] == pytest.approx(again[0][0], rel=1e-10)
        assert variance[i] == pytest.approx(again[1][0] + others.nugget * settings["noise"][i], rel=1e-9)
    fixed = fit.leave_one_out(parameters="fixed")
    assert np.mean((values - fixed[0]) ** 2) < np.mean((values - mean) ** 2) * 1.05


def test_a_reading_alone_in_its_season_cannot_be_left_out():
    points, values, _, _, _ = vineyard()
    season = np.r_[2023, np.full(39, 2025)]
    drift = np.column_stack([np.ones(40), season == 2023]).astype(float)
    mean, _ = fit_averaged(points, values, drift=drift, season=season).leave_one_out()
    assert np.isnan(mean).tolist() == [True] + [False] * 39


def test_an_earlier_season_sharpens_the_map_as_far_as_it_persists():
    rng = np.random.default_rng(8)
    places = rng.uniform(0, 200, (90, 2))
    pattern = np.sin(places[:, 0] / 40.0) * 0.4
    values = 1.0 + pattern + rng.normal(0, 0.15, 90)
    season = np.repeat([2024, 2025], [60, 30])
    drift = np.column_stack([np.ones(90), season == 2024]).astype(float)
    both = fit_averaged(places, values, drift=drift, season=season)
    alone = fit_averaged(places[60:], values[60:])
    targets = rng.uniform(10, 190, (200, 2))
    truth = 1.0 + np.sin(targets[:, 0] / 40.0) * 0.4
    errors = [np.sqrt(np.mean((fit.predict(targets)[0] - truth) ** 2)) for fit in (both, alone)]
    assert errors[0] < 0.8 * errors[1]
    assert both.surface.persistent_share == 1.0
    values[:60] = 1.0 - pattern[:60] + rng.normal(0, 0.15, 60)
    unlike = fit_averaged(places, values, drift=drift, season=season)
    assert unlike.surface.persistent_share == 0.0


def test_no_prior_is_in_what_a_fit_says():
    rng = np.random.default_rng(9)
    points, values = rng.uniform(0, 200, (25, 2)), rng.normal(1, 0.3, 25)
    plain = fit_averaged(points, values)
    believed = np.broadcast_to(-plain.surface.ranges[:, None] / 50.0, plain.likelihood.shape)
    weighted = fit_averaged(points, values, log_prior=believed)
    assert weighted.weights.max() != pytest.approx(plain.weights.max(), rel=1e-3)
    assert weighted.likelihood == pytest.approx(plain.likelihood, rel=1e-12)
    surface = plain.surface.loglik
    assert plain.likelihood == pytest.approx(np.exp(surface) / np.exp(surface).sum(), rel=1e-9)


def test_pruned_nodes_hardly_matter():
    points, values, settings, targets, drift = vineyard()
    fit = fit_averaged(points, values, **settings)
    surface = reml_surface(points, values, drift=settings["drift"], noise=settings["noise"])
    assert fit.surface.loglik == pytest.approx(surface.loglik, abs=1e-9)
    weight = surface.weights()
    assert 0.998 < sum(np.sort(weight.ravel())[::-1][: len(fit.nodes)]) <= 1.0
    assert fit.weights.sum() == pytest.approx(1.0)
    assert len(fit.nodes) < weight.size
    assert (fit.predict(targets, drift)[1] > 0).all()


def test_exact_target_gives_this_seasons_readings_back():
    points, values, settings, _, _ = vineyard(seasons=True, covariate=False)
    fit = fit_averaged(points, values, **settings)
    mean, variance = fit.predict(points, target="exact")
    assert mean[15:] == pytest.approx(values[15:], rel=1e-14)
    assert (variance[15:] == 0).all()
    assert (variance[:15] > 0).all()
