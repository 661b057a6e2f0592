"""Laws of zones: a partition of the block that does not depend on how the block was written down."""

import numpy as np
import pytest
import shapely
from small_blocks import draws_of, field_of, lay_block, need

from geoprune.sizes import SizeDraws
from geoprune.trellis import middle_points
from geoprune.zones import ZoneOptions, draw_zones, zone_shapes
from geoprune.zones.graph import build_graph


def zoned(trellis, **options):
    """Zones from draws that are a function of the place alone."""
    draws = np.array([field_of(trellis, seed=7, sd_kg=0.35) + shift for shift in np.linspace(-0.1, 0.1, 12)])
    return draw_zones(trellis, SizeDraws(draws, np.full(12, 0.1)), need, options=ZoneOptions(**options))


def by_place(trellis, zoning):
    """Zone by the panel's middle, so that blocks written down differently can be compared."""
    return {
        tuple(place.round(3)): zone for place, zone in zip(middle_points(trellis.panels), zoning.panel_zone, strict=True)
    }


SHAPE = [14, 16, 18, 18, 18, 17, 18, 18, 15, 14]


@pytest.fixture(scope="module")
def plain():
    trellis, outline = lay_block(SHAPE)
    return trellis, outline, zoned(trellis)


def test_every_vine_is_in_exactly_one_zone(plain):
    trellis, _, zoning = plain
    assert zoning.verdict == "zone"
    assert len(zoning.panel_zone) == len(trellis.panels)
    assert set(zoning.panel_zone) == set(range(1, len(zoning.buds) + 1))
    held = np.bincount(zoning.panel_zone, trellis.panels["vines"])
    assert held.sum() == len(trellis.vines)


def test_areas_sum_to_the_block_and_zones_do_not_overlap(plain):
    trellis, outline, zoning = plain
    shapes = zone_shapes(trellis, outline, zoning.panel_zone)
    assert shapes.area.sum() == pytest.approx(outline.area, rel=1e-9)
    assert shapely.union_all(shapes.to_numpy()).area == pytest.approx(outline.area, rel=1e-9)
    assert (shapes.geom_type == "MultiPolygon").all()
    assert shapes.is_valid.all()
    for zone, shape in shapes.items():
        middles = shapely.points(middle_points(trellis.panels)[zoning.panel_zone == zone])
        assert shapely.covers(shape, middles).all()


def test_the_order_of_rows_in_the_file_does_not_matter(plain):
    trellis, _, zoning = plain
    for seed in (1, 2):
        other, _ = lay_block(SHAPE, shuffled=seed)
        assert by_place(other, again := zoned(other)) == by_place(trellis, zoning)
        assert again.buds.tolist() == zoning.buds.tolist()


def test_the_direction_of_lines_does_not_matter(plain):
    trellis, _, zoning = plain
    for turned in ({0, 3, 4}, set(range(10))):
        other, _ = lay_block(SHAPE, turned=turned)
        assert by_place(other, zoned(other)) == by_place(trellis, zoning)


@pytest.mark.parametrize("bearing", [37.0, 90.0, 180.0])
def test_the_way_the_block_lies_does_not_matter(bearing):
    straight, _ = lay_block(SHAPE)
    turned, _ = lay_block(SHAPE, bearing_deg=bearing)
    size = field_of(straight, seed=7, sd_kg=0.35)
    # panels keep their row's name and number, so sizes are handed over by them
    place = straight.panels.set_index(["row", "panel"]).index.get_indexer(turned.panels.set_index(["row", "panel"]).index)
    one = draw_zones(straight, draws_of(size, doubt_kg=0.0, vine_sd_kg=0.1), need)
    other = draw_zones(turned, draws_of(size[place], doubt_kg=0.0, vine_sd_kg=0.1), need)
    assert (one.panel_zone[place] == other.panel_zone).all()


def test_units_of_weight_do_not_matter(plain):
    trellis, _, zoning = plain
    in_pounds = SizeDraws(
        np.array([field_of(trellis, seed=7, sd_kg=0.35) + s for s in np.linspace(-0.1, 0.1, 12)]) / 0.45359237,
        np.full(12, 0.1 / 0.45359237),
    )
    other = draw_zones(trellis, in_pounds, lambda pounds: need(0.45359237 * pounds))
    assert (other.panel_zone == zoning.panel_zone).all()
    assert other.benefit.gains.saving_buds.value == pytest.approx(zoning.benefit.gains.saving_buds.value)


def test_vines_that_are_gone_weigh_nothing():
    gone = [(f"R{row}", vine) for row in range(1, 6) for vine in range(1, 13)]
    trellis, _ = lay_block([12] * 10, missing=gone)
    size = field_of(trellis, seed=7)
    wild = size.copy()
    wild[trellis.panels["counted"] == 0] = 5.0
    assert (trellis.panels["counted"] == 0).sum() == 20
    one, other = (draw_zones(trellis, draws_of(s, doubt_kg=0.0), need) for s in (size, wild))
    assert one.benefit.gains.one_number_misfit.value == pytest.approx(other.benefit.gains.one_number_misfit.value, rel=1e-9)
    assert one.one_number == other.one_number


def test_the_same_draws_give_the_same_zones(plain):
    trellis, _, zoning = plain
    assert (zoned(trellis).panel_zone == zoning.panel_zone).all()


def test_rows_of_other_lengths_keep_their_neighbours():
    trellis, _ = lay_block([10, 4, 10, 10], offsets_m=[0, 18, 0, 6])
    graph = build_graph(trellis)
    rows = trellis.panels["row_order"].to_numpy()
    assert (np.abs(rows[graph.across[:, 0]] - rows[graph.across[:, 1]]) == 1).all()
    faced = np.bincount(graph.across.ravel(), np.repeat(graph.across_weight, 2), minlength=len(rows))
    middle_row = faced[rows == 1]  # one neighbour a side; beyond its ends the others' panels lean on its last ones
    assert middle_row[1:-1] == pytest.approx([2.0, 2.0])
    assert (middle_row <= 3.0).all()
