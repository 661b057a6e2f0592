"""Rows that are not drawn: which way they may run, what counts and sides set, and what is told of a wrong bearing."""

from __future__ import annotations

import geopandas as gpd
import invented_vineyard as iv
import numpy as np
import pandas as pd
import pytest
from shapely import LineString, MultiPolygon, affinity, box
from test_trellis import straight
from test_trellis import vineyard as hand_made

from geoprune import DataError, build_trellis, read_vineyard
from geoprune.trellis import lay_rows
from geoprune.trellis.bearing import propose_bearings, side_turn_deg, turn_deg


def turned(degrees, width=60.0, length=200.0):
    """A block whose long sides lie so many degrees clockwise from north."""
    return affinity.rotate(box(0, 0, width, length), -degrees, origin="center")


# Bearings


@pytest.mark.parametrize("degrees", [0.0, 12.5, 44.0, 89.0, 91.0, 140.0, 179.0])
def test_the_longest_sides_come_first_and_are_looked_along_northwards(degrees):
    first, second = propose_bearings(turned(degrees))
    assert abs(turn_deg(first.degrees, degrees)) < 1e-6
    assert abs(turn_deg(second.degrees, degrees + 90)) < 1e-6
    assert np.cos(np.deg2rad(first.degrees)) > -1e-9
    assert (first.why, second.why) == ("side", "other_side")


def test_a_corner_cut_off_and_a_bent_side_do_not_turn_the_rows():
    outline = turned(20).difference(affinity.translate(turned(65, 30, 30), 0, 100)).union(box(20, 40, 22, 41))
    assert abs(turn_deg(propose_bearings(MultiPolygon([outline]))[0].degrees, 20)) < 2.0


def phone_places(block_turn, row_turn, rows=6, error_m=3.0, seed=2, flipped=False):
    rng = np.random.default_rng(seed)
    angle = np.deg2rad(row_turn)
    along, right = np.array([np.sin(angle), np.cos(angle)]), np.array([np.cos(angle), -np.sin(angle)])
    tables = []
    for number in range(1, rows + 1):
        steps = np.array([-60.0, 0.0, 55.0])[:, None] * along + (8.0 * number - 30.0) * right
        places = np.array([30.0, 100.0]) + steps + rng.normal(0, error_m / 2, (3, 2))
        name = f"F{rows + 1 - number if flipped else number}"
        tables.append(pd.DataFrame({"row": name, "easting": places[:, 0], "northing": places[:, 1]}))
    return pd.concat(tables, ignore_index=True)


def test_vines_of_named_rows_overrule_the_sides_and_tell_where_row_1_stands():
    first = propose_bearings(turned(0), phone_places(0, 60.0))[0]
    assert (first.why, first.length_m) == ("vines", 6)
    assert abs(turn_deg(first.degrees, 60.0)) < 2.5
    near = propose_bearings(turned(60), phone_places(60, 64.0))[0]
    assert near.degrees == pytest.approx(60.0)  # the side is drawn more exactly than a phone tells places
    assert propose_bearings(turned(60), phone_places(60, 60.0, flipped=True))[0].degrees == pytest.approx(240.0)


def test_too_few_rows_tell_nothing():
    assert propose_bearings(turned(0), phone_places(0, 60.0, rows=2))[0].why == "side"


def test_the_turn_from_the_nearest_long_side():
    assert side_turn_deg(turned(20), 30.0) == pytest.approx(10.0)
    assert side_turn_deg(turned(20), 200.0) == pytest.approx(0.0, abs=1e-6)


# What counts and sides set


def laid(outline=None, **said):
    made = hand_made(outline=outline or box(0, 0, 60, 100), bearing=0.0)
    return lay_rows(made.__class__(**{**vars(made), "blocks": made.blocks.assign(**said)}), "A").rows


def easts(rows):
    return [line.coords[0][0] for line in rows.geometry]


def test_row_1_and_vine_1_stand_where_the_block_says():
    west, east = laid(), laid(first_row_side="E")
    assert easts(west) == sorted(easts(west))
    assert easts(east) == easts(west)[::-1]
    assert east["row"].tolist() == west["row"].tolist()
    south, north = laid(vine_1_end="S"), laid(vine_1_end="N")
    assert south.geometry.iloc[0].coords[0][1] < south.geometry.iloc[0].coords[-1][1]
    assert north.geometry.iloc[0].coords[0][1] > north.geometry.iloc[0].coords[-1][1]
    assert easts(north) == easts(south)


def test_a_side_that_rows_do_not_have_is_refused():
    with pytest.raises(DataError, match=r"first_row_side is N, but rows at 0 degrees have no such side\. Give E or W"):
        laid(first_row_side="N")
    with pytest.raises(DataError, match="vine_1_end is W, but rows at 0 degrees"):
        laid(vine_1_end="W")


def test_counted_rows_set_the_layout_where_one_or_two_more_or_fewer_fit():
    assert len(laid()) == 20
    nineteen = laid(rows_counted=19.0)
    assert len(nineteen) == 19
    assert easts(nineteen)[0] - 0 == pytest.approx(60 - easts(nineteen)[-1])  # as far from the left as from the right
    np.testing.assert_allclose(np.diff(easts(nineteen)), 3.0)
    assert len(laid(rows_counted=12.0)) == 20


@pytest.mark.parametrize("said", [4, None])
def test_posts_are_surveyed_only_where_the_block_tells_them(said):
    trellis = build_trellis(hand_made(straight(2), per_panel=np.nan if said is None else said), "A")
    assert trellis.posts_surveyed is (said is not None)


# What is told


def remarks(tmp_path, outline, **changed):
    table = iv.blocks(**changed).set_geometry(gpd.GeoSeries([outline], crs=iv.CRS))
    middle = outline.centroid
    points = [affinity.translate(middle, x, y) for x in (-12.0, 0.0, 12.0) for y in (-20.0, 0.0, 20.0)]
    lonlat = gpd.GeoSeries(points, crs=iv.CRS).to_crs(4326)
    weights = pd.DataFrame({"lon": lonlat.x, "lat": lonlat.y, "pruning_weight_kg": 1.0})
    vineyard, samples = iv.write(tmp_path, weights, blocks=table, rows=None)
    return {r.message.key.split(".")[1]: r.message.fields for r in read_vineyard(vineyard, samples=samples).remarks}


def placed(outline):
    return affinity.translate(outline, iv.WEST, iv.SOUTH)


@pytest.mark.parametrize("shape", [turned(0), turned(30), turned(0, 100, 100)])
def test_a_bearing_ten_degrees_off_is_reported(tmp_path, shape):
    aligned = propose_bearings(shape)[0].degrees
    said = remarks(tmp_path, placed(shape), row_bearing_deg=aligned + 10.0)["bearing_off_side"]
    assert said["degrees"] == pytest.approx(10.0, abs=1.2)  # the grid stands some 0.8 degrees off true north here
    assert said["stubs"] >= 4


def test_rows_along_a_side_and_rows_of_a_triangle_are_not_doubted(tmp_path):
    assert "bearing_off_side" not in remarks(tmp_path, placed(turned(30)), row_bearing_deg=30.5)
    triangle = LineString([(0, 0), (0, 150), (100, 0)]).convex_hull
    assert "bearing_off_side" not in remarks(tmp_path, placed(triangle), row_bearing_deg=0.5)


def test_counts_that_do_not_fit_are_reported(tmp_path):
    said = remarks(tmp_path, placed(turned(0)), row_bearing_deg=0.0, rows_counted=40, vines_in_first_row=80)
    assert said["rows_counted_differ"]["counted"] == 40
    assert said["first_row_differs"]["counted"] == 80
    fits = remarks(tmp_path, placed(turned(0)), row_bearing_deg=0.0, rows_counted=22)
    assert "rows_counted_differ" not in fits


def test_posts_that_nobody_told_of_are_said(tmp_path):
    said = remarks(tmp_path, placed(turned(0)), row_bearing_deg=0.0, vines_per_panel=None)["posts_assumed"]
    assert said == {"vines": 4, "panel_m": pytest.approx(7.2)}  # whole vines at 1.8 m nearest to 24 ft
    (tmp_path / "x").mkdir()
    assert "posts_assumed" not in remarks(tmp_path / "x", placed(turned(0)), row_bearing_deg=0.0)
