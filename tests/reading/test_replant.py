"""Areas to replant on an invented block of 12 straight rows, 3 m apart, vines 2 m apart."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from pyproj import CRS
from shapely import LineString, Point, box

from geoprune import build_trellis, place_samples
from geoprune.layers import Vineyard
from geoprune.replant import find_replant_areas

UTM = CRS.from_epsg(32617)


def trellis(vines, **status):
    entry = {"block": "A", "row_spacing_m": 3.0, "vine_spacing_m": 2.0, "vines_per_panel": 4, "row_bearing_deg": np.nan}
    blocks = gpd.GeoDataFrame([entry], geometry=[box(-3, 0, 40, 60)], crs=UTM)
    lines = [LineString([(3 * k, 0), (3 * k, 60)]) for k in range(12)]
    rows = gpd.GeoDataFrame({"block": "A", "row": [str(k + 1) for k in range(12)]}, geometry=lines, crs=UTM)
    said = pd.DataFrame(vines, columns=["row", "vine", "status"]).astype({"row": str}).assign(block="A")
    table = gpd.GeoDataFrame(said, geometry=[Point(0, 0)] * len(said), crs=UTM)
    none = gpd.GeoDataFrame(geometry=[], crs=UTM)
    return build_trellis(Vineyard(blocks, rows, table, none, None, UTM), "A")


def weighed(laid, *weights, vines_weighed=1):
    table = pd.DataFrame(weights, columns=["row", "vine", "vine_weight_kg"]).astype({"row": str})
    table = table.assign(block="A", vines_weighed=vines_weighed, source_row=1)
    return place_samples(gpd.GeoDataFrame(table, geometry=[None] * len(table), crs=UTM), laid)


def areas(vines, *weights, **options):
    laid = trellis(vines)
    return find_replant_areas(laid, weighed(laid, *weights), weak_kg=0.11, **options)


CLUMP = [(r, v, "missing") for r in (4, 5, 6) for v in (10, 11, 12)]


def test_a_clump_over_three_rows():
    (area,) = areas(CLUMP).itertuples()
    assert (area.vines_missing, area.vines_weak, area.first_row, area.last_row) == (9, 0, "4", "6")
    assert area.row_length_m == pytest.approx(3 * 6.0)
    assert area.geometry.bounds == pytest.approx((9 - 1.515, 18, 15 + 1.515, 24))
    assert area.geometry.area == pytest.approx(9.03 * 6, rel=1e-6)
    assert area.area_ha > 0
    assert area.reason == "missing or dead vines close together"


def test_the_area_follows_the_rows():
    # gaps lie along one row only: a strip a row spacing wide, from the first gap to the last
    (area,) = areas([(5, v, "dead") for v in (3, 5, 7, 9)]).itertuples()
    assert area.geometry.bounds == pytest.approx((12 - 1.515, 4, 12 + 1.515, 18))
    assert (area.vines_missing, area.row_length_m) == (4, pytest.approx(14.0))


def test_few_or_scattered_gaps_are_not_worth_a_trip():
    assert areas(CLUMP[:3]).empty
    assert areas([(r, 3 * r, "missing") for r in range(1, 12, 2)]).empty
    assert areas([]).empty


def test_weighed_weak_vines_count_and_large_ones_do_not():
    gaps = [(5, v, "missing") for v in (3, 4, 5)]
    (area,) = areas(gaps, (5, 6, 0.05), (6, 4, 0.10), (6, 5, 0.30)).itertuples()
    assert (area.vines_missing, area.vines_weak) == (3, 2)
    assert area.reason == "missing, dead and very small vines close together"


def test_a_weight_of_several_vines_names_no_weak_vine():
    laid = trellis([(5, v, "missing") for v in (3, 4, 5)])
    together = weighed(laid, (5, 7, 0.05), vines_weighed=3)
    assert find_replant_areas(laid, together, weak_kg=0.11).empty


def test_panels_of_very_small_vines():
    laid = trellis([])
    size = np.where((laid.panels["row"] == "7") & (laid.panels["panel"] == 2), 0.08, 0.9)
    (area,) = find_replant_areas(laid, weighed(laid, (1, 1, 1.0)), weak_kg=0.11, panel_size_kg=size).itertuples()
    assert (area.vines_missing, area.vines_weak, area.row_length_m) == (0, 4, pytest.approx(8.0))
    assert area.reason == "very small vines close together"


def test_diseased_vines_within_the_area_are_reported():
    sick = [(5, 11, "diseased"), (1, 1, "diseased")]
    gaps = [(r, v, "missing") for r in (4, 5, 6) for v in (10, 12)]
    (area,) = areas([*gaps, *sick]).itertuples()
    assert (area.vines_missing, area.vines_diseased) == (6, 1)


def test_the_largest_area_comes_first_and_counts_add_up():
    vines = [*CLUMP, *[(r, v, "dead") for r in (9, 10) for v in (25, 26)]]
    table = areas(vines)
    assert table["area"].tolist() == [1, 2]
    assert table["vines_missing"].tolist() == [9, 4]
    assert table["vines_missing"].sum() == len(vines)
    assert (table.geom_type == "MultiPolygon").all()


def test_young_vines_are_no_gap():
    assert areas([(r, v, "young") for r, v, _ in CLUMP]).empty
