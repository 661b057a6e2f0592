"""Rows, vines, panels, footprints and the place of samples; expected values that can be checked by eye."""

from __future__ import annotations

from dataclasses import replace

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from pyproj import CRS
from shapely import LineString, MultiLineString, MultiPolygon, Point, Polygon, affinity, box

from geoprune import DataError, build_trellis, place_samples
from geoprune.layers import Vineyard
from geoprune.trellis import lay_rows, left_out_remarks, share_ground
from geoprune.trellis.model import cut_lines
from geoprune.trellis.rows import vine_places

UTM = CRS.from_epsg(32617)


def vineyard(rows=None, *, outline=None, bearing=None, row_m=3.0, vine_m=2.0, per_panel=4, vines=None) -> Vineyard:
    entry = {"block": "A", "row_spacing_m": row_m, "vine_spacing_m": vine_m, "vines_per_panel": per_panel}
    entry["row_bearing_deg"] = np.nan if bearing is None else bearing
    outline = box(0, 0, 60, 100) if outline is None else outline
    blocks = gpd.GeoDataFrame([entry], geometry=[outline], crs=UTM)
    table = None
    if rows is not None:
        names = [str(n + 1) for n in range(len(rows))]
        table = gpd.GeoDataFrame({"block": "A", "row": names}, geometry=list(rows), crs=UTM)
    said = None
    if vines is not None:
        said = gpd.GeoDataFrame(
            pd.DataFrame(vines, columns=["row", "vine", "status"]).assign(block="A"),
            geometry=[Point(0, 0)] * len(vines),
            crs=UTM,
        )
    return Vineyard(blocks, table, said, gpd.GeoDataFrame(geometry=[], crs=UTM), None, UTM)


def samples(*places, **changed) -> gpd.GeoDataFrame:
    """Samples at (row, vine) or at points."""
    entries = [{"row": "", "vine": np.nan} if isinstance(p, Point) else {"row": p[0], "vine": p[1]} for p in places]
    table = pd.DataFrame(entries).assign(block="A", vine_weight_kg=1.0, vines_weighed=1).assign(**changed)
    table["source_row"] = np.arange(len(table)) + 2
    return gpd.GeoDataFrame(table, geometry=[p if isinstance(p, Point) else None for p in places], crs=UTM)


def straight(count=3, length=40.0):
    return [LineString([(3 * k, 0), (3 * k, length)]) for k in range(count)]


# Rows and vines


def test_vines_stand_at_the_spacing_from_the_first_vertex():
    trellis = build_trellis(vineyard(straight(1)), "A")
    assert trellis.vines["vine"].tolist() == list(range(1, 21))
    np.testing.assert_allclose(trellis.vines.geometry.y, 1.0 + 2.0 * np.arange(20))
    assert trellis.panels["last_vine"].tolist() == [4, 8, 12, 16, 20]
    np.testing.assert_allclose(trellis.panels.length, 8.0)


@pytest.mark.parametrize("named", [21, 20, 22])
def test_a_sample_on_one_vine_more_tells_that_lines_were_drawn_from_vine_to_vine(named):
    # 21 vines at 2 m span 40 m from the first to the last; lines to the end posts hold 20
    said = replace(vineyard(straight(3)), samples=samples(("2", named), ("1", 3)))
    laid = lay_rows(said, "A")
    assert laid.ends_stand is (named == 21)
    assert laid.rows["vines"].tolist() == [21 if named == 21 else 20] * 3
    vines = build_trellis(said, "A").vines
    first_and_last = vines.loc[vines["row"] == "2"].geometry.y.to_numpy()[[0, -1]]
    np.testing.assert_allclose(first_and_last, [1.0, 39.0], atol=0.05)  # within half a vine of 0 and 40


def test_each_part_of_a_broken_row_drawn_from_vine_to_vine_holds_one_more():
    broken = MultiLineString([[(0, 0), (0, 10)], [(0, 30), (0, 40)]])
    laid = lay_rows(replace(vineyard([broken]), samples=samples(("1", 12))), "A")
    assert laid.stretches["vines"].tolist() == [6, 6]
    assert laid.stretches["first_vine"].tolist() == [1, 7]


def test_the_last_panel_may_be_short():
    panels = build_trellis(vineyard(straight(1, 37.0)), "A").panels
    assert panels["vines"].tolist() == [4, 4, 4, 4, 2]
    assert panels.length.tolist() == pytest.approx([8, 8, 8, 8, 4])


@pytest.mark.parametrize(("spacing", "per_panel"), [(2.4384, 3), (1.8288, 4), (1.2192, 6), (8.0, 1)])
def test_panels_hold_the_whole_vines_nearest_to_24_feet(spacing, per_panel):
    # 24 ft between posts: common practice, no source. 8, 6 and 4 ft divide it exactly
    panels = build_trellis(vineyard(straight(1, 90.0), vine_m=spacing, per_panel=np.nan), "A").panels
    assert panels["vines"].max() == per_panel


def test_a_row_that_lacks_a_tenth_of_a_vine_holds_it():
    assert build_trellis(vineyard(straight(1, 39.85)), "A").rows["vines"].tolist() == [20]
    assert build_trellis(vineyard(straight(1, 39.75)), "A").rows["vines"].tolist() == [19]


def test_a_vine_more_in_the_vines_layer_is_believed():
    laid = vineyard(straight(1, 39.0), vines=[("1", 20, "dead")])
    trellis = build_trellis(laid, "A")
    assert trellis.rows["vines"].tolist() == [20]
    assert trellis.vines["along_m"].iloc[-1] == pytest.approx(39.0 - 0.5 * 39 / 20)
    assert trellis.vines["status"].iloc[-1] == "dead"
    assert build_trellis(vineyard(straight(1, 39.0), vines=[("1", 21, "dead")]), "A").rows["vines"].tolist() == [19]


def test_two_vines_on_one_place_are_refused():
    # end to end with a vine in common: too little for rows on each other, yet no ground is nearest to either alone
    rows = [LineString([(0, 0), (0, 40)]), LineString([(0, 38), (0, 80)])]
    with pytest.raises(DataError, match=r"vine 20 of row '1' and vine 1 of row '2' would stand on one place"):
        build_trellis(vineyard(rows), "A")


def test_vines_follow_a_curved_row():
    angle = np.linspace(0, np.pi, 400)
    arc = LineString(50 * np.column_stack([np.cos(angle), np.sin(angle)]))
    vines = build_trellis(vineyard([arc]), "A").vines
    assert len(vines) == int(50 * np.pi / 2)
    np.testing.assert_allclose(np.hypot(vines.geometry.x, vines.geometry.y), 50, atol=0.01)
    chords = np.hypot(*np.diff(shapely.get_coordinates(vines.geometry.values), axis=0).T)
    np.testing.assert_allclose(chords, 2.0, rtol=1e-3)


def test_no_vine_stands_in_the_gap_of_a_broken_row():
    row = MultiLineString([[(0, 0), (0, 20)], [(0, 50), (0, 70)]])
    trellis = build_trellis(vineyard([row], outline=box(-5, 0, 5, 80)), "A")
    assert trellis.rows[["length_m", "vines"]].to_numpy().tolist() == [[40.0, 20]]
    north = trellis.vines.geometry.y.to_numpy()
    assert trellis.vines["vine"].tolist() == list(range(1, 21))
    np.testing.assert_allclose(north, np.concatenate([1 + 2 * np.arange(10), 51 + 2 * np.arange(10)]))
    assert trellis.panels["last_vine"].tolist() == [4, 8, 10, 14, 18, 20]
    assert trellis.panels["panel"].tolist() == [1, 2, 3, 4, 5, 6]
    np.testing.assert_allclose(trellis.panels.length, [8, 8, 4, 8, 8, 4])


def test_parts_of_a_row_in_any_order_and_direction():
    parts = [[(0, 0), (0, 10)], [(0, 60), (0, 50)], [(0, 30), (0, 20)], [(0, 40), (0, 30)]]
    vines = build_trellis(vineyard([MultiLineString(parts)], outline=box(-5, 0, 5, 80)), "A").vines
    assert (np.diff(vines.geometry.y) > 0).all()
    assert len(vines) == 5 + 10 + 5


def test_a_gap_smaller_than_a_vine_spacing_is_no_gap():
    row = MultiLineString([[(0, 0), (0, 19)], [(0, 20), (0, 40)]])
    np.testing.assert_allclose(build_trellis(vineyard([row]), "A").vines["along_m"], 1 + 2 * np.arange(20))


@pytest.mark.parametrize("names", ["123456", ["B8", "B9", "B10", "B11", "B12", "B13"], "654321"])
def test_rows_are_ordered_across_the_block_whatever_their_order_and_direction(names):
    lines = straight(6)
    laid = vineyard([lines[3], shapely.reverse(lines[0]), lines[5], lines[1], shapely.reverse(lines[4]), lines[2]])
    laid.rows["row"] = [names[k] for k in (3, 0, 5, 1, 4, 2)]
    rows = build_trellis(laid, "A").rows
    assert rows["order"].tolist() == list(range(6))
    assert rows["row"].tolist() == sorted(names, key=lambda name: int(name.strip("B")))
    assert (
        rows.geometry.centroid.x.tolist() == (np.arange(0, 18, 3) if names != "654321" else np.arange(15, -1, -3)).tolist()
    )


# Rows laid out


def test_rows_are_laid_out_from_outline_bearing_and_spacing():
    # 60 m wide at 3 m: 20 rows, the first 1.5 m from the left edge as one looks along the bearing
    trellis = build_trellis(vineyard(bearing=0.0), "A")
    assert trellis.rows["row"].tolist() == [str(n) for n in range(1, 21)]
    first = np.asarray(trellis.rows.geometry.iloc[0].coords)
    np.testing.assert_allclose(first, [[1.5, 0], [1.5, 100]])
    turned = build_trellis(vineyard(bearing=180.0), "A")
    np.testing.assert_allclose(
        np.asarray(turned.rows.set_index("row").geometry["1"].coords), [[58.5, 100], [58.5, 0]], atol=1e-9
    )
    assert build_trellis(vineyard(bearing=90.0), "A").rows["vines"].unique().tolist() == [30]


@pytest.mark.parametrize("turn", [10.0, 37.0, 90.0, 213.0])
def test_a_turned_block_with_turned_rows_holds_the_same_vines(turn):
    plain = lay_rows(vineyard(bearing=20.0), "A").rows
    outline = affinity.rotate(box(0, 0, 60, 100), -turn, origin="centroid")
    turned = lay_rows(vineyard(outline=outline, bearing=20.0 + turn), "A").rows.set_index("row").loc[plain["row"]]
    np.testing.assert_allclose(turned["length_m"], plain["length_m"], atol=1e-6)
    assert turned["vines"].tolist() == plain["vines"].tolist()


def test_laid_out_rows_stop_at_a_bay_and_go_on_behind_it():
    outline = box(0, 0, 60, 100).difference(box(20, 40, 60, 60))
    lines = lay_rows(vineyard(outline=outline, bearing=0.0), "A")
    assert lines.rows["vines"].value_counts().to_dict() == {40: 13, 50: 7}
    vines = build_trellis(vineyard(outline=outline, bearing=0.0), "A").vines
    assert vines.geometry.within(outline).all()


def test_a_block_of_two_parts_is_laid_out_in_both():
    outline = MultiPolygon([box(0, 0, 30, 50), box(60, 0, 90, 50)])
    assert build_trellis(vineyard(outline=outline, bearing=0.0), "A").vines.geometry.within(outline).all()


# 43,560 square feet to the acre, 10,000 square metres to the hectare, by definition. Printed: 807 (9 x 6 ft), Chien
# and others, Pennsylvania State University; 605 (9 x 8 ft), Ohio State University; 908 (8 x 6 ft, rounded half up)
@pytest.mark.parametrize(
    ("row_ft", "vine_ft", "per_acre"),
    [
        (9, 6, 806.667),
        (9, 8, 605.0),
        (10, 6, 726.0),
        (8, 4, 1361.25),
        (8, 6, 907.5),
        (12, 8, 453.75),
        (8, 5, 1089.0),
        (10, 8, 544.5),
    ],
)
def test_vines_per_acre(row_ft, vine_ft, per_acre):
    side = 0.3048 * np.lcm.reduce([row_ft, vine_ft]) * 8
    laid = vineyard(outline=box(0, 0, side, side), bearing=0.0, row_m=row_ft * 0.3048, vine_m=vine_ft * 0.3048)
    acres = side**2 / 4046.8564224
    assert len(build_trellis(laid, "A").vines) / acres == pytest.approx(per_acre, rel=1e-5)


@pytest.mark.parametrize(
    ("row_m", "vine_m", "per_ha"), [(2.5, 1.0, 4000), (2.5, 1.5, 2666.667), (3.0, 2.4, 1388.889), (2.0, 1.0, 5000)]
)
def test_vines_per_hectare(row_m, vine_m, per_ha):
    laid = vineyard(outline=box(0, 0, 60 * row_m, 60 * vine_m), bearing=0.0, row_m=row_m, vine_m=vine_m)
    assert len(build_trellis(laid, "A").vines) / (60 * row_m * 60 * vine_m / 1e4) == pytest.approx(per_ha, rel=1e-5)


# Panels and their ground


@settings(deadline=None, max_examples=40)
@given(st.lists(st.tuples(st.floats(-50, 50), st.floats(-50, 50)), min_size=2, max_size=12), st.integers(1, 7))
def test_pieces_of_a_line_are_those_of_shapely(corners, pieces):
    line = LineString(corners)
    if line.length < 1e-3:
        return
    marks = np.linspace(0, line.length, pieces + 1)
    cut = cut_lines(np.array([line]), np.zeros(pieces, dtype=int), marks[:-1], marks[1:])
    for piece, start, end in zip(cut, marks[:-1], marks[1:], strict=True):
        expected = shapely.ops.substring(line, start, end)
        assert piece.length == pytest.approx(expected.length, abs=1e-6)
        assert piece.hausdorff_distance(expected) < 1e-6


def test_panel_lines_join_to_the_row():
    angle = np.linspace(0, 1, 50)
    rows = [LineString((80 + 3 * k) * np.column_stack([np.cos(angle), np.sin(angle)])) for k in range(4)]
    trellis = build_trellis(vineyard(rows), "A")
    for order, panels in trellis.panels.groupby("row_order"):
        joined = shapely.line_merge(shapely.union_all(panels.geometry.values, grid_size=1e-6))
        assert joined.geom_type == "LineString"
        assert joined.length == pytest.approx(2.0 * trellis.rows["vines"].iloc[order], rel=1e-4)


def test_footprints_share_out_the_whole_block():
    outline = Polygon([(-2, -3), (40, -3), (33, 50), (-2, 44)])
    trellis = build_trellis(vineyard(straight(12), outline=outline), "A")
    ground = share_ground(trellis, outline, trellis.vines["panel_id"].to_numpy())
    assert len(ground) == len(trellis.panels)
    assert ground.area.sum() == pytest.approx(outline.area)
    assert ground.union_all().area == pytest.approx(outline.area)
    assert (ground.distance(trellis.panels.centroid, align=False) < 1e-9).all()


# Placing


def test_row_and_vine_are_exact():
    trellis = build_trellis(vineyard(straight()), "A")
    placed = place_samples(samples(("2", 7)), trellis)
    assert (placed["row"][0], placed["vine"][0], placed["offset_m"][0], placed["used"][0]) == ("2", 7, 0.0, True)
    assert placed.geometry[0].equals(Point(3, 13))


def test_a_coordinate_goes_to_the_nearest_vine_and_the_distance_is_kept():
    placed = place_samples(samples(Point(3.6, 13.8)), build_trellis(vineyard(straight()), "A"))
    assert (placed["row"][0], placed["vine"][0]) == ("2", 7)
    assert placed["offset_m"][0] == pytest.approx(1.0)
    assert placed["row_distance_m"][0] == pytest.approx(0.6)


def test_a_sample_farther_than_half_a_row_is_left_out_and_said():
    trellis = build_trellis(vineyard(straight()), "A")
    placed = place_samples(samples(Point(7.4, 9.0), Point(7.6, 9.0)), trellis)
    assert placed["used"].tolist() == [True, False]
    assert placed["why_not"][1] == "1.6 m from the nearest row"
    (remark,) = left_out_remarks(placed, trellis, block="A")
    assert (remark.kind, remark.message.key, remark.block) == ("dropped", "reading.left_out_far", "A")
    assert remark.message.fields == {"line": 3, "distance_m": pytest.approx(1.6)}


def test_the_row_named_is_kept_where_a_coordinate_errs():
    trellis = build_trellis(vineyard(straight(), vines=[("1", 7, "missing")]), "A")
    # 2.6 m east of row 1 and 0.4 m from row 2: a phone's error; 4.6 m is more than 1.5 + 3 m
    said = samples(Point(2.6, 12.8), Point(2.6, 9.2), Point(4.6, 9.2), Point(2.6, 9.2))
    placed = place_samples(said.assign(row=["1", "1", "1", ""]), trellis)
    assert placed["row"].tolist() == ["1", "1", "1", "2"]
    assert placed["vine"].tolist() == [6, 5, 5, 5]
    assert placed["row_distance_m"].tolist() == pytest.approx([2.6, 2.6, 4.6, 0.4])
    assert placed["why_not"].tolist() == ["", "", "4.6 m from the row named", ""]
    (remark,) = left_out_remarks(placed, trellis, block="A")
    assert (remark.kind, remark.message.key) == ("dropped", "reading.left_out_far_from_row")
    assert remark.message.fields == {"line": 4, "row": "1", "distance_m": pytest.approx(4.6), "phone_m": 3.0}


def test_a_named_row_that_is_not_there_is_reported_beside_a_coordinate():
    with pytest.raises(DataError, match="unknown row '9'"):
        place_samples(samples(Point(0, 9)).assign(row="9"), build_trellis(vineyard(straight()), "A"))


def test_places_of_named_vines_are_those_of_the_trellis():
    broken = [MultiLineString([[(3 * k, 0), (3 * k, 17)], [(3 * k, 25), (3 * k + 2, 60)]]) for k in range(3)]
    block = vineyard(broken)
    vines = build_trellis(block, "A").vines
    places = vine_places(lay_rows(block, "A"), vines["row"], vines["vine"])
    assert shapely.distance(places, vines.geometry.to_numpy()).max() < 1e-9
    nowhere = vine_places(lay_rows(block, "A"), pd.Series(["9", "1", "1", "1"]), pd.Series([1.0, 99.0, 0.0, np.nan]))
    assert nowhere.tolist() == [None] * 4


def test_no_one_weighed_a_missing_vine():
    trellis = build_trellis(vineyard(straight(), vines=[("2", 7, "missing"), ("3", 2, "young")]), "A")
    placed = place_samples(samples(Point(3, 13.2), ("2", 7), ("3", 2)), trellis)
    assert placed["vine"].tolist() == [8, 7, 2]
    assert placed["why_not"].tolist() == ["", "the vine is missing", "the vine is young"]
    keys = [remark.message.key for remark in left_out_remarks(placed, trellis)]
    assert keys == ["reading.left_out_not_bearing"] * 2


@pytest.mark.parametrize(
    ("vine", "count", "first", "last", "along"),
    [
        (7, 3, 6, 8, 13.0),
        (7, 2, 7, 8, 14.0),
        (7, 4, 6, 9, 14.0),
        (1, 3, 1, 3, 3.0),
        (20, 4, 17, 20, 36.0),
        (4, 50, 1, 20, 20.0),
    ],
)
def test_a_weight_of_several_vines_stands_in_their_middle(vine, count, first, last, along):
    placed = place_samples(samples(("1", vine), vines_weighed=count), build_trellis(vineyard(straight()), "A"))
    assert (placed["vine"][0], placed["first_vine"][0], placed["last_vine"][0]) == (vine, first, last)
    assert placed.geometry[0].equals_exact(Point(0, along), 1e-9)


def test_missing_vines_are_not_among_those_weighed_together():
    trellis = build_trellis(vineyard(straight(), vines=[("1", 8, "missing"), ("1", 9, "dead")]), "A")
    placed = place_samples(samples(("1", 7), vines_weighed=3), trellis)
    assert (placed["first_vine"][0], placed["last_vine"][0]) == (6, 10)


def test_unknown_rows_and_vines_are_all_told():
    with pytest.raises(DataError) as caught:
        place_samples(samples(("9", 1), ("1", 21), ("1", 5)), build_trellis(vineyard(straight()), "A"), file="w.csv")
    assert [problem.row for problem in caught.value.problems] == ["row 2", "row 3"]


@settings(deadline=None, max_examples=40)
@given(st.integers(0, 2), st.integers(1, 20), st.floats(-0.9, 0.9), st.floats(-0.9, 0.9))
def test_a_place_near_a_vine_finds_it(row, vine, east, north):
    trellis = build_trellis(vineyard(straight()), "A")
    placed = place_samples(samples(Point(3 * row + east, 2 * vine - 1 + north)), trellis)
    assert (placed["row"][0], placed["vine"][0]) == (str(row + 1), vine)
