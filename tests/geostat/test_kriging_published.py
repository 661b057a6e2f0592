"""Kriging with known parameters against published worked examples."""

import numpy as np
import pytest
from kriging_reference import Kriging, lognormal_mean
from scipy.spatial.distance import cdist
from scipy.stats import norm
from worked_examples import GRID, GRID_ROOT_DISTANCE, SEVEN_POINTS, SEVEN_VALUES, meuse, meuse_flood

from geoprune.geostat import LocalKriging, correlation
from geoprune.geostat.design import make_design

RESIDUAL_MODEL = (0.17641559, 0.05712231, 340.3201)


def cross_validation(values, predicted, variance):
    """Mean, root mean square and mean absolute residual, mean and median of its square / variance, correlation."""
    rest = values - predicted
    said = [rest.mean(), np.sqrt(np.mean(rest**2)), np.abs(rest).mean()]
    return [*said, np.mean(rest**2 / variance), np.median(rest**2 / variance), np.corrcoef(values, predicted)[0, 1]]


def constant(n):
    return np.ones((n, 1)), np.ones(n)


def ordinary():
    points, values, *_ = meuse()
    return Kriging(points, values, *constant(155), 0.59060780, 0.05066243, 897.0209, "spherical")


# gstat 2.1.0 (Pebesma 2004), five cells of meuse.grid; the first two ordinary means are also in gstat's own tests
def test_ordinary_kriging():
    mean, variance = ordinary().predict(GRID, target="new")
    assert mean == pytest.approx([6.4996240794, 6.3365868770, 5.3800842914, 6.6598332177, 6.0351139693], abs=1e-9)
    assert variance == pytest.approx([0.3198083941, 0.1396497564, 0.1678375901, 0.1426469828, 0.1613606597], abs=1e-9)
    assert ordinary().beta == pytest.approx([6.0535460202], abs=1e-9)
    assert np.sqrt(ordinary().beta_variance[0, 0]) == pytest.approx(0.1995480427, abs=1e-9)


def test_the_signal_leaves_the_nugget_out():
    mean, variance = ordinary().predict(GRID)
    assert mean == pytest.approx(ordinary().predict(GRID, target="new")[0], abs=0)
    assert variance == pytest.approx([0.2691459641, 0.0889873264, 0.1171751601, 0.0919845528, 0.1106982297], abs=1e-9)


def test_three_targets_at_a_sample():
    # gstat with model "Err": the signal; GSTools' default: a new reading; gstat with "Nug": the reading itself
    kriging = ordinary()
    mean, variance = kriging.predict(kriging.points[:3])
    assert mean == pytest.approx([6.88440119939, 6.96095078244, 6.41578137458], abs=1e-9)
    assert variance == pytest.approx([0.0364886803638, 0.0360590395274, 0.0366251665425], abs=1e-9)
    assert kriging.predict(kriging.points[:1], target="new")[1] == pytest.approx([0.08715111], abs=1e-8)
    mean, variance = kriging.predict(kriging.points[:3], target="exact")
    assert mean == pytest.approx(kriging.values[:3], abs=0)
    assert (variance == 0).all()


@pytest.mark.parametrize(
    ("neighbours", "mean", "variance"),
    [
        (
            24,
            [6.5469052572, 6.3418687562, 5.3325206408, 6.6514853872, 6.0373644399],
            [0.3359173955, 0.1401296841, 0.1689528297, 0.1431888857, 0.1616441286],
        ),
        (
            8,
            [6.5991205798, 6.3389088673, 5.3639949716, 6.6267339799, 6.0433593279],
            [0.3534937463, 0.1408645774, 0.1700549098, 0.1441889624, 0.1622039246],
        ),
    ],
)
def test_nearest_samples_only(neighbours, mean, variance):
    # gstat with nmax
    points, values, *_ = meuse()
    design = make_design(points, values, model="spherical")
    local = LocalKriging(design, np.empty(0), 0.59060780, 0.05066243, 897.0209, neighbours=neighbours)
    ours = local.predict(GRID, target="new")
    assert ours[0] == pytest.approx(mean, abs=1e-9)
    assert ours[1] == pytest.approx(variance, abs=1e-9)


def test_external_drift():
    points, values, root, _ = meuse()
    drift = np.column_stack([np.ones(155), root])
    kriging = Kriging(points, values, drift, np.ones(155), *RESIDUAL_MODEL)
    mean, variance = kriging.predict(GRID, np.column_stack([np.ones(5), GRID_ROOT_DISTANCE]), target="new")
    assert mean == pytest.approx([7.0412522627, 6.2169744734, 5.4564993677, 6.6872317453, 5.9360323521], abs=2e-7)
    assert variance == pytest.approx([0.1775451487, 0.1097586535, 0.1224966832, 0.1108852484, 0.1200202365], abs=2e-7)
    assert kriging.beta == pytest.approx([6.98599072, -2.55184939], abs=1e-8)
    assert np.sqrt(np.diag(kriging.beta_variance)) == pytest.approx([0.1583623, 0.27022835], abs=1e-7)
    said = cross_validation(values, *kriging.leave_one_out())
    assert said == pytest.approx(
        [-0.00312395226, 0.377650884756, 0.270078850829, 1.082122616849, 0.325400243285, 0.851348584680], abs=1e-9
    )


def test_trend_in_raw_coordinates():
    # coordinates of 180,000 and 330,000 m with no scaling by the caller
    points, values, *_ = meuse()
    kriging = Kriging(points, values, np.column_stack([np.ones(155), points]), np.ones(155), *RESIDUAL_MODEL)
    mean, variance = kriging.predict(GRID, np.column_stack([np.ones(5), GRID]), target="new")
    assert mean == pytest.approx([6.4759786717, 6.2971918422, 5.5413201523, 6.6354298690, 5.9940031787], abs=1e-9)
    assert variance == pytest.approx([0.1808511609, 0.1096846541, 0.1224121148, 0.1109412242, 0.1200065064], abs=1e-9)
    assert np.sqrt(np.mean((values - kriging.leave_one_out()[0]) ** 2)) == pytest.approx(0.4105037759, abs=1e-9)


def test_anisotropy():
    points, values, *_ = meuse()
    kriging = Kriging(points, values, *constant(155), 0.59, 0.05, 1200.0, "spherical", (45.0, 0.4))
    mean, variance = kriging.predict(GRID, target="new")
    assert mean == pytest.approx([6.65664143543, 6.21071669965, 5.37207230955, 6.69970538518, 6.07231877364], abs=1e-9)
    assert variance == pytest.approx(
        [0.287713356890, 0.170573822041, 0.170237934549, 0.131520464357, 0.200235949689], abs=1e-9
    )


def square(center, side, kind, nodes=4):
    """k x k Gauss nodes, or midpoints, of a square: points (k^2, 2), weights (k^2,)."""
    if kind == "gauss":
        node, weight = np.polynomial.legendre.leggauss(nodes)
    else:
        node, weight = (np.arange(nodes) + 0.5) / nodes * 2 - 1, np.full(nodes, 2.0 / nodes)
    offset = np.stack(np.meshgrid(node, node), axis=-1).reshape(-1, 2) * side / 2.0
    return np.asarray(center) + offset, np.outer(weight, weight).ravel() / 4.0


@pytest.mark.parametrize(
    ("kind", "variance", "close"),
    [
        ("gauss", [0.2493107813, 0.0702171567, 0.0977979601, 0.0731512589, 0.0913760430], 1e-6),
        ("midpoints", [0.2498354974, 0.0706752686, 0.0982938639, 0.0736122658, 0.0918685620], 1e-9),
    ],
)
def test_blocks_of_40_m(kind, variance, close):
    # gstat rounds its Gauss nodes, hence 1e-6
    ours = [ordinary().predict_block(*square(cell, 40.0, kind)) for cell in GRID]
    assert [v for _, v in ours] == pytest.approx(variance, abs=close)
    if kind == "gauss":
        assert [m for m, _ in ours] == pytest.approx(
            [6.4991578894, 6.3350138074, 5.3825502464, 6.6578297804, 6.0348674677], abs=1e-6
        )


def test_a_block_of_40_m_near_its_limit():
    # gstat with 64 x 64 points; also the limit of ours, over which its nugget is spread thin
    ours = [ordinary().predict_block(*square(cell, 40.0, "midpoints", 64))[1] for cell in GRID]
    assert ours == pytest.approx([0.2491063203, 0.0700124373, 0.0975933858, 0.0729465442, 0.0911714484], abs=1e-9)


def test_blocks_of_raw_zinc():
    # gstat's own regression test (tests/blockkr.R of the package), nearest 40 samples
    points, _, _, zinc = meuse()
    expected = {
        (181170, 333250): (268.757608, 19447.6708),
        (180310, 332189): (663.491461, 16991.3266),
        (180205, 331707): (251.460642, 21579.7076),
        (178673, 330066): (532.577618, 73807.9113),
        (178770, 330675): (664.403856, 23589.1666),
        (178270, 331075): (565.543592, 155113.2286),
    }
    for center, answer in expected.items():
        near = np.argsort(np.hypot(*(points - center).T), kind="stable")[:40]
        kriging = Kriging(points[near], zinc[near], *constant(40), 1.34e5, 2.42e4, 800.0, "spherical")
        assert kriging.predict_block(*square(center, 40.0, "gauss")) == pytest.approx(answer, rel=1e-6)
        if center == (181170, 333250):  # the same by gstat's other rule
            said = kriging.predict_block(*square(center, 40.0, "midpoints"))
            assert said == pytest.approx((268.7324, 19568.76), rel=1e-6)


@pytest.mark.parametrize(("nodes", "variance"), [(4, 19438.15), (8, 19393.42), (16, 19386.64), (32, 19385.70)])
def test_a_block_of_raw_zinc_converges(nodes, variance):
    # the first of these blocks with all samples, by an independent sum over ever finer Gauss nodes
    points, _, _, zinc = meuse()
    kriging = Kriging(points, zinc, *constant(155), 1.34e5, 2.42e4, 800.0, "spherical")
    said = kriging.predict_block(*square((181170, 333250), 40.0, "gauss", nodes))[1]
    assert said == pytest.approx(variance, abs=0.005)


def test_the_nugget_is_not_in_the_block_term():
    # limit of a nugget-only field: the mean of any block has the variance of the least-squares mean
    points, values, *_ = meuse()
    kriging = Kriging(points, values, *constant(155), 1e-12, 0.5, 100.0)
    mean, variance = kriging.predict_block(*square((180000, 332000), 2000.0, "midpoints", 8))
    assert mean == pytest.approx(values.mean(), abs=1e-9)
    assert variance == pytest.approx(0.5 / 155, rel=1e-9)


def test_leave_one_out_and_five_fold():
    # gstat's krige.cv, which refits; closed form of Dubrule 1983, Math. Geol. 15:687-699
    kriging = ordinary()
    predicted, variance = kriging.leave_one_out()
    assert predicted[:3] == pytest.approx([6.76825637493, 6.76659924412, 6.29657817454], abs=1e-10)
    assert variance[:3] == pytest.approx([0.181087000926, 0.175759308657, 0.182847733910], abs=1e-10)
    assert cross_validation(kriging.values, predicted, variance) == pytest.approx(
        [-0.0000207358490, 0.391803506427, 0.292151531628, 0.818545556453, 0.220451516472, 0.839347776878], abs=1e-10
    )
    mean, error, _, scaled, *_ = cross_validation(kriging.values, *kriging.leave_out(np.arange(155) % 5))
    assert (mean, error, scaled) == pytest.approx((-0.00790991774019, 0.392052151446, 0.802000179341), abs=1e-10)


def test_leave_one_out_of_nearest_samples():
    points, values, *_ = meuse()
    design = make_design(points, values, model="spherical")
    local = LocalKriging(design, np.empty(0), 0.59060780, 0.05066243, 897.0209, neighbours=24)
    assert cross_validation(values, *local.leave_one_out()) == pytest.approx(
        [0.00661917080, 0.389050523976, 0.286259853109, 0.799895696334, 0.211657094032, 0.841524385031], abs=1e-9
    )


# Isaaks & Srivastava 1989, ch. 12, estimate at (65, 137): the book prints 592.7 and 8.96 for the first (from memory);
# further digits and the variants by solving the same 8 x 8 system
@pytest.mark.parametrize(
    ("sill", "nugget", "range_m", "mean", "variance"),
    [
        (10.0, 0.0, 10.0 / 3.0, 592.72894279, 8.95605279),
        (20.0, 0.0, 10.0 / 3.0, 592.72894279, 17.91210558),
        (1e-13, 10.0, 10.0 / 3.0, 603.71428571, 11.42857143),
        (5.0, 5.0, 10.0 / 3.0, 596.77700687, 10.30585222),
        (10.0, 0.0, 20.0 / 3.0, 572.38987352, 5.75849972),
    ],
)
def test_seven_point_textbook_case(sill, nugget, range_m, mean, variance):
    kriging = Kriging(SEVEN_POINTS, SEVEN_VALUES, *constant(7), sill, nugget, range_m)
    ours = kriging.predict(np.array([[65.0, 137.0]]), target="new")
    assert ours[0][0] == pytest.approx(mean, abs=1e-8)
    assert ours[1][0] == pytest.approx(variance, abs=1e-8)


def test_seven_point_weights():
    kriging = [
        Kriging(SEVEN_POINTS, row, *constant(7), 10.0, 0.0, 10.0 / 3.0).predict(np.array([[65.0, 137.0]]))[0][0]
        for row in np.eye(7)
    ]
    expected = [0.17293732, 0.31779357, 0.12873406, 0.08639657, 0.1511277, 0.05723465, 0.08577613]
    assert kriging == pytest.approx(expected, abs=1e-8)


def test_back_transform_and_exceedance():
    # log(zinc), ordinary kriging: exp(y + h), h = (C(0) - w'Kw) / 2 = variance / 2 less gstat's Lagrange multiplier
    kriging = ordinary()
    mean, variance = kriging.predict(GRID, target="new")
    back = lognormal_mean(mean, 0.59060780 + 0.05066243, kriging.weights_variance(GRID))
    assert back == pytest.approx([770.637492, 605.843059, 236.041426, 837.162901, 453.094003], abs=1e-5)
    assert np.log(back) - mean == pytest.approx([0.14759400, 0.07003410, 0.08392303, 0.07018546, 0.08098565], abs=1e-8)
    assert np.exp(mean) == pytest.approx([664.891640, 564.865063, 217.040569, 780.420766, 417.846429], abs=1e-6)
    over = norm.sf((np.log(500.0) - mean) / np.sqrt(variance))
    assert over == pytest.approx([0.69286676, 0.62794312, 0.02082430, 0.88076554, 0.32749553], abs=1e-7)


def test_the_lognormal_mean_is_unbiased_over_fields_of_known_sill():
    # 20,000 fields of 30 samples and a target; tolerance 2 %, the study's own error 0.5 %
    rng = np.random.default_rng(11)
    place, sill, nugget = rng.uniform(0, 200, (31, 2)), 0.25, 0.1
    covariance = sill * correlation(cdist(place, place), 40.0) + nugget * np.eye(31)
    fields = np.linalg.cholesky(covariance) @ rng.standard_normal((31, 20_000))
    kriging = Kriging(place[:30], fields[:30, 0], *constant(30), sill, nugget, 40.0)
    columns = np.eye(30)
    by_sample = [Kriging(place[:30], unit, *constant(30), sill, nugget, 40.0).predict(place[30:])[0][0] for unit in columns]
    said = lognormal_mean(np.array(by_sample) @ fields[:30], sill + nugget, kriging.weights_variance(place[30:]))
    assert said.mean() == pytest.approx(np.exp(fields[30]).mean(), rel=0.02)


def test_difference_of_classes_by_generalised_least_squares():
    # R nlme: gls(log(zinc) ~ ffreq) with corExp of range 340.3201 and the nugget share of RESIDUAL_MODEL; F(2, 152)
    points, values, *_ = meuse()
    flood = meuse_flood()
    drift = np.column_stack([np.ones(155), flood == 2, flood == 3]).astype(float)
    kriging = Kriging(points, values, drift, np.ones(155), *RESIDUAL_MODEL)
    assert kriging.beta == pytest.approx([6.325798168, -0.664985231, -0.621398074], abs=1e-8)
    contrast = kriging.beta[1:] @ np.linalg.solve(kriging.beta_variance[1:, 1:], kriging.beta[1:]) / 2.0
    rest = values - drift @ kriging.beta
    scale = rest @ kriging._residual_weights / 152
    assert contrast / scale == pytest.approx(33.783347062, abs=1e-6)
    error = np.sqrt(scale * np.diag(kriging.beta_variance))
    assert error == pytest.approx([0.134793297, 0.082326102, 0.126681984], abs=1e-8)
