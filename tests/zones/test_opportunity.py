"""The opportunity indices against closed forms and figures worked by hand.

Definition: Pringle, McBratney, Whelan & Taylor 2003, Agricultural Systems 76:273-292, form from memory; opening by the
footprint: abstract of Tisseyre & McBratney 2008, Precision Agriculture 9:101-113.
"""

from itertools import pairwise

import numpy as np
import pytest
from scipy.spatial.distance import cdist
from sklearn.linear_model import LinearRegression
from sklearn.preprocessing import PolynomialFeatures
from small_blocks import BUDS_PER_KG, PER_PANEL, ROW_M, VINE_M, draws_of, field_of, lay_block, need

from geoprune.sizes import SizeDraws
from geoprune.zones import ZoneOptions, draw_zones
from geoprune.zones.drawing import Drawn, set_task
from geoprune.zones.opportunity import alike_area_ha, integral_area_m2, measure_opportunity, pringle_index


def test_index_worked_by_hand():
    # twice the reference variation; alike over 0.5 ha, treated in 0.02 ha: sqrt(2 x 25) = 7.0711
    assert pringle_index(np.array([0.3]), 0.15, np.array([0.5]), 0.02) == pytest.approx([7.0710678])
    # as varied as the reference and alike over just what can be treated: 1
    assert pringle_index(np.array([0.2]), 0.2, np.array([0.02]), 0.02) == pytest.approx([1.0])


@pytest.mark.parametrize("range_m", [5.0, 20.0])
def test_integral_area_has_its_closed_form(range_m):
    edges = np.linspace(0, 40 * range_m, 20_001)
    middle = (edges[1:] + edges[:-1]) / 2
    exponential = np.exp(-middle / range_m)
    assert integral_area_m2(edges, exponential) == pytest.approx(2 * np.pi * range_m**2, rel=1e-4)
    u = np.minimum(middle / range_m, 1.0)
    spherical = 1 - 1.5 * u + 0.5 * u**3
    assert integral_area_m2(edges, spherical) == pytest.approx(np.pi * range_m**2 / 5, rel=1e-4)


def test_a_plane_is_alike_all_over_and_noise_nowhere():
    place = np.stack(np.meshgrid(np.arange(25) * 6.0, np.arange(24) * 6.0), axis=-1).reshape(-1, 2)
    rng = np.random.default_rng(0)
    plane, noise = place @ [0.01, 0.02] + 1, rng.normal(size=len(place))
    alike = alike_area_ha(place, np.array([plane, noise]), 2.0)
    assert alike[0] == pytest.approx(2.0)
    assert alike[1] < 0.1


def test_a_field_is_alike_over_the_integral_of_its_own_correlation():
    # exponential, 12 m: 2 pi 12^2 = 905 m2 without the trend's part; the trend takes a little of it
    place = np.stack(np.meshgrid(np.arange(24) * 9.0, np.arange(25) * 9.0), axis=-1).reshape(-1, 2)
    factor = np.linalg.cholesky(np.exp(-cdist(place, place) / 12.0) + 1e-9 * np.eye(len(place)))
    fields = (factor @ np.random.default_rng(1).normal(size=(len(place), 40))).T
    alike_m2 = alike_area_ha(place, fields, 4.86).mean() * 10_000
    assert 905 <= alike_m2 <= 905 + 0.06 * 48_600


def test_the_smallest_area_is_a_shortest_run_and_the_reference_one_bud_step():
    trellis, _ = lay_block([12] * 8)
    zoning = draw_zones(trellis, draws_of(field_of(trellis, 1)), need, options=ZoneOptions(shortest_run=4, bud_step=5))
    said = zoning.benefit.opportunity
    assert said.smallest_area_ha == pytest.approx(4 * PER_PANEL * VINE_M * ROW_M / 10_000)
    assert said.reference_cv == pytest.approx(5 / (40 * 0.9), rel=0.1)  # 40 buds a kilogram, mean near 0.9 kg
    assert said.cv > 0
    assert said.index > 0


def test_the_whole_index_is_the_printed_formula_computed_another_way():
    """Pringle et al. 2003 as told above, pair by pair, with the trend fitted by scikit-learn."""
    trellis, _ = lay_block([10] * 7)
    draws = SizeDraws(np.array([field_of(trellis, seed, length_m=50.0) for seed in (1, 2, 3)]), np.full(3, 0.1))
    benefit = draw_zones(trellis, draws, need, options=ZoneOptions(bud_step=5)).benefit
    middles = trellis.panels.geometry.interpolate(0.5, normalized=True)
    place = np.column_stack([middles.x, middles.y])
    apart = cdist(place, place)
    edges = np.linspace(0, np.median(apart[np.triu_indices(len(place), 1)]), 25)
    panel_ha = PER_PANEL * VINE_M * ROW_M / 10_000
    terms = PolynomialFeatures(2).fit_transform(place - place.mean(axis=0))
    mean_kg = draws.panel_mean.mean()
    found = []
    for size in draws.panel_mean:
        fitted = LinearRegression(fit_intercept=False).fit(terms, size)
        rest, explained = size - fitted.predict(terms), fitted.score(terms, size)
        area_m2 = 0.0
        for low, high in pairwise(edges):
            pairs = [rest[i] * rest[j] for i in range(70) for j in range(i) if low <= apart[i, j] < high]
            rho = np.mean(pairs) / rest.var() if pairs else 0.0
            if rho <= 0:
                break
            area_m2 += np.pi * (high**2 - low**2) * min(rho, 1.0)
        alike_ha = explained * 70 * panel_ha + (1 - explained) * min(area_m2 / 10_000, 70 * panel_ha)
        reference = 5 / (BUDS_PER_KG * mean_kg)  # the straight rule: buds rise by 40 x mean per unit of CV; a step is 5
        found.append(np.sqrt(size.std() / size.mean() / reference * alike_ha / (3 * panel_ha)))
    assert benefit.opportunity.index == pytest.approx(np.mean(found), rel=1e-6)


def test_opening_by_a_run_takes_what_is_shorter():
    # one row of 12 panels; own best zones 000 1 000 11111: the single panel is opened away
    trellis, _ = lay_block([12])
    size = np.where(np.isin(np.arange(12), [3, 7, 8, 9, 10, 11]), 1.25, 0.5)
    draws = SizeDraws(np.repeat(size[None, :], 5, axis=0), np.full(5, 1e-6))
    task = set_task(trellis, draws, need, ZoneOptions(shortest_run=3))
    chosen = (int(np.flatnonzero(task.counts == 20)[0]), int(np.flatnonzero(task.counts == 50)[0]))
    drawn = Drawn(np.zeros(12, dtype=np.int64), chosen, 0.0, 0.0)
    said = measure_opportunity(trellis, draws, need, task, drawn)
    assert said.technical_opportunity_share == pytest.approx(11 / 12)
