"""The model of several winters: its algebra against a plain computation, its intervals against simulated truth."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial.distance import cdist

from geoprune.seasons import (
    Target,
    TooFewWeights,
    Weights,
    agreement,
    crop_load,
    fit_seasons,
    lasting_evidence,
    size_classes,
    zone_target,
)
from geoprune.seasons.model import LASTING, node_estimate

PANELS = np.stack(np.meshgrid(np.arange(10) * 15.0, np.arange(10) * 15.0), -1).reshape(-1, 2)
PER_PANEL = 4


def truth(seed: int, lasting: float) -> tuple[np.ndarray, np.random.Generator]:
    """Two winters (2, panels, vines): a field of range 50 m, 40 % vine to vine, both lasting to the share told."""
    generator = np.random.default_rng(seed)
    lower = np.linalg.cholesky(np.exp(-cdist(PANELS, PANELS) / 50.0) + 1e-9 * np.eye(len(PANELS)))

    def draw() -> np.ndarray:
        field = lower @ generator.standard_normal(len(PANELS))
        return np.sqrt(0.6) * field[:, None] + np.sqrt(0.4) * generator.standard_normal((len(PANELS), PER_PANEL))

    common = draw()
    years = [np.sqrt(lasting) * common + np.sqrt(1 - lasting) * draw() for _ in range(2)]
    return np.array([level + 0.3 * year for level, year in zip((1.1, 0.95), years, strict=True)]), generator


def weighed(sizes: np.ndarray, generator: np.random.Generator, each: int = 30) -> Weights:
    picks = np.concatenate([generator.choice(len(PANELS) * PER_PANEL, each, replace=False) for _ in range(2)])
    season = np.repeat([2026, 2027], each)
    size = np.array([sizes[year - 2026].ravel()[vine] for year, vine in zip(season, picks, strict=True)])
    return Weights(PANELS[picks // PER_PANEL], season, size, np.ones(len(picks)), picks)


def test_estimates_are_those_of_the_stacked_normal_equations():
    # universal kriging written out whole: one linear system with the drift beside the covariances
    sizes, generator = truth(1, 0.6)
    weights = weighed(sizes, generator, each=12)
    node = fit_seasons(weights).nodes[0]
    tie = np.where(weights.season[:, None] == weights.season, 1.0, node.lasting)
    alike = weights.vine[:, None] == weights.vine
    covariance = tie * ((1 - node.share) * np.exp(-cdist(weights.place, weights.place) / node.range_m) + node.share * alike)
    drift = (weights.season[:, None] == np.array([2026, 2027])).astype(float)
    point = np.array([[33.0, 71.0]])
    near = (1 - node.share) * np.exp(-cdist(weights.place, point) / node.range_m)[:, 0]
    towards = np.where(weights.season == 2027, 1 - node.lasting, node.lasting - 1)
    system = np.block([[covariance, drift], [drift.T, np.zeros((2, 2))]])
    right = np.concatenate([near * towards, [-1.0, 1.0]])
    solved = np.linalg.solve(system, right)
    prior = 2 * (1 - node.lasting) * ((1 - node.share) + node.share / 4)
    mean, variance = node_estimate(node, weights, [Target(point, 4.0)], {2027: 1.0, 2026: -1.0})
    assert mean[0] == pytest.approx(solved[:24] @ weights.size_kg)
    assert variance[0] == pytest.approx(node.variance * (prior - solved @ right))


def test_the_change_is_recovered_and_its_range_holds_it():
    held, zone_held, runs = [], [], 24
    for seed in range(runs):
        sizes, generator = truth(seed, 0.6)
        model = fit_seasons(weighed(sizes, generator))
        places = np.arange(0, len(PANELS), 7)
        found = model.change([Target(PANELS[[k]], PER_PANEL) for k in places], 2026, 2027)
        true = (sizes[1] - sizes[0]).mean(axis=1)[places]
        held.append((np.abs(found.mean - true) < 1.645 * found.error).mean())
        half = model.change([zone_target(PANELS[:50], 200.0)], 2026, 2027)
        zone_held.append(abs(half.mean[0] - (sizes[1] - sizes[0])[:50].mean()) < 1.645 * half.error[0])
    # 24 fields: 0.9 +- 0.03 of panels, 0.9 +- 0.06 of zones; 3 standard errors. docs/seasons.md tells the long run
    assert 0.81 < np.mean(held) < 0.99
    assert np.mean(zone_held) > 0.72


def test_winters_alike_last_and_winters_unlike_do_not():
    alike, unlike = (
        np.mean([fit_seasons(weighed(*truth(seed, share))).lasting[0] for seed in range(6)]) for share in (0.95, 0.05)
    )
    assert unlike < 0.5 < alike


def test_too_few_weights_are_refused():
    sizes, generator = truth(1, 0.6)
    with pytest.raises(TooFewWeights):
        fit_seasons(weighed(sizes, generator, each=2))


def test_kappa_worked_by_hand():
    # 20 alike of class 0, 15 of class 1, 5 and 10 unlike: 0.7 alike; by chance 0.5 x 0.6 + 0.5 x 0.4 = 0.5;
    # (0.7 - 0.5) / 0.5 = 0.4
    one, other = [0] * 25 + [1] * 25, [0] * 20 + [1] * 5 + [0] * 10 + [1] * 15
    assert agreement(one, other) == pytest.approx((0.7, 0.4))
    assert size_classes([5.0, 1.0, 3.0, 2.0, 4.0, 6.0]).tolist() == [2, 0, 1, 0, 1, 2]


def test_crop_load_worked_by_hand():
    # 4000 kg on 1000 vines of 0.5 kg: 4 / 0.5 = 8; size 0.5 +- 1.645 x 0.05 = 0.41775 to 0.58225: 4 / 0.58225, 4 / 0.41775
    assert crop_load(4000.0, 0.5, 0.05, 1000.0) == pytest.approx((6.8699, 8.0, 9.5751), rel=1e-4)
    assert np.isnan(crop_load(float("nan"), 0.5, 0.05, 1000.0)).all()


def test_what_other_blocks_say_of_the_share_that_lasts_is_taken_in():
    sizes, generator = truth(3, 0.9)
    weights = weighed(sizes, generator)
    alone, none = fit_seasons(weights), fit_seasons(weights, np.zeros(7))
    assert alone.lasting == none.lasting
    # Bayes' rule written out: the marginal likelihood of the shares, times that of the others, made to one.
    beside = np.array([-9.0, -6.0, -3.0, 0.0, -1.0, -2.0, -4.0])
    chance = np.exp(lasting_evidence(weights) + beside)
    chance /= chance.sum()
    assert fit_seasons(weights, beside).lasting[0] == pytest.approx(chance @ LASTING, abs=1e-3)


def test_four_blocks_tell_the_share_that_lasts_better_than_one():
    off = {"alone": [], "together": []}
    for lasting in (0.02, 0.95):
        blocks = [weighed(*truth(seed, lasting)) for seed in range(10, 14)]
        evidence = [lasting_evidence(weights) for weights in blocks]
        for weights, own in zip(blocks, evidence, strict=True):
            off["alone"].append(abs(fit_seasons(weights).lasting[0] - lasting))
            off["together"].append(abs(fit_seasons(weights, sum(evidence) - own).lasting[0] - lasting))
    assert np.mean(off["together"]) < 0.8 * np.mean(off["alone"])


def test_one_winter_says_nothing_of_what_lasts():
    sizes, generator = truth(1, 0.6)
    weights = weighed(sizes, generator).only(2027)
    assert not lasting_evidence(weights).any()
    assert fit_seasons(weights, np.arange(7.0)).lasting == pytest.approx((0.5, 0.0), abs=1e-6)
