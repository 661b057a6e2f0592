"""Laws that hold for any samples: invariance, limits, edges."""

import tracemalloc

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from kriging_reference import Kriging
from null_ratios import null_ratios

from geoprune.geostat import MODELS, LocalKriging, fit_averaged, fit_local, reml_surface
from geoprune.geostat.design import make_design
from geoprune.geostat.forms import CHUNK_DOUBLES
from geoprune.threads import run_parts

CASES = settings(max_examples=20, deadline=None, suppress_health_check=list(HealthCheck), derandomize=True)


@st.composite
def cases(draw):
    rng = np.random.default_rng(draw(st.integers(0, 10**6)))
    count = draw(st.integers(15, 50))
    points = rng.uniform(0, 250, (count, 2))
    values = 1.0 + 0.3 * np.sin(points[:, 0] / 50.0) + rng.normal(0, 0.2, count)
    return points, values, 1.0 / rng.integers(1, 4, count), rng.uniform(0, 250, (9, 2)), draw(st.sampled_from(MODELS))


def predicted(points, values, noise, targets, model, **more):
    return fit_averaged(points, values, noise=noise, model=model, **more).predict(targets, target="new")


@CASES
@given(cases(), st.floats(0, 360), st.floats(-4e5, 4e5), st.floats(0.1, 10.0), st.floats(0.05, 20.0))
def test_place_turn_unit_and_order_do_not_matter(case, angle, shift, stretch, unit):
    points, values, noise, targets, model = case
    mean, variance = predicted(*case)
    turn = np.deg2rad(angle)
    rotation = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    order = np.random.default_rng(1).permutation(len(values))
    ranges = np.geomspace(8.0, 300.0, 15)
    base = predicted(*case, ranges=ranges)
    moved = predicted(
        (points[order] @ rotation.T) * stretch + shift,
        values[order] * unit + 3.0 * unit,
        noise[order],
        (targets @ rotation.T) * stretch + shift,
        model,
        ranges=ranges * stretch,
    )
    assert moved[0] / unit - 3.0 == pytest.approx(base[0], rel=1e-7)
    assert moved[1] / unit**2 == pytest.approx(base[1], rel=1e-7)
    again = predicted(points[order], values[order], noise[order], targets, model)
    assert again[0] == pytest.approx(mean, rel=1e-9)
    assert again[1] == pytest.approx(variance, rel=1e-9)


@CASES
@given(cases(), st.floats(-5.0, 5.0))
def test_constant_in_constant_out(case, level):
    points, values, noise, targets, model = case
    mean, variance = predicted(points, np.full_like(values, level), noise, targets, model)
    assert mean == pytest.approx(np.full(9, level), abs=1e-9)
    assert variance == pytest.approx(np.zeros(9), abs=1e-12)


@CASES
@given(cases())
def test_readings_in_one_place_equal_their_mean(case):
    # a place weighed as k single vines and as one total of k vines tell the same, for the same parameters
    points, values, _, targets, model = case
    twice, ones = np.vstack([points, points[:5]]), np.ones((len(points) + 5, 1))
    readings = np.concatenate([values, values[:5] + 0.2])
    apart = Kriging(twice, readings, ones, np.ones(len(readings)), 0.05, 0.03, 40.0, model).predict(targets)
    merged = np.concatenate([values[:5] + 0.1, values[5:]])
    noise = np.concatenate([np.full(5, 0.5), np.ones(len(points) - 5)])
    together = Kriging(points, merged, ones[:-5], noise, 0.05, 0.03, 40.0, model).predict(targets)
    assert apart[0] == pytest.approx(together[0], rel=1e-9)
    assert apart[1] == pytest.approx(together[1], rel=1e-9)


@CASES
@given(cases())
def test_without_a_nugget_the_data_are_honoured_and_doubt_grows_away_from_them(case):
    points, values, _, _, model = case
    ones = np.ones(len(values))
    kriging = Kriging(points, values, ones[:, None], ones, 0.05, 0.0, 30.0, model)
    mean, variance = kriging.predict(points)
    assert mean == pytest.approx(values, abs=1e-7)
    assert variance == pytest.approx(np.zeros(len(values)), abs=1e-8)
    line = np.array([250.0, 125.0]) + np.linspace(0.0, 400.0, 30)[:, None] * [1.0, 0.0]
    assert (np.diff(kriging.predict(line)[1]) > -1e-10).all()
    far_mean, far_variance = kriging.predict(np.array([[1e6, 1e6]]))
    assert far_mean[0] == pytest.approx(kriging.beta[0], abs=1e-10)
    assert far_variance[0] == pytest.approx(0.05 + kriging.beta_variance[0, 0], abs=1e-10)


@CASES
@given(cases(), st.floats(0, 360), st.floats(-4e5, 4e5), st.floats(0.05, 20.0))
def test_from_the_nearest_place_turn_unit_and_order_do_not_matter_either(case, angle, shift, unit):
    points, values, noise, targets, model = case
    turn = np.deg2rad(angle)
    rotation = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    order, groups = np.random.default_rng(1).permutation(len(values)), np.arange(9) // 3

    def said(points, values, noise, targets, unit):
        design = make_design(points, values, noise=noise, model=model)
        local = LocalKriging(design, np.empty(0), 0.05 * unit**2, 0.03 * unit**2, 40.0, neighbours=9)
        return [*local.predict(targets), *local.group_means(targets, groups, 3)]

    base = said(points, values, noise, targets, 1.0)
    moved = said(points[order] @ rotation.T + shift, values[order] * unit, noise[order], targets @ rotation.T + shift, unit)
    for one, other, scale in zip(base, moved, (unit, unit**2, unit, unit**2), strict=True):
        assert other / scale == pytest.approx(one, rel=1e-6)
    same = said(points, np.full_like(values, 0.7), noise, targets, 1.0)
    assert same[0] == pytest.approx(np.full(9, 0.7), rel=1e-9)


def test_memory_does_not_grow_with_the_number_of_targets():
    rng = np.random.default_rng(8)
    points, values = rng.uniform(0, 300, (100, 2)), rng.normal(1.0, 0.3, 100)
    fit = fit_averaged(points, values, ranges=np.array([20.0, 60.0]))
    local = LocalKriging(make_design(points, values), np.empty(0), 0.05, 0.03, 40.0)
    fit.predict(points[:2])
    for kriging in (fit, local):
        peaks = []
        for count in (5_000, 20_000):
            targets = rng.uniform(0, 300, (count, 2))
            tracemalloc.start()
            kriging.predict(targets, threads=1)
            peaks.append(tracemalloc.get_traced_memory()[1])
            tracemalloc.stop()
        assert peaks[1] - peaks[0] < 15_000 * 8 * 12  # places, what is given back, and a few columns of that length


def test_nugget_alone_is_the_plain_mean():
    rng = np.random.default_rng(3)
    points, values = rng.uniform(0, 200, (30, 2)), rng.normal(1.0, 0.3, 30)
    fit = fit_averaged(points, values, shares=np.array([1.0]))
    mean, variance = fit.predict(rng.uniform(0, 200, (4, 2)), target="new")
    inflated = values.var(ddof=1) * 29 / 27
    assert mean == pytest.approx(np.full(4, values.mean()), abs=1e-10)
    assert variance == pytest.approx(np.full(4, inflated * (1 + 1 / 30)), abs=1e-10)


def test_chunks_and_threads_change_nothing(monkeypatch):
    rng = np.random.default_rng(4)
    points, values, targets = rng.uniform(0, 200, (120, 2)), rng.normal(1.0, 0.3, 120), rng.uniform(0, 200, (2500, 2))
    fit = fit_averaged(points, values)
    kriging = Kriging(points, values, np.ones((120, 1)), np.ones(120), 0.05, 0.02, 40.0)
    groups = np.repeat(np.arange(500), 5)
    base = [*fit.predict(targets, threads=1), *kriging.predict(targets, threads=1), *fit.group_means(targets, groups, 500)]
    two = [*fit.predict(targets, threads=2), *kriging.predict(targets, threads=2), *fit.group_means(targets, groups, 500)]
    for one, other in zip(base, two, strict=True):
        assert (one == other).all()
    assert CHUNK_DOUBLES // 120 < 2500
    monkeypatch.setattr("geoprune.geostat.forms.FEWEST_ROWS", 1)
    for size in (120 * 33, 120 * 77, 2**22):
        monkeypatch.setattr("geoprune.geostat.forms.CHUNK_DOUBLES", size)
        cut = [*fit.predict(targets), *kriging.predict(targets), *fit.group_means(targets, groups, 500)]
        for one, other in zip(base, cut, strict=True):
            assert other == pytest.approx(one, rel=1e-11)


def test_parts_keep_their_order_and_restore_blas():
    from geoprune.threads import _controller

    before = [info["num_threads"] for info in _controller().info()]
    assert run_parts(lambda k: k * k, list(range(50)), threads=2) == [k * k for k in range(50)]
    with pytest.raises(ZeroDivisionError):
        run_parts(lambda k: 1 / k, [1, 0], threads=2)
    assert [info["num_threads"] for info in _controller().info()] == before


def test_coincident_and_collinear_samples():
    rng = np.random.default_rng(5)
    on_a_line = np.column_stack([np.linspace(0, 100, 20), np.linspace(0, 50, 20)])
    for points in (on_a_line, np.repeat(on_a_line[:10], 2, axis=0), np.zeros((20, 2))):
        values = rng.normal(1.0, 0.2, 20)
        mean, variance = fit_averaged(points, values).predict(np.array([[30.0, 20.0], [500.0, -90.0]]))
        assert np.isfinite(mean).all()
        assert (variance > 0).all()
    with pytest.raises(np.linalg.LinAlgError):
        Kriging(np.zeros((5, 2)), np.arange(5.0), np.ones((5, 1)), np.ones(5), 1.0, 0.0, 10.0)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"values": np.r_[np.nan, np.ones(19)]}, "values: 1 numbers are not finite"),
        ({"points": np.r_[[[np.inf, 0.0]], np.ones((19, 2))]}, "points: 1 numbers"),
        ({"drift": np.ones((20, 2))}, r"columns \[1\] are collinear"),
        ({"noise": np.zeros(20)}, "above 0"),
        ({"noise": np.ones(19)}, "one row per reading"),
        ({"points": np.ones((3, 2)), "values": np.ones(3)}, "too few"),
        ({"model": "gaussian"}, "exponential, matern32"),
        ({"log_prior": np.zeros((2, 2))}, "shape"),
        ({"log_prior": np.full((20, 12), -np.inf)}, "finite"),
        ({"anisotropy": (10.0, 0.0)}, "ratio"),
    ],
)
def test_bad_input_is_refused_in_words(change, words):
    rng = np.random.default_rng(6)
    good = {"points": rng.uniform(0, 100, (20, 2)), "values": rng.normal(1, 0.2, 20)} | change
    with pytest.raises(ValueError, match=words):
        fit_averaged(good.pop("points"), good.pop("values"), **good)


def test_other_bad_words_are_refused():
    rng = np.random.default_rng(7)
    points, values = rng.uniform(0, 100, (20, 2)), rng.normal(1, 0.2, 20)
    fit = fit_averaged(points, values)
    with pytest.raises(ValueError, match="signal, new, exact"):
        fit.predict(points, target="vine")
    with pytest.raises(ValueError, match="2 groups"):
        fit.group_means(points, np.full(20, 5), 2)
    with pytest.raises(ValueError, match="again"):
        fit.leave_one_out(parameters="maybe")
    with pytest.raises(ValueError, match="first column"):
        fit_local(points, values, drift=points)


def test_white_noise_is_called_structure_in_about_one_case_in_twenty():
    rng = np.random.default_rng(5)
    points = rng.uniform(0, 200, (30, 2))
    drift, noise = np.ones((30, 1)), np.ones(30)
    ranges = reml_surface(points, rng.normal(size=30)).ranges
    cut = np.quantile(null_ratios(points, drift=drift, noise=noise, ranges=ranges, seed=1), 0.95)
    again = null_ratios(points, drift=drift, noise=noise, ranges=ranges, seed=2)
    assert 0.02 <= np.mean(again > cut) <= 0.09
