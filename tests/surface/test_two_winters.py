"""Two winters on the same block: what a vine weighed again still tells, and a winter that was weaker."""

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from invented_block import make_vineyard, sample_table

from geoprune.surface import check_observations, fit_surface
from geoprune.surface.observations import DRAWN, LASTING, LASTING_PAIRS, WINTERS_APART


@pytest.fixture(scope="module")
def made():
    return make_vineyard(seed=4, range_m=120, nugget_share=0.5, samples=24, cv=0.35, block="small")


def winters(made, factor, noise):
    """This winter's weights, and last winter's of the same vines."""
    vines = np.sort(made.samples["vine_id"].to_numpy())
    rng = np.random.default_rng(8)
    last = np.maximum(made.size_kg + noise * rng.standard_normal(len(made.size_kg)), 0.05) * factor
    tables = [sample_table(made.trellis, vines, size, season=year) for size, year in ((made.size_kg, 2026), (last, 2025))]
    return tables[0], gpd.GeoDataFrame(pd.concat(tables, ignore_index=True))


def test_a_vine_weighed_again_is_one_reading_whose_noise_is_that_of_the_mixture(made):
    """The variance of (1 - w) n2 + w n1 with correlation L, written out; L drawn to what is believed of it."""
    _now, both = winters(made, 1.0, 0.3)
    seen = check_observations(made.trellis, both).observations
    assert seen.seasons == [2026]
    assert [remark.message.key for remark in seen.remarks] == ["surface.weighed_again"]
    tables = [both["vine_weight_kg"].to_numpy()[part] for part in (slice(24), slice(24, 48))]
    tables[1] = tables[1] * strength_of(*tables)
    after, before = (table - table.mean() for table in tables)
    found = after @ before / np.sqrt((after @ after) * (before @ before))
    likeness = (24 * found + LASTING_PAIRS * LASTING) / (24 + LASTING_PAIRS)
    mixture, covariance = np.array([1.0 - DRAWN, DRAWN]), np.array([[1.0, likeness], [likeness, 1.0]])
    assert seen.noise == pytest.approx(mixture @ covariance @ mixture, rel=1e-9)
    assert seen.values == pytest.approx(tables[0].mean() + mixture @ np.array([after, before]), rel=1e-9)


def strength_of(now, then):
    unsure = sum(table.var(ddof=1) / len(table) / table.mean() ** 2 for table in (now, then))
    return (now.mean() / then.mean()) ** (WINTERS_APART**2 / (WINTERS_APART**2 + unsure))


def test_a_vine_of_three_winters_is_drawn_to_the_mean_of_the_two_before(made):
    vines = np.sort(made.samples["vine_id"].to_numpy())
    sizes = [made.size_kg, made.size_kg * (1 + 0.1 * np.sin(np.arange(len(made.size_kg)))), made.size_kg[::-1].copy()]
    tables = [sample_table(made.trellis, vines, size, season=2026 - k) for k, size in enumerate(sizes)]
    weights = [table["vine_weight_kg"].to_numpy() for table in tables]
    weights[1:] = [table * strength_of(weights[0], table) for table in weights[1:]]
    levels = [table - table.mean() for table in weights]
    seen = check_observations(made.trellis, gpd.GeoDataFrame(pd.concat(tables, ignore_index=True))).observations
    drawn = weights[0] + DRAWN * ((levels[1] + levels[2]) / 2 - levels[0])
    assert seen.values == pytest.approx(drawn, rel=1e-9)


def test_other_vines_of_last_winter_count_in_full(made):
    now = winters(made, 1.0, 0.3)[0]
    others = np.setdiff1d(np.arange(20, 1400, 60), now["vine_id"])
    older = sample_table(made.trellis, others, made.size_kg, season=2025)
    seen = check_observations(made.trellis, gpd.GeoDataFrame(pd.concat([now, older], ignore_index=True))).observations
    assert seen.noise == pytest.approx(1.0)


def test_a_weaker_winter_is_brought_to_this_winters_strength_and_told_as_it_was(made):
    now = winters(made, 1.0, 0.0)[0]
    others = np.setdiff1d(np.arange(20, 1400, 60), now["vine_id"])
    older = sample_table(made.trellis, others, 0.6 * made.size_kg, season=2025)
    both = gpd.GeoDataFrame(pd.concat([now, older], ignore_index=True))
    seen = check_observations(made.trellis, both).observations
    weights = older["vine_weight_kg"].to_numpy()
    factor = strength_of(seen.values[:24], weights)
    assert 1.2 < factor < 1.0 / 0.6 * 1.2
    assert seen.strength[24:] == pytest.approx(factor, rel=1e-9)
    assert seen.values[24:] == pytest.approx(factor * weights, rel=1e-9)
    assert (seen.strength[:24] == 1.0).all()
    told = fit_surface(made.trellis, both).samples["loo_kg"].to_numpy()
    assert np.mean(told[24:]) == pytest.approx(np.mean(weights), rel=0.15)


def test_one_winter_is_read_as_it_is(made):
    seen = check_observations(made.trellis, made.samples).observations
    assert seen.values == pytest.approx(made.samples["vine_weight_kg"].to_numpy(), rel=1e-12)
    assert (seen.noise == 1.0).all()


def test_the_same_vines_weighed_again_do_not_make_panels_worse():
    """Own parts that last by 0.6, on eight blocks: with the same 20 vines last winter and without."""
    alone, both = [], []
    for seed in range(8):
        one = make_vineyard(seed=seed, range_m=120, nugget_share=0.5, samples=20, cv=0.35, block="small")
        rng, own = np.random.default_rng(seed), one.size_kg - one.field_kg
        last = one.field_kg + 0.6 * own + 0.8 * own.std() * rng.standard_normal(len(own))
        vines = one.samples["vine_id"].to_numpy()
        older = sample_table(one.trellis, vines, np.maximum(last, 0.05), season=2025)
        now = one.samples.assign(season=2026.0)
        for squares, table in ((alone, now), (both, pd.concat([now, older], ignore_index=True))):
            told = fit_surface(one.trellis, gpd.GeoDataFrame(table, crs=now.crs), draws=5).panels["vine_size_kg"]
            squares.append(np.mean(np.square(told - one.panel_means())) / one.truth["variance_kg2"])
    assert np.mean(both) < 1.02 * np.mean(alone)
