"""Slips: how likely a reading is one, how little it is then heard, and that sound weights stay as they are."""

import numpy as np
import pytest
from invented_block import make_vineyard
from scipy.stats import norm

from geoprune.surface import Prior, check_observations, fit_surface
from geoprune.surface.modelling import average, hear_slips_less
from geoprune.surface.shape import PLAIN
from geoprune.surface.slips import LEAST_CHANCE, SCATTER, SLIPS, chance_of_slip, noise_factor


def test_the_chance_of_a_slip_is_bayes_rule_of_two_normal_laws():
    z = np.linspace(-6.0, 6.0, 49)
    slip, sound = SLIPS * norm.pdf(z, scale=SCATTER), (1.0 - SLIPS) * norm.pdf(z)
    told = slip / (slip + sound)
    assert chance_of_slip(z) == pytest.approx(np.where(told < LEAST_CHANCE, 0.0, told), rel=1e-12)
    assert chance_of_slip(np.array([np.nan, 0.0, 1e6])) == pytest.approx([0.0, 0.0, 1.0])


def test_noise_is_the_inverse_of_the_expected_precision():
    assert noise_factor(np.array([0.0, 0.5, 1.0])) == pytest.approx([1.0, 1.0 / (0.5 + 0.5 / SCATTER**2), SCATTER**2])


def block(seed, slip):
    made = make_vineyard(seed=seed, range_m=120, nugget_share=0.4, samples=40, cv=0.3, block="small")
    weights = made.samples["vine_weight_kg"].to_numpy().copy()
    large = np.argsort(weights)[[20, 30]]
    weights[large] *= slip
    return made, made.samples.assign(vine_weight_kg=weights), large


def test_slips_are_heard_less_and_still_named():
    made, samples, large = block(7, 3.0)
    seen = check_observations(made.trellis, samples).observations
    heard, _ = hear_slips_less(seen, average(seen, seen.levels, Prior()), Prior(), PLAIN)
    assert (heard.noise[large] > 5.0).all()
    assert np.isnan(heard.known_kg[seen.vine_id[large]]).all()
    others = np.delete(np.arange(40), large)
    assert (heard.noise[others] < 1.5).all()
    assert (heard.values == seen.values).all()
    surface = fit_surface(made.trellis, samples, draws=5)
    assert surface.samples["outlier"].to_numpy()[large].all()
    assert sum(remark.message.key == "surface.outlier" for remark in surface.remarks) >= 2


def test_sound_weights_are_left_as_they_are():
    made, _, _ = block(7, 1.0)
    seen = check_observations(made.trellis, made.samples).observations
    plain = average(seen, seen.levels, Prior())
    assert hear_slips_less(seen, plain, Prior(), PLAIN) == (seen, plain)


def test_slips_cost_less_when_they_are_heard_less():
    taken, heard = [], []
    for seed in range(6):
        made, samples, _ = block(seed, 3.0)
        seen = check_observations(made.trellis, samples).observations
        plain = average(seen, seen.levels, Prior())
        for squares, fit in ((taken, plain), (heard, hear_slips_less(seen, plain, Prior(), PLAIN)[1])):
            told = fit.group_means(seen.vines, seen.member, len(made.trellis.panels))[0]
            squares.append(np.mean(np.square(told - made.panel_means())))
    assert np.mean(heard) < 0.9 * np.mean(taken)
