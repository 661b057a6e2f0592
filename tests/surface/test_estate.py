"""What blocks tell each other: laws of the prior written out another way, simulated estates, blocks unlike the rest.

Estates are the studies' (invented, truth known); see benchmarks/estates.py.
"""

from dataclasses import replace

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from invented_block import make_vineyard
from scipy.stats import multivariate_normal, norm

from geoprune.plan.estate import Voice, hear
from geoprune.surface import Prior, Spoken, check_observations, fit_surface, said_earlier, speak
from geoprune.surface.estate import COMMON, SCORES, STRANGER, Edges, cells, prior_among, say, say_lasting
from geoprune.surface.modelling import average
from geoprune.surface.prior import SHARES, range_grid
from geoprune.surface.shape import PLAIN
from geoprune.surface.support import Support, vine_means

RANGES = range_grid(300.0)


def block(seed, *, samples=20, nugget_share=0.4, range_m=120.0, cv=0.35):
    made = make_vineyard(seed=seed, range_m=range_m, nugget_share=nugget_share, samples=samples, cv=cv, block="small")
    return made, Voice(f"b{seed}", check_observations(made.trellis, made.samples), 0.0)


def test_a_block_that_nobody_tells_anything_keeps_the_weak_prior():
    prior, heard = Prior(), Prior(others=np.zeros((len(COMMON) * len(SCORES),) * 2))
    plain, mixed = (np.exp(one.log_density(RANGES, SHARES)) for one in (prior, heard))
    assert mixed.sum() == pytest.approx(1.0)
    assert mixed.sum(axis=0) == pytest.approx(plain.sum(axis=0), abs=2e-3)
    logs = np.log(RANGES)  # the normal law of log(range) between the middles of the nodes (scipy.stats)
    law = np.diff(norm.cdf(np.concatenate([[-np.inf], (logs[1:] + logs[:-1]) / 2, [np.inf]]), np.log(25.0), 0.8))
    assert mixed.sum(axis=1) == pytest.approx(law, abs=2e-3)


def test_two_blocks_scores_are_jointly_normal_as_told():
    """P(both in a cell) averaged over z is the bivariate normal law with correlation rho (scipy.stats)."""
    inner = np.array([-0.8, 0.1, 0.9])
    chance = cells(np.concatenate([[-np.inf], inner, [np.inf]])).reshape(len(COMMON), len(SCORES), -1)
    weight = norm.pdf(SCORES) / norm.pdf(SCORES).sum()
    for rho, here in zip(COMMON, chance, strict=True):
        both = np.einsum("z,zi,zj->ij", weight, here, here)
        below = multivariate_normal([0, 0], [[1, rho], [rho, 1]]).cdf(inner[:2])
        assert both[0, :2].sum() == pytest.approx(below, abs=2e-3)


def test_what_one_block_says_equals_the_sum_over_its_cells_written_out():
    rng = np.random.default_rng(5)
    likelihood, edges = rng.uniform(size=(RANGES.size, SHARES.size)), Prior().edges(RANGES, SHARES)
    said = say(likelihood, edges)
    k, m = 1 * len(SCORES) + 7, 3 * len(SCORES) + 20
    rho, z = np.array([COMMON[1], COMMON[3]]), np.array([SCORES[7], SCORES[20]])
    total, alone = 0.0, 0.0
    for i in range(RANGES.size):
        for j in range(SHARES.size):
            ends = [(edges.ranges[i], edges.ranges[i + 1]), (edges.shares[j], edges.shares[j + 1])]
            law = [norm(np.sqrt(r) * c, np.sqrt(1 - r)) for r, c in zip(rho, z, strict=True)]
            total += likelihood[i, j] * np.prod([one.cdf(b) - one.cdf(a) for one, (a, b) in zip(law, ends, strict=True)])
            alone += likelihood[i, j] * np.prod([norm.cdf(b) - norm.cdf(a) for a, b in ends])
    expected = ((1 - STRANGER) * total + STRANGER * alone) / likelihood.max()
    assert np.exp(said[k, m]) == pytest.approx(expected, rel=1e-8)


def test_others_move_the_belief_towards_what_they_found_and_a_stranger_stays_possible():
    likelihood = np.zeros((RANGES.size, SHARES.size)) + 1e-6
    likelihood[12, 3] = 1.0
    edges = Prior().edges(RANGES, SHARES)
    plain = np.exp(Prior().log_density(RANGES, SHARES))
    beliefs = [np.exp(Prior(others=count * say(likelihood, edges)).log_density(RANGES, SHARES)) for count in (1, 3, 10)]
    at = [belief[12, 3] for belief in beliefs]
    assert plain[12, 3] < at[0] < at[1] < at[2]
    weak = prior_among(np.zeros((len(COMMON) * len(SCORES),) * 2), edges)
    assert (beliefs[2] >= 0.8 * STRANGER * weak).all()  # 0.85 of belief is left to patterns, whatever others say
    assert beliefs[2][:, -1].sum() >= 0.15 - 1e-12


def test_the_order_of_blocks_and_results_changes_no_digit_and_no_block_hears_itself():
    voices = [block(seed)[1] for seed in range(5)]
    spoken = [voice.speak() for voice in voices]
    learned = fit_surface(*block_tables(9)).model.learned
    heard, back = hear(spoken, [learned, learned]), hear(spoken[::-1], [learned, learned])[::-1]
    for one, other in zip(heard, back, strict=True):
        assert (one.prior.others == other.prior.others).all()
        assert (one.blocks, one.earlier) == (4, 2)
    without = hear([None, *spoken[1:]], [learned, learned])[0]
    assert heard[0].prior.others == pytest.approx(without.prior.others, abs=1e-9)
    assert without.blocks == 4
    alone = hear([spoken[0]], [])[0]
    assert alone.prior.others is None
    assert (alone.blocks, alone.remarks("A")) == (0, ())


def block_tables(seed):
    made, _ = block(seed)
    return made.trellis, made.samples


def test_an_earlier_winter_is_heard_as_the_same_weights_in_another_block_are():
    made, voice = block(3)
    learned = fit_surface(made.trellis, made.samples).model.learned
    assert said_earlier(learned) == pytest.approx(voice.speak().said, abs=1e-9)


def test_too_few_weights_or_weights_all_alike_say_nothing():
    made, _ = block(3, samples=14)
    assert speak(check_observations(made.trellis, made.samples).observations, 0.0) is None
    made, _ = block(3)
    alike = made.samples.assign(vine_weight_kg=0.7)
    assert speak(check_observations(made.trellis, alike).observations, 0.0) is None


def test_blocks_of_an_estate_are_told_more_truly_together():
    """Fields of 180 m with a nugget share of 0.2: eight blocks of 20 weights."""
    alone, among = [], []
    made, voices = zip(*(block(40 + k, nugget_share=0.2, range_m=180.0) for k in range(8)), strict=True)
    heard = hear([voice.speak() for voice in voices], [])
    for one, voice, given in zip(made, voices, heard, strict=True):
        observations, count = voice.checked.observations, len(one.trellis.panels)
        flat = Support(observations.vines, np.ones((len(observations.vines), 1)), observations.known_kg, given.shape)
        for squares, prior in ((alone, Prior()), (among, given.prior)):
            mean, _ = vine_means(
                average(observations, observations.levels, prior, given.shape), flat, observations.member, count
            )
            squares.append(np.mean(np.square(mean - one.panel_means())) / one.truth["variance_kg2"])
    assert np.mean(among) < 0.98 * np.mean(alone)


def test_edges_are_scores_of_the_weak_prior():
    edges = Prior().edges(RANGES, SHARES)
    assert isinstance(edges, Edges)
    assert norm.sf(edges.shares[-2]) == pytest.approx(0.15)
    assert (np.diff(edges.ranges) > 0).all()
    assert (np.diff(edges.shares) > 0).all()


def test_how_much_lasts_is_told_by_the_other_blocks_and_by_no_block_of_one_winter():
    """Three blocks whose pattern lasted, by likelihoods written out: the fourth, which cannot tell, believes them."""
    flat = [np.zeros((2, 2))] * 3
    assert (say_lasting(flat[:1]) == 0.0).all()
    lasted = say_lasting([np.log(np.full((2, 2), chance)) for chance in (0.01, 0.04, 0.2)])
    share = np.array([0.05, 0.2, 1.0])  # of 4 cells each, over the largest
    assert lasted == pytest.approx(np.log((1 - STRANGER) * share + STRANGER * share.mean()))
    quiet = Spoken(PLAIN, np.zeros((100, 100)), say_lasting(flat))
    loud = replace(quiet, lasting=lasted)
    heard = hear([quiet, loud, None, loud], [])
    assert heard[0].prior.lasting == pytest.approx(2 * lasted)
    assert heard[1].prior.lasting == pytest.approx(lasted + say_lasting(flat))
    assert heard[2].prior.lasting == pytest.approx(2 * lasted + say_lasting(flat))


def test_what_others_say_of_how_much_lasts_moves_the_share_and_an_even_word_moves_nothing():
    made, _ = block(5)
    older = made.samples.assign(season=2025, vine_weight_kg=lambda table: table["vine_weight_kg"] * 0.9)
    both = pd.concat([made.samples.assign(season=2026), older.iloc[::-1].reset_index(drop=True)], ignore_index=True)
    seen = check_observations(made.trellis, gpd.GeoDataFrame(both)).observations
    seen = replace(seen, season=np.where(np.arange(len(seen.season)) % 2 == 0, 2026, 2025), target_season=2026)
    levels = np.column_stack([np.ones(len(seen.season)), seen.season == 2025])
    plain, even, little = (
        average(seen, levels, Prior(lasting=word)) for word in (None, np.zeros(3), np.array([0.0, -9.0, -9.0]))
    )
    assert even.typical.persistent_share == pytest.approx(plain.typical.persistent_share)
    assert little.typical.persistent_share < 0.1 < plain.typical.persistent_share
