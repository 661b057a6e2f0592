"""Rows, blocks and samples that do not lie where they should. All input is invented."""

from __future__ import annotations

import geopandas as gpd
import invented_vineyard as iv
import numpy as np
import pandas as pd
import pytest
from shapely import LineString, Polygon, affinity, box, transform

from geoprune import DataError, read_vineyard

NAN = float("nan")


def problems(vineyard, weights) -> list[str]:
    with pytest.raises(DataError) as caught:
        read_vineyard(vineyard, samples=weights)
    return [str(problem) for problem in caught.value.problems]


def remarks(vineyard, weights) -> dict[str, tuple[str, str, dict]]:
    found = read_vineyard(vineyard, samples=weights).remarks
    return {remark.message.key: (remark.kind, remark.block, dict(remark.message.fields)) for remark in found}


def first_row(line: LineString | None) -> gpd.GeoDataFrame:
    table = iv.rows()
    return table.set_geometry(gpd.GeoSeries([line, *table.geometry.iloc[1:]], crs=iv.CRS))


def pair(first: Polygon, second: Polygon, **changed) -> gpd.GeoDataFrame:
    table = pd.concat([iv.blocks(), iv.blocks(block="B")], ignore_index=True).assign(row_bearing_deg=0.0, **changed)
    return table.set_geometry(gpd.GeoSeries([first, second], crs=iv.CRS))


def exchanged(table: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    return table.to_crs(4326).set_geometry(
        gpd.GeoSeries(transform(table.to_crs(4326).geometry.values, lambda c: c[:, ::-1]), crs=4326)
    )


@pytest.mark.parametrize(
    "line",
    [
        affinity.translate(iv.rows().geometry.iloc[0], 500.0),
        LineString([(iv.WEST + 5, iv.SOUTH + 2), (iv.WEST + 5, iv.SOUTH + 100_000)]),
    ],
)
def test_a_row_outside_its_block_is_reported(tmp_path, line):
    (found,) = problems(*iv.write(tmp_path, rows=first_row(line)))
    assert found == (
        "vineyard.gpkg, layer rows, feature 1: 100% of row '1' lies outside its block 'A'. "
        "Draw the row inside the block's outline, or correct its block."
    )


def test_a_row_of_another_block_is_reported(tmp_path):
    blocks = pair(iv.square(), iv.square(iv.WEST + 150))
    rows = iv.rows().assign(block=["B", *["A"] * 19])
    assert "of row '1' lies outside its block 'B'" in problems(*iv.write(tmp_path, blocks=blocks, rows=rows))[0]


def test_a_row_that_runs_a_little_past_the_outline_is_said(tmp_path):
    line = LineString([(iv.WEST + 5, iv.SOUTH + 2), (iv.WEST + 5, iv.SOUTH + 125)])
    kind, block, fields = remarks(*iv.write(tmp_path, rows=first_row(line)))["reading.rows_past_outline"]
    assert (kind, block, fields["rows"]) == ("warning", "A", 1)
    assert fields["outside_m"] == pytest.approx(15.0, rel=1e-3)  # 25 m past the outline, of which 10 m are no matter


def test_a_row_too_short_for_a_vine_is_said(tmp_path):
    short = LineString([(iv.WEST + 5, iv.SOUTH + 2), (iv.WEST + 5, iv.SOUTH + 3)])
    table = iv.samples()[iv.samples()["row"] != 1]
    kind, block, fields = remarks(*iv.write(tmp_path, table, rows=first_row(short)))["reading.rows_too_short"]
    assert (kind, block, fields["names"]) == ("dropped", "A", "1")
    found = problems(*iv.write(tmp_path, iv.samples(), rows=first_row(short)))
    assert "line 2: row '1' of block 'A' has 0 vines, not 1" in found[0]


@pytest.mark.filterwarnings("ignore:invalid value encountered")
@pytest.mark.parametrize(
    "line",
    [
        [(iv.WEST + 5, iv.SOUTH + 2), (NAN, iv.SOUTH)],
        [(iv.WEST + 5, iv.SOUTH + 2), (NAN, NAN), (iv.WEST + 5, iv.SOUTH + 90)],
        [(1e308, iv.SOUTH + 2), (iv.WEST + 5, iv.SOUTH + 90)],
    ],
)
def test_a_row_with_a_coordinate_that_is_no_number(tmp_path, line):
    found = problems(*iv.write(tmp_path, rows=first_row(LineString(line))))
    assert "layer rows, feature 1: a coordinate is no number or nowhere" in found[0]


@pytest.mark.filterwarnings("ignore:invalid value encountered")
def test_an_outline_with_a_coordinate_that_is_no_number(tmp_path):
    outline = Polygon([(iv.WEST, iv.SOUTH), (NAN, iv.SOUTH), (iv.WEST + 90, iv.SOUTH + 90)])
    table = iv.blocks().set_geometry(gpd.GeoSeries([outline], crs=iv.CRS))
    (found,) = problems(*iv.write(tmp_path, blocks=table, rows=None))
    assert "feature 1: block 'A' has a corner that is no place" in found


def test_one_ground_under_two_names(tmp_path):
    found = problems(*iv.write(tmp_path, blocks=pair(iv.square(), iv.square(side=99.0)), rows=None))
    assert "layer blocks, feature 2: block 'B' is the same ground as block 'A'. Draw each block once." in found[0]


@pytest.mark.parametrize("inner", [iv.square(side=50.0), box(iv.WEST + 60, iv.SOUTH, iv.WEST + 160, iv.SOUTH + 100)])
def test_a_block_within_or_over_another_is_said(tmp_path, inner):
    table = pd.concat([iv.samples(12).assign(block=name, row=1 + np.arange(12) % 4, vine=2) for name in "AB"])
    found = remarks(*iv.write(tmp_path, table, blocks=pair(iv.square(), inner), rows=None))
    assert found["reading.blocks_overlap"] == ("warning", "A", {"other": "B"})


def test_metres_declared_as_degrees(tmp_path):
    table = iv.blocks(row_bearing_deg=0.0).set_crs(4326, allow_override=True)
    (found,) = problems(*iv.write(tmp_path, blocks=table, rows=None))
    assert "the CRS is in degrees, but the coordinates are not" in found


def test_samples_in_metres_under_lon_and_lat(tmp_path):
    points = iv.located(crs=32617).geometry
    found = problems(*iv.write(tmp_path, iv.lonlat(lon=points.x, lat=points.y)))
    assert "lon and lat are no degrees. Call the columns easting and northing" in found[0]


def test_exchanged_rows_are_told_from_a_wrong_crs(tmp_path):
    table = iv.blocks().to_crs(4326)
    found = problems(*iv.write(tmp_path, blocks=table, rows=exchanged(iv.rows())))
    assert "the rows lie" in found[0]
    assert "but at them once longitude and latitude are exchanged. Exchange them in the rows;" in found[0]


def test_exchanged_axes_where_few_vines_grow_are_said(tmp_path):
    # 11 E, 45 N is Italy; exchanged, 45 E, 11 N: everything agrees, and only the latitude is odd
    table = iv.blocks(row_bearing_deg=0.0).set_crs(32632, allow_override=True).to_crs(4326)
    weighed = iv.samples(12).assign(row=1 + np.arange(12) % 9, vine=2)
    path, weights = iv.write(tmp_path, weighed, blocks=table, rows=None)
    assert "reading.unusual_latitude" not in remarks(path, weights)
    path.unlink()
    path, weights = iv.write(tmp_path, weighed, blocks=exchanged(table), rows=None)
    kind, block, fields = remarks(path, weights)["reading.unusual_latitude"]
    assert (kind, block) == ("warning", "")
    assert 10 < fields["latitude"] < 11


@pytest.mark.parametrize("far", [0, 3])
def test_positions_far_from_the_vine_named_are_said(tmp_path, far):
    points = iv.located(crs=32617).geometry
    table = iv.samples().assign(easting=points.x, northing=points.y + 5.0)
    table.loc[table.index[:far], "easting"] += 30.0
    path, weights = iv.write(tmp_path, table)
    found = {r.message.key: r for r in read_vineyard(path, samples=weights, crs="EPSG:32617").remarks}
    if not far:
        assert "reading.samples_elsewhere" not in found
        return
    remark = found["reading.samples_elsewhere"]
    assert (remark.kind, remark.block) == ("warning", "A")
    fields = {"count": 3, "places": "line 2, line 3, line 4", "farthest_m": pytest.approx(np.hypot(30, 5), abs=0.1)}
    assert remark.message.fields == fields


def test_rows_drawn_from_the_wrong_end_show_in_the_vines_layer(tmp_path):
    rows = iv.rows()
    turned = rows.set_geometry(rows.geometry.reverse())
    points = [iv.vine_point(row, vine) for row in (1, 2) for vine in (1, 2, 50)]
    vines = gpd.GeoDataFrame({"block": "A", "row": [1, 1, 1, 2, 2, 2], "vine": [1, 2, 50] * 2}, geometry=points, crs=iv.CRS)
    for layer, count in ((rows, 0), (turned, 6)):
        (tmp_path / str(count)).mkdir()
        found = remarks(*iv.write(tmp_path / str(count), rows=layer, vines=vines))
        assert ("reading.vines_elsewhere" in found) == (count > 0)
    assert found["reading.vines_elsewhere"][2]["count"] == 6


def test_rows_of_very_many_corners(tmp_path):
    north, noise = np.linspace(iv.SOUTH + 2, iv.SOUTH + 98, 50_000), np.random.default_rng(0).normal(0, 0.001, 50_000)
    line = LineString(np.column_stack([iv.WEST + 5 + noise, north]))
    assert "rows_past_outline" not in str(remarks(*iv.write(tmp_path, rows=first_row(line))))
    zigzag = LineString(np.column_stack([iv.WEST + 5 + 0.3 * (np.arange(50_000) % 2), north]))
    (tmp_path / "z").mkdir()
    (said,) = problems(*iv.write(tmp_path / "z", rows=first_row(zigzag)))
    assert "row '1' turns at more than 2000 corners. Draw it along its vines" in said
