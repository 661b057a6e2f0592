"""Blocks anywhere on the earth in one file: each is worked on a grid true to length, and neighbours change nothing.

Lengths and areas are held against geodesics on the ellipsoid (Karney 2013, by pyproj). Places are invented.
"""

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from pyproj import Geod
from shapely import Polygon

from geoprune.reading import read_vineyard
from geoprune.reading.places import projections, stretch
from geoprune.trellis import build_trellis

GEOD = Geod(ellps="WGS84")
HOME = (-79.5, 42.3)
AWAY = {
    "Texas": (-98.9, 30.2),
    "New York": (-72.5, 41.0),
    "Chile": (-70.7, -33.7),
    "New Zealand": (173.9, -41.5),
    "Fiji": (180.0, -17.8),
    "Oregon": (-123.0, 45.3),
}


def square(place, side_m=100.0) -> Polygon:
    """A square whose sides are geodesics that long, south-west corner at a place; longitudes up to 180."""
    east = GEOD.fwd(*place, 90.0, side_m)[:2]
    corners = [place, east, GEOD.fwd(*east, 0.0, side_m)[:2], GEOD.fwd(*place, 0.0, side_m)[:2]]
    return Polygon(corners)


def write(folder, places: dict, **changed):
    """A file in degrees with a block at each place, laid out from its spacing, and ten weights for each."""
    entry = {
        "variety": "Concord",
        "rule": "30+10",
        "training": "top-wire cordon",
        "row_spacing_m": 2.7,
        "vine_spacing_m": 1.8,
    }
    blocks = pd.DataFrame({"block": list(places), "row_bearing_deg": 0.0}).assign(**entry, **changed)
    outlines = [square(place) for place in places.values()]
    gpd.GeoDataFrame(blocks, geometry=outlines, crs=4326).to_file(folder / "v.gpkg", layer="blocks", driver="GPKG")
    rows = 2 + np.arange(10) * 3
    weights = [pd.DataFrame({"block": name, "row": rows, "vine": 1 + rows, "pruning_weight_kg": 1.0}) for name in places]
    pd.concat(weights).to_csv(folder / "w.csv", index=False)
    return folder / "v.gpkg", folder / "w.csv"


def vines(folder, places) -> int:
    path, weights = write(folder, places)
    said = read_vineyard(path, samples=weights)
    return len(build_trellis(said.of("A"), "A").vines)


@pytest.fixture(scope="module")
def alone(tmp_path_factory):
    return vines(tmp_path_factory.mktemp("alone"), {"A": HOME})


@pytest.mark.parametrize("other", AWAY)
def test_a_block_has_as_many_vines_whatever_else_is_in_the_file(tmp_path, alone, other):
    assert alone == 37 * 55  # rows that fit into 100 m at 2.7 m, vines into a row of 100 m at 1.8 m
    assert vines(tmp_path, {"A": HOME, "B": AWAY[other]}) == alone
    assert vines(tmp_path, {"B": AWAY[other], "A": HOME}) == alone


def test_every_block_is_worked_within_1e_4_of_true_lengths(tmp_path):
    path, weights = write(tmp_path, {"A": HOME, **AWAY})
    said = read_vineyard(path, samples=weights)
    assert said.blocks["block"].tolist() == ["A", *AWAY]
    assert len(said.parts) == len(AWAY) + 1
    for name in said.blocks["block"]:
        part = said.of(name)
        block = part.blocks[part.blocks["block"] == name]
        assert part.crs.is_projected
        assert stretch(block.geometry).max() <= 1e-4
        west, south, east, north = block.total_bounds
        lon, lat = shapely.get_coordinates(
            gpd.GeoSeries(shapely.points([(west, south), (east, north)]), crs=part.crs).to_crs(4326)
        ).T
        true = GEOD.inv(lon[0], lat[0], lon[1], lat[1])[2]
        assert np.hypot(east - west, north - south) == pytest.approx(true, rel=1e-4)
        trellis = build_trellis(part, name)
        assert 36 <= len(trellis.rows) <= 38
        assert (part.samples["block"] == name).sum() == 10


def test_a_block_over_the_antimeridian(tmp_path):
    west = GEOD.fwd(180.0, -17.8, -90.0, 50.0)[0]
    path, weights = write(tmp_path, {"A": (west, -17.8)})
    said = read_vineyard(path, samples=weights)
    assert said.blocks.area.iloc[0] == pytest.approx(1e4, rel=2e-4)
    assert len(build_trellis(said, "A").rows) == 37
    # the same, cut in two at the antimeridian as GeoJSON asks for (RFC 7946, 3.1.9)
    outline = square((west, -17.8))
    lon, lat = shapely.get_coordinates(outline).T
    whole = Polygon(np.column_stack([np.where(lon < 0, lon + 360, lon), lat]))
    halves = (
        whole & shapely.box(179, -18, 180, -17),
        shapely.transform(whole & shapely.box(180, -18, 181, -17), lambda c: c - [360, 0]),
    )
    table = gpd.read_file(path).set_geometry(gpd.GeoSeries([shapely.multipolygons(halves)], crs=4326))
    table.to_file(path, layer="blocks", driver="GPKG")
    said = read_vineyard(path, samples=weights)
    assert said.blocks.geometry.iloc[0].is_valid
    assert len(build_trellis(said, "A").rows) == 37


def test_weights_by_place_alone_go_to_their_blocks(tmp_path):
    places = {"A": HOME, "B": AWAY["New Zealand"]}
    path, _ = write(tmp_path, places)
    lines = []
    for lon, lat in places.values():
        for step in range(10):
            lines.append((*GEOD.fwd(lon, lat, 45.0, 20.0 + 8.0 * step)[:2], 1.0 + step / 20))
    pd.DataFrame(lines, columns=["lon", "lat", "pruning_weight_kg"]).to_csv(tmp_path / "w.csv", index=False)
    said = read_vineyard(path, samples=tmp_path / "w.csv")
    assert said.samples["block"].tolist() == ["A"] * 10 + ["B"] * 10
    assert said.of("B").samples.geometry.within(said.of("B").blocks.geometry.iloc[0]).all()


def test_one_problem_is_reported_once_and_unknown_names_too(tmp_path):
    path, weights = write(tmp_path, {"A": HOME, "B": AWAY["Chile"]})
    table = pd.read_csv(weights).drop(columns="vine")
    pd.concat([table, table.iloc[:1].assign(block="Z")]).to_csv(weights, index=False)
    with pytest.raises(ValueError, match="no columns with a place") as caught:
        read_vineyard(path, samples=weights)
    said = str(caught.value)
    assert said.count("unknown block 'Z'") == 1


def test_a_files_own_grid_is_kept_where_it_is_true():
    # UTM is true to length about 180 km from its middle (Snyder 1987: scale 0.9996 there, 1 at 180 km)
    near, far = (gpd.GeoSeries([shapely.box(e, 4_700_000, e + 100, 4_700_100)], crs=32617) for e in (320_000, 500_000))
    assert projections(near)[0].crs.to_epsg() == 32617
    assert stretch(far)[0] == pytest.approx(4e-4, rel=0.01)
    assert stretch(far.to_crs(projections(far)[0].crs))[0] <= 1e-4


def test_thousands_of_blocks_along_a_valley_share_few_grids():
    lon = np.linspace(-122.5, -118.5, 3000)
    outlines = gpd.GeoSeries(shapely.box(lon, 36.0, lon + 0.001, 36.001), crs=4326)
    found = projections(outlines)
    assert len(found) == 3
    assert np.array_equal(np.sort(np.concatenate([one.blocks for one in found])), np.arange(3000))
    for one in found:
        assert stretch(outlines.iloc[one.blocks].to_crs(one.crs)).max() <= 1e-4
