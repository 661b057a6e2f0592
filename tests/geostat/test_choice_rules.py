"""Rules that choose: covariance model, anisotropy, transform. Rates of wrong choices are bounded by simulation."""

import numpy as np
import pytest
from scipy.spatial.distance import cdist
from scipy.stats import boxcox_llf
from worked_examples import meuse

from geoprune.geostat import Transform, choose_anisotropy, choose_model, choose_transform, correlation
from geoprune.geostat.covariance import isotropic
from geoprune.geostat.transform import LOG_GAP, log_gap

REPEATS = 30


def field(rng, points, model="exponential", range_m=60.0, nugget=0.3, anisotropy=None):
    place = isotropic(points, anisotropy)
    covariance = (1 - nugget) * correlation(cdist(place, place), range_m, model) + nugget * np.eye(len(points))
    return np.linalg.cholesky(covariance) @ rng.standard_normal(len(points))


def test_the_exponential_is_kept_at_small_samples_and_left_when_another_is_clearly_likelier():
    rng = np.random.default_rng(1)
    places = [rng.uniform(0, 300, (40, 2)) for _ in range(REPEATS)]
    kept = [choose_model(p, field(rng, p)).model == "exponential" for p in places]
    assert np.mean(kept) >= 0.9
    many = rng.uniform(0, 300, (250, 2))
    smooth = choose_model(many, field(rng, many, "matern52", 60.0, 0.01))
    assert smooth.model in ("matern32", "matern52")
    assert smooth.gains[smooth.model] > 2.0
    assert smooth.gains["exponential"] == 0.0
    assert choose_model(many, field(rng, many, "matern52", 60.0, 0.01), gain=1e9).model == "exponential"


def test_anisotropy_is_taken_only_when_the_data_support_it():
    rng = np.random.default_rng(2)
    few = rng.uniform(0, 300, (100, 2))
    false_alarms = [choose_anisotropy(few, field(rng, few), bearing_deg=20.0).anisotropy for _ in range(10)]
    assert sum(found is not None for found in false_alarms) <= 2
    points = rng.uniform(0, 300, (180, 2))
    along = field(rng, points, range_m=150.0, nugget=0.1, anisotropy=(20.0, 0.2))
    found = choose_anisotropy(points, along, bearing_deg=20.0)
    assert found.anisotropy is not None
    assert found.anisotropy[0] == 20.0
    assert found.gain > 4.0
    across = field(rng, points, range_m=150.0, nugget=0.1, anisotropy=(110.0, 0.2))
    assert choose_anisotropy(points, across, bearing_deg=20.0).anisotropy[0] == 110.0
    assert choose_anisotropy(points[:60], along[:60], bearing_deg=20.0).anisotropy is None


def test_transform_follows_the_skew_and_not_the_unit():
    points, _, _, zinc = meuse()
    choice = choose_transform(points, zinc)
    assert choice.transform.power == 0.0
    assert choice.gains[0.0] > choice.gains[0.5] > 2.0
    pounds = choose_transform(points, zinc / 0.45359237)
    assert pounds.gains == pytest.approx(choice.gains, abs=1e-8)
    rng = np.random.default_rng(3)
    places = rng.uniform(0, 300, (40, 2))
    normal = [choose_transform(places, 1.0 + 0.2 * field(rng, places)).transform.power for _ in range(REPEATS)]
    assert np.mean(np.array(normal) == 1.0) >= 0.85
    assert choose_transform(places, field(rng, places)).gains == {1.0: 0.0}


def test_without_a_field_the_gain_is_that_of_box_and_cox():
    # scipy's Box-Cox profile log likelihood -n/2 log s2 + (power - 1) sum log z; REML counts n - 1 of n contrasts
    rng = np.random.default_rng(4)
    values = np.exp(rng.normal(0, 0.5, 80))
    choice = choose_transform(rng.uniform(0, 300, (80, 2)), values, shares=np.array([1.0]))
    expected = (boxcox_llf(0.0, values) - boxcox_llf(1.0, values)) * 79 / 80
    assert choice.gains[0.0] == pytest.approx(expected, rel=1e-9)


def test_no_logarithm_whose_mean_rests_on_an_unlikely_tail():
    # two kinds of vines, 0.05 and 12 kg: normal logarithms would put the mean at 33 kg, where 6 were weighed
    rng = np.random.default_rng(6)
    places, two_kinds = rng.uniform(0, 300, (40, 2)), np.where(np.arange(40) % 2, 0.05, 12.0)
    assert log_gap(two_kinds) > 4.0
    assert 0.0 not in choose_transform(places, two_kinds).gains
    # the sample mean of lognormal values, whose law is the one assumed, stays near exp(mean + variance / 2)
    gaps = [log_gap(np.exp(rng.normal(0.0, 0.5, 20))) for _ in range(200)]
    assert np.quantile(gaps, 0.99) < LOG_GAP
    level = np.column_stack([np.ones(40), np.arange(40) % 2])
    assert log_gap(two_kinds, level) == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize("power", [1.0, 0.5, 0.0])
def test_back_and_forth(power):
    values = np.array([0.2, 0.7, 1.4, 3.0])
    transform = Transform(power)
    assert transform.backward(transform.forward(values)) == pytest.approx(values)
    z = np.random.default_rng(5).normal(0.3, 0.4, 400_000)
    sample = transform.backward(z)
    assert transform.mean(np.array([0.3]), 0.16)[0] == pytest.approx(sample.mean(), rel=5e-3)
    assert transform.variance(np.array([0.3]), 0.16)[0] == pytest.approx(sample.var(), rel=0.02)


def test_bad_powers_and_weights_are_refused():
    with pytest.raises(ValueError, match="power"):
        Transform(2.0)
    with pytest.raises(ValueError, match="above 0"):
        Transform(0.0).forward(np.array([0.0, 1.0]))
