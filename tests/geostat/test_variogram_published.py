"""Empirical variogram and its least-squares fit against gstat on Meuse (Pebesma 2004, Comput. Geosci. 30:683-691)."""

import numpy as np
import pytest
from variogram_fit import fit_variogram
from worked_examples import meuse

from geoprune.geostat import empirical_variogram

# gstat 2.1.0, default classes (a third of the box's diagonal in 15): pairs, mean distance, Matheron, Cressie-Hawkins,
# Matheron of least-squares residuals on sqrt(dist); the third column is also printed in gstat's own tests
TABLE = np.array(
    [
        [57, 79.2924374558, 0.123447935, 0.0989035403416, 0.0881959395817],
        [299, 163.9736655589, 0.216218485, 0.1788934869325, 0.1352367055714],
        [419, 267.3648276703, 0.302785876, 0.2535014030993, 0.1471846524608],
        [457, 372.7354223908, 0.412144760, 0.4046783300604, 0.1592971572218],
        [547, 478.4766950471, 0.463412786, 0.4691540195454, 0.1793340615467],
        [533, 585.3405810954, 0.564693271, 0.5829611172205, 0.1929815084023],
        [574, 693.1452555425, 0.568968263, 0.6186792659338, 0.2375637765766],
        [564, 796.1836488513, 0.618676859, 0.6581799417608, 0.2549548333653],
        [589, 903.1464983003, 0.647147887, 0.6649768142998, 0.2400306149209],
        [543, 1011.2917733909, 0.691570488, 0.7545144539407, 0.2477801130114],
        [500, 1117.8623455182, 0.703398351, 0.7604849935067, 0.2253489418249],
        [477, 1221.3280987660, 0.603877036, 0.6534533080944, 0.2038345820780],
        [452, 1329.1640650698, 0.651715776, 0.7036330201046, 0.2046200326460],
        [457, 1437.2562032833, 0.566531778, 0.6270250086719, 0.1798082984660],
        [415, 1543.2024819997, 0.574822734, 0.6150930556853, 0.1803123282173],
    ]
)


def residuals():
    points, values, root, _ = meuse()
    drift = np.column_stack([np.ones(155), root])
    return points, values - drift @ np.linalg.lstsq(drift, values, rcond=None)[0]


def test_matheron_and_cressie_hawkins_equal_gstat():
    points, values, *_ = meuse()
    ours = empirical_variogram(points, values)
    assert (ours.pairs == TABLE[:, 0]).all()
    assert ours.distance_m == pytest.approx(TABLE[:, 1], abs=1e-9)
    assert ours.gamma == pytest.approx(TABLE[:, 2], abs=1e-9)
    robust = empirical_variogram(points, values, estimator="cressie-hawkins")
    assert robust.gamma == pytest.approx(TABLE[:, 3], abs=1e-9)
    assert empirical_variogram(*residuals()).gamma == pytest.approx(TABLE[:, 4], abs=1e-9)


def test_least_squares_minimum_is_found():
    # the minimum of sum N/h^2 (gamma - model)^2 computed to convergence, and gstat's printed row, which stops early
    fit = fit_variogram(empirical_variogram(*meuse()[:2]))
    assert (fit.nugget, fit.sill, fit.range_m) == pytest.approx((0.0506604406, 0.5906058350, 897.0064260), rel=1e-6)
    assert (fit.nugget, fit.sill, fit.range_m) == pytest.approx((0.05066243, 0.59060780, 897.0209), rel=5e-5)
    assert fit.squares == pytest.approx(9.0111943242e-06, rel=1e-8)
    assert fit.squares <= 9.01119439893e-06


@pytest.mark.parametrize(
    ("weights", "expected"),
    [
        ("equal", (0.0533673722457, 0.5794401411710, 890.169386184)),
        ("pairs", (0.0651233467415, 0.5711072947999, 911.036340891)),
    ],
)
def test_other_weights_agree_with_gstat(weights, expected):
    fit = fit_variogram(empirical_variogram(*meuse()[:2]), weights=weights)
    assert (fit.nugget, fit.sill, fit.range_m) == pytest.approx(expected, rel=2e-4)


def test_exponential_fits_agree_with_gstat():
    bound = fit_variogram(empirical_variogram(*meuse()[:2]), model="exponential")
    assert bound.nugget == 0.0
    assert (bound.sill, bound.range_m) == pytest.approx((0.71865258039, 449.758002536), rel=5e-5)
    assert bound.squares == pytest.approx(1.62832753721e-05, rel=1e-6)
    rest = fit_variogram(empirical_variogram(*residuals()), model="exponential")
    assert (rest.nugget, rest.sill, rest.range_m) == pytest.approx((0.05712231, 0.17641559, 340.3201), rel=5e-5)
    assert rest.squares == pytest.approx(7.06363063631e-06, rel=1e-8)


def test_coincident_pairs_belong_to_no_class_and_bad_words_are_refused():
    points = np.array([[0, 0], [0, 0], [3, 4]], float)
    ours = empirical_variogram(points, np.array([1.0, 3.0, 2.0]), cutoff_m=10.0, bins=2)
    assert ours.pairs.tolist() == [2]
    assert (ours.distance_m[0], ours.gamma[0]) == (5.0, 0.5)
    with pytest.raises(ValueError, match="matheron"):
        empirical_variogram(points, np.zeros(3), estimator="none")
    with pytest.raises(ValueError, match="pairs/distance2"):
        fit_variogram(ours, weights="none")
