"""Conditional draws follow the mixture's mean and covariance, for every model, with seasons and drift."""

import numpy as np
import pytest
from point_draws import simulate_points
from scipy.special import jv
from test_averaging_sums import vineyard, written_out

from geoprune.geostat import MODELS, correlation, fit_averaged
from geoprune.geostat.spectral import _spherical_table, frequencies


@pytest.mark.parametrize("model", MODELS)
def test_waves_have_the_covariance(model):
    # mean of cos(w h) over the spectral law is the covariance (Bochner)
    rng = np.random.default_rng(1)
    lag = np.array([0.02, 0.1, 0.3, 0.7, 1.0, 1.5, 3.0])
    found = np.mean([np.cos(lag[:, None] * frequencies(model, 128, rng)[:, 0]).mean(axis=1) for _ in range(400)], axis=0)
    assert found == pytest.approx(correlation(lag, 1.0, model), abs=0.01)


def test_spherical_radius_law():
    # density 3 J_3/2(t)^2 / t: the spatial spectrum of overlapping balls (Lantuejoul 2002, Geostatistical Simulation)
    t, law = _spherical_table()
    inner = slice(100, None, 5000)
    slope = np.gradient(law, t)[inner]
    assert slope == pytest.approx(3.0 * jv(1.5, t[inner]) ** 2 / t[inner], rel=1e-3, abs=1e-9)
    assert 1.0 - law[-1] == pytest.approx(3.0 / (np.pi * t[-1]), rel=0.02)


@pytest.mark.parametrize("model", MODELS)
@pytest.mark.parametrize("seasons", [False, True])
def test_draws_have_the_mixtures_mean_and_covariance(model, seasons):
    points, values, settings, targets, drift = vineyard(seasons=seasons)
    fit = fit_averaged(points, values, model=model, **settings)
    mean, covariance = written_out(fit, targets, drift)
    draws, nugget = simulate_points(fit, targets, 4000, seed=2, drift=drift)
    error = np.sqrt(np.diag(covariance))
    assert np.abs((draws.mean(axis=0) - mean) / error).max() < 4.5 / np.sqrt(4000)
    assert np.cov(draws.T) / np.outer(error, error) == pytest.approx(covariance / np.outer(error, error), abs=0.16)
    assert np.mean(draws.var(axis=0) / error**2) == pytest.approx(1.0, abs=0.06)
    assert nugget.mean() == pytest.approx(fit.nugget, rel=0.04)


def test_draws_of_groups_are_averages_of_draws_and_vines_scatter_right():
    points, values, settings, targets, drift = vineyard()
    fit = fit_averaged(points, values, **settings)
    groups = np.arange(30) // 5
    field, nugget = simulate_points(fit, targets, 600, seed=3, drift=drift)
    draws = fit.simulate_groups(targets, groups, 6, 600, seed=3, drift=drift)
    average = (groups[None, :] == np.arange(6)[:, None]) / 5.0
    assert draws.mean == pytest.approx(field @ average.T, abs=1e-5)
    assert draws.nugget == pytest.approx(nugget, rel=1e-12)
    scatter = np.mean((field - draws.mean[:, groups]) ** 2, axis=1) + nugget
    assert np.mean(draws.vine_sd**2) == pytest.approx(np.mean(scatter), rel=0.06)
    assert (draws.vine_sd**2 > draws.nugget).all()


def test_draws_repeat_with_their_seed_and_differ_between_seeds():
    points, values, settings, targets, drift = vineyard()
    fit = fit_averaged(points, values, **settings)
    first, again, other = (simulate_points(fit, targets, 30, seed=s, drift=drift)[0] for s in (5, 5, 6))
    assert (first == again).all()
    assert np.abs(first - other).max() > 0.01


def test_equal_values_give_equal_draws():
    points, values, *_ = vineyard()
    draws, nugget = simulate_points(fit_averaged(points, np.full_like(values, 2.5)), points, 10, seed=1)
    assert draws == pytest.approx(np.full((10, 40), 2.5), abs=1e-9)
    assert nugget == pytest.approx(np.zeros(10), abs=1e-12)
