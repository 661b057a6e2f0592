"""The local pivotal method: chances held exactly, samples spread out (Grafstrom, Lundstrom & Schelin 2012)."""

import numpy as np
import pytest
from scipy.spatial.distance import cdist

from geoprune.sampling import local_pivotal


def voronoi_balance(points, chosen, chance):
    """Stevens & Olsen's measure (2004, JASA 99:262-278): variance of the chances summed over each chosen unit's cell."""
    owner = cdist(points, points[chosen]).argmin(axis=1)
    return np.mean(np.square(np.bincount(owner, chance, minlength=len(chosen)) - 1.0))


def test_unequal_chances_are_held():
    rng = np.random.default_rng(3)
    points = rng.uniform(size=(40, 2))
    chance = rng.uniform(0.05, 0.5, 40)
    chance *= 10 / chance.sum()
    times, draws = np.zeros(40), 1000
    for _ in range(draws):
        chosen = local_pivotal(points, chance, rng=rng)
        assert len(chosen) == 10
        times[chosen] += 1
    z = (times / draws - chance) / np.sqrt(chance * (1 - chance) / draws)
    assert np.abs(z).max() < 4.0  # binomial error; 1 in 400 by chance over 40 units
    assert 0.7 < z.std() < 1.3


def test_certain_and_impossible_units():
    chance = np.array([1.0, 0.0, 0.5, 0.5, 0.0])
    for seed in range(20):
        chosen = local_pivotal(np.arange(10.0).reshape(5, 2), chance, rng=np.random.default_rng(seed))
        assert len(chosen) == 2
        assert 0 in chosen
        assert not {1, 4} & set(chosen.tolist())


def test_samples_are_spread_out():
    rng = np.random.default_rng(5)
    points = np.stack(np.meshgrid(np.arange(20.0), np.arange(20.0)), -1).reshape(-1, 2)
    chance = np.full(400, 20 / 400)
    ours = [voronoi_balance(points, local_pivotal(points, chance, rng=rng), chance) for _ in range(25)]
    random = [voronoi_balance(points, rng.choice(400, 20, replace=False), chance) for _ in range(25)]
    assert np.mean(ours) < 0.5 * np.mean(random)


def test_the_mean_of_a_trend_varies_less_and_is_not_biased():
    rng = np.random.default_rng(7)
    points = np.stack(np.meshgrid(np.arange(15.0), np.arange(20.0)), -1).reshape(-1, 2)
    values = points @ [1.0, 0.5]
    chance = np.full(300, 15 / 300)
    ours = np.array([values[local_pivotal(points, chance, rng=rng)].mean() for _ in range(250)])
    random = np.array([values[rng.choice(300, 15, replace=False)].mean() for _ in range(250)])
    assert ours.mean() == pytest.approx(values.mean(), abs=4 * ours.std() / np.sqrt(250))
    assert ours.var() < 0.25 * random.var()


def test_a_chance_beyond_one_is_refused():
    with pytest.raises(ValueError, match="between 0 and 1"):
        local_pivotal(np.zeros((2, 2)), np.array([0.5, 1.5]), rng=np.random.default_rng(0))
