"""Likelihood fits against published rows and an independent optimiser."""

import numpy as np
import pytest
from likelihood_peak import maximise_likelihood
from scipy.optimize import minimize
from scipy.spatial.distance import cdist
from worked_examples import TOPO, meuse

from geoprune.geostat import correlation, reml_surface

# R nlme's gls on Meuse log(zinc) where it converges, the same likelihood maximised from many starts where it does not:
# mean, model, method, nugget, sill, range, log likelihood (Pinheiro & Bates 2000 for the constant)
ROWS = [
    ("constant", "spherical", "ml", 0.03322327, 0.69614403, 1200.511449, -97.88064618),
    ("constant", "spherical", "reml", 0.03724695, 1.65414848, 3030.684668, -97.45809192),
    ("constant", "exponential", "ml", 0.03465562, 1.84991608, 2144.916079, -99.12877762),
    ("river", "exponential", "ml", 0.04524632, 0.14326117, 169.799028, -74.92046627),
    ("river", "exponential", "reml", 0.04871164, 0.14902584, 192.514140, -77.17210614),
    ("river", "spherical", "ml", 0.06424574, 0.12192087, 417.934236, -74.10407411),
    ("river", "spherical", "reml", 0.06415582, 0.12729050, 429.239493, -76.64206990),
]


def drift_of(mean, root):
    return np.ones((155, 1)) if mean == "constant" else np.column_stack([np.ones(155), root])


@pytest.mark.parametrize(("mean", "model", "method", "nugget", "sill", "range_m", "loglik"), ROWS)
def test_meuse_rows(mean, model, method, nugget, sill, range_m, loglik):
    points, values, root, _ = meuse()
    peak = maximise_likelihood(
        points, values, drift=drift_of(mean, root), model=model, method=method, bounds=(50.0, 10_000.0)
    )
    assert peak.loglik == pytest.approx(loglik, abs=1e-6)
    assert (peak.nugget, peak.sill, peak.range_m) == pytest.approx((nugget, sill, range_m), rel=1e-4)
    assert not peak.at_bound


def test_with_the_range_given():
    # the optimum at a range of 900 m that gstat's iterative fit stops short of
    points, values, *_ = meuse()
    peak = maximise_likelihood(points, values, model="spherical", bounds=(900.0, 900.0))
    assert peak.loglik == pytest.approx(-101.58640, abs=5e-6)
    assert (peak.nugget, peak.sill, peak.range_m) == pytest.approx((0.0272496, 0.5929191, 900.0), rel=1e-4)


def test_a_range_the_data_do_not_bound_is_reported():
    # on Meuse with a constant mean the exponential REML has no interior maximum: still rising at a range of 2.7e9 m
    points, values, *_ = meuse()
    peak = maximise_likelihood(points, values, bounds=(50.0, 10_000.0))
    assert peak.at_bound
    assert peak.range_m == pytest.approx(10_000.0)
    assert -97.9 < peak.loglik < -97.76458136


@pytest.mark.parametrize(
    ("mean", "method", "variance", "loglik"),
    [
        ("constant", "reml", 0.5211122601, -170.85043284),
        ("constant", "ml", None, -168.92014405),
        ("river", "reml", 0.1894656261, -93.39061726),
        ("river", "ml", None, -90.00402108),
    ],
)
def test_without_a_field_it_is_least_squares(mean, method, variance, loglik):
    # R nlme, gls without correlation
    points, values, root, _ = meuse()
    peak = maximise_likelihood(points, values, drift=drift_of(mean, root), method=method, nugget_share=1.0)
    assert peak.loglik == pytest.approx(loglik, abs=1e-6)
    if variance is not None:
        assert peak.nugget == pytest.approx(variance, abs=1e-9)


@pytest.mark.parametrize(
    ("linear", "beta", "nugget", "sill", "phi", "loglik"),
    [
        (False, [848.31411017], 48.0748337, 3511.41147, 1.19850752, -242.10158344),
        (True, [912.48642682, -4.99038218, -16.46416343], 34.8797963, 1693.15742, 0.806120401, -240.08054455),
    ],
)
def test_heights_of_davis(linear, beta, nugget, sill, phi, loglik):
    # Diggle & Ribeiro 2007, Model-based Geostatistics: Matern 3/2; printed 848.3, 48.1, 3510.2, 1.198, -242.1 and
    # (912.5, -5.0, -16.5), 34.9, 1693.1, 0.81, -240.1; more digits from an independent maximisation
    points, heights = TOPO[:, :2], TOPO[:, 2]
    drift = np.column_stack([np.ones(52), points]) if linear else None
    peak = maximise_likelihood(points, heights, drift=drift, model="matern32", method="ml", bounds=(0.2, 20.0))
    assert peak.loglik == pytest.approx(loglik, abs=1e-6)
    assert peak.beta == pytest.approx(beta, rel=1e-4)
    assert (peak.nugget, peak.sill, peak.range_m / np.sqrt(3.0)) == pytest.approx((nugget, sill, phi), rel=2e-4)


def direct_reml(parameters, points, values, drift, noise, model):
    """Log likelihood from its definition, no parameter profiled out."""
    log_sill, log_nugget, log_range = parameters
    field = np.exp(log_sill) * correlation(cdist(points, points), np.exp(log_range), model)
    covariance = field + np.diag(np.exp(log_nugget) * noise)
    inverse = np.linalg.inv(covariance)
    normal = drift.T @ inverse @ drift
    rest = values - drift @ np.linalg.solve(normal, drift.T @ inverse @ values)
    log_determinant = np.linalg.slogdet(covariance)[1] + np.linalg.slogdet(normal)[1]
    return -0.5 * ((len(values) - drift.shape[1]) * np.log(2 * np.pi) + log_determinant + rest @ inverse @ rest)


@pytest.mark.parametrize("model", ["exponential", "matern52"])
def test_an_independent_optimiser_finds_the_same_peak(model):
    rng = np.random.default_rng(11)
    points, noise = rng.uniform(0, 300, (70, 2)), 1.0 / rng.integers(1, 4, 70)
    covariance = 0.06 * correlation(cdist(points, points), 60.0, model) + np.diag(0.03 * noise)
    values = 1.0 + np.linalg.cholesky(covariance) @ rng.standard_normal(70)
    drift = np.column_stack([np.ones(70), points[:, 0]])
    peak = maximise_likelihood(points, values, drift=drift, noise=noise, model=model, bounds=(5.0, 900.0))
    start = np.log([peak.sill * 1.6, peak.nugget * 0.7, peak.range_m * 1.4])
    found = minimize(
        lambda v: -direct_reml(v, points, values, drift, noise, model),
        start,
        method="Nelder-Mead",
        options={"xatol": 1e-9, "fatol": 1e-12, "maxiter": 4000, "maxfev": 4000},
    )
    assert peak.loglik == pytest.approx(-found.fun, abs=1e-8)
    assert np.log([peak.sill, peak.nugget, peak.range_m]) == pytest.approx(found.x, abs=1e-4)


def test_the_surface_is_the_definition_at_every_node():
    rng = np.random.default_rng(12)
    points, noise = rng.uniform(0, 300, (25, 2)), 1.0 / rng.integers(1, 4, 25)
    values, drift = rng.normal(1.0, 0.3, 25), np.column_stack([np.ones(25), rng.normal(100.0, 3.0, 25)])
    surface = reml_surface(points, values, drift=drift, noise=noise, model="spherical")
    for i, j in [(0, 0), (5, 3), (12, 8), (19, 10)]:
        share, total = surface.shares[j], surface.total_variance[i, j]
        parameters = np.log([total * (1 - share), total * share, surface.ranges[i]])
        direct = direct_reml(parameters, points, values, drift, noise, "spherical")
        assert surface.loglik[i, j] == pytest.approx(direct, abs=1e-8)
    assert surface.null == pytest.approx(surface.loglik[:, -1].max(), abs=1e-9)


def test_unknown_method_is_refused():
    with pytest.raises(ValueError, match="reml"):
        maximise_likelihood(np.zeros((9, 2)), np.ones(9), method="map")
