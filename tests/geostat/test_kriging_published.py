"""The engine against published worked examples and reference libraries."""

from importlib.util import find_spec
from pathlib import Path

import numpy as np
import pytest

from geoprune.geostat import Kriging, fit_averaged, null_ratios, reml_surface
from geoprune.geostat.reml import range_grid


def meuse():
    """Meuse topsoil (Rikken & Van Rijn 1993; Pebesma & Bivand 2005), as scikit-gstat carries it."""
    folder = Path(find_spec("skgstat").origin).parent / "data" / "samples" / "meuse.txt"
    table = np.genfromtxt(folder, delimiter=",", names=True)
    return np.column_stack([table["x"], table["y"]]), np.log(table["zinc"])


GRID = np.array([[181180, 333740], [180620, 332500], [179700, 331860], [178860, 330740], [179220, 329820]], float)


def spherical(points, values):
    ones = np.ones(len(points))
    return Kriging(points, values, ones[:, None], ones, 0.59060780, 0.05066243, 897.0209, "spherical")


def test_meuse_ordinary_kriging_equals_gstat():
    # gstat 2.1.0 (Pebesma 2004, C&G 30:683-691), five cells of meuse.grid, published spherical fit
    mean, variance = spherical(*meuse()).predict(GRID, target="new")
    assert mean == pytest.approx([6.4996240794, 6.3365868770, 5.3800842914, 6.6598332177, 6.0351139693], abs=1e-8)
    assert variance == pytest.approx([0.3198083941, 0.1396497564, 0.1678375901, 0.1426469828, 0.1613606597], abs=1e-8)


def test_meuse_leave_one_out_equals_gstat_refit():
    # gstat krige.cv on the same model; closed form of Dubrule 1983, Math. Geol. 15:687-699
    points, values = meuse()
    predicted, variance = spherical(points, values).leave_one_out()
    assert predicted[:3] == pytest.approx([6.76825637493, 6.76659924412, 6.29657817454], abs=1e-9)
    assert variance[:3] == pytest.approx([0.181087000926, 0.175759308657, 0.182847733910], abs=1e-9)
    residual = values - predicted
    assert np.sqrt(np.mean(residual**2)) == pytest.approx(0.391803506427, abs=1e-9)
    assert np.mean(residual**2 / variance) == pytest.approx(0.818545556453, abs=1e-9)


def test_seven_point_textbook_case():
    # Isaaks & Srivastava 1989, ch. 12: data of the geoR set `isaaks`; book prints 592.7 and 8.96
    points = np.array([[61, 139], [63, 140], [64, 129], [68, 128], [71, 140], [73, 141], [75, 128]], float)
    values = np.array([477, 696, 227, 646, 606, 791, 783], float)
    node = Kriging(points, values, np.ones((7, 1)), np.ones(7), 10.0, 0.0, 10.0 / 3.0)
    mean, variance = node.predict(np.array([[65.0, 137.0]]))
    assert mean[0] == pytest.approx(592.72894279, abs=1e-6)
    assert variance[0] == pytest.approx(8.95605279, abs=1e-7)


def test_reml_loglik_equals_nlme_without_field():
    # R nlme, log(zinc), constant mean, no field: REML log likelihood -170.85043284, variance 0.5211122601
    points, values = meuse()
    ones = np.ones(len(values))
    surface = reml_surface(points, values, drift=ones[:, None], noise=ones, ranges=np.array([500.0]))
    assert surface.null == pytest.approx(-170.85043284, abs=1e-6)
    assert surface.total_variance[0, -1] == pytest.approx(0.5211122601, abs=1e-9)


def test_agrees_with_gstools_and_pykrige():
    gstools = pytest.importorskip("gstools")
    from pykrige.ok import OrdinaryKriging

    rng = np.random.default_rng(4)
    points, values = rng.uniform(0, 300, (40, 2)), rng.normal(1.0, 0.3, 40)
    targets = rng.uniform(0, 300, (25, 2))
    ours = Kriging(points, values, np.ones((40, 1)), np.ones(40), 0.07, 0.02, 60.0).predict(targets, target="new")
    model = gstools.Exponential(dim=2, var=0.07, len_scale=60.0, nugget=0.02)
    theirs = gstools.krige.Ordinary(model, points.T, values)(targets.T, return_var=True)
    assert ours[0] == pytest.approx(theirs[0], rel=1e-8)
    assert ours[1] == pytest.approx(theirs[1], rel=1e-8)
    pk = OrdinaryKriging(*points.T, values, variogram_model="exponential", variogram_parameters=[0.09, 180.0, 0.02]).execute(
        "points", *targets.T
    )
    assert ours[0] == pytest.approx(np.asarray(pk[0]), rel=1e-8)
    assert ours[1] == pytest.approx(np.asarray(pk[1]), rel=1e-8)


def test_white_noise_is_called_structure_in_about_one_case_in_twenty():
    rng = np.random.default_rng(5)
    points = rng.uniform(0, 200, (30, 2))
    ones, ranges = np.ones(30), range_grid(points)
    null = null_ratios(points, drift=ones[:, None], noise=ones, ranges=ranges, seed=1)
    cut = np.quantile(null, 0.95)
    again = null_ratios(points, drift=ones[:, None], noise=ones, ranges=ranges, seed=2)
    assert 0.02 <= np.mean(again > cut) <= 0.09


def test_block_mean_of_one_point_is_the_point_and_draws_match_the_mixture():
    rng = np.random.default_rng(6)
    points = rng.uniform(0, 200, (40, 2))
    values = 1.0 + points[:, 0] / 200 + rng.normal(0, 0.2, 40)
    ones = np.ones(40)
    fit = fit_averaged(points, values, drift=ones[:, None], noise=ones, target_drift=np.ones(1))
    targets = rng.uniform(20, 180, (60, 2))
    mean, variance = fit.predict(targets)
    block = fit.group_means(targets, np.arange(60), 60)
    assert block[0] == pytest.approx(mean, rel=1e-10)
    assert block[1] == pytest.approx(variance, rel=1e-8)
    draws, _ = fit.simulate(targets, 800, seed=3)
    assert np.abs(draws.mean(axis=0) - mean).max() < 6 * np.sqrt(variance.max() / 800)
    assert np.mean(draws.var(axis=0)) == pytest.approx(np.mean(variance), rel=0.12)
