"""Covariates: read from rasters and layers in any CRS, kept only when they earn it, refused when they cannot serve."""

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import rasterio
from affine import Affine
from invented_block import BLOCKS, grid_field, make_vineyard
from scipy.interpolate import RegularGridInterpolator
from shapely import Point, box

from geoprune.covariates import Covariate, bilinear, point_covariate, read_covariate
from geoprune.errors import DataError
from geoprune.surface import fit_surface, score_covariate

UTM = "EPSG:32617"
LOCAL = 'LOCAL_CS["site",UNIT["metre",1]]'


@pytest.fixture(scope="module")
def made():
    return make_vineyard(seed=12, range_m=100, nugget_share=0.4, samples=40, cv=0.35, block="small")


def write_raster(path, values, *, west=619_980.0, north=4_690_150.0, cell=5.0, crs=UTM, nodata=None):
    profile = {"driver": "GTiff", "height": values.shape[0], "width": values.shape[1], "count": 1, "dtype": "float64"}
    with rasterio.open(
        path, "w", **profile, crs=crs, transform=Affine(cell, 0, west, 0, -cell, north), nodata=nodata
    ) as file:
        file.write(values, 1)
    return path


def vines_field(made):
    """A layer that tells each vine's field with some error: a useful covariate."""
    places = np.column_stack([made.trellis.vines.geometry.x, made.trellis.vines.geometry.y])
    said = made.field_kg + np.random.default_rng(1).normal(0, 0.03, len(places))
    return gpd.GeoDataFrame({"ndvi": said}, geometry=gpd.points_from_xy(*places.T), crs=UTM)


def test_a_linear_raster_is_met_exactly():
    # Bilinear interpolation reproduces a plane exactly; scipy's own interpolator as a second opinion on any surface
    row, column = np.mgrid[0:12, 0:9]
    transform = Affine(5, 0, 100, 0, -5, 900)
    points = np.random.default_rng(2).uniform([103, 845], [142, 897], (50, 2))
    plane = 3.0 * (100 + 5 * (column + 0.5)) - 2.0 * (900 - 5 * (row + 0.5))
    assert bilinear(plane, transform, points) == pytest.approx(points @ [3.0, -2.0])
    rough = np.random.default_rng(3).normal(size=(12, 9))
    other = RegularGridInterpolator((900 - 5 * (np.arange(12) + 0.5)[::-1], 100 + 5 * (np.arange(9) + 0.5)), rough[::-1])
    assert bilinear(rough, transform, points) == pytest.approx(other(points[:, ::-1]))


def test_a_raster_in_another_crs_gives_the_same_values(tmp_path, made):
    west, south, east, north = (
        gpd.GeoSeries([box(619_900, 4_689_900, 620_250, 4_690_250)], crs=UTM).to_crs(4326).total_bounds
    )
    lon = west + (np.arange(200) + 0.5) * (east - west) / 200
    lat = north - (np.arange(200) + 0.5) * (north - south) / 200
    centres = gpd.GeoSeries(gpd.points_from_xy(*[a.ravel() for a in np.meshgrid(lon, lat)]), crs=4326).to_crs(UTM)
    values = (centres.x.to_numpy() - 620_000.0).reshape(200, 200)
    path = tmp_path / "lon.tif"
    with rasterio.open(
        path, "w", driver="GTiff", height=200, width=200, count=1, dtype="float64", crs="EPSG:4326",
        transform=Affine((east - west) / 200, 0, west, 0, -(north - south) / 200, north),
    ) as file:  # fmt: skip
        file.write(values, 1)
    covariate = read_covariate("easting", path, around=gpd.GeoSeries([made.polygon], crs=UTM))
    points = np.array([[620_010.0, 4_690_030.0], [620_070.5, 4_690_100.25]])
    assert covariate.at(points, UTM) == pytest.approx(points[:, 0] - 620_000.0, abs=0.02)


def test_a_useful_layer_is_kept_and_sharpens_the_map(made):
    layer = vines_field(made)
    covariate = Covariate("ndvi", "ndvi.gpkg", layer.crs, lambda p: nearest(layer, p))
    plain, helped = fit_surface(made.trellis, made.samples), fit_surface(made.trellis, made.samples, covariates=[covariate])
    true = made.panel_means()

    def error(surface):
        return np.sqrt(np.mean((surface.panels["vine_size_kg"] - true) ** 2))

    assert [choice.kept for choice in helped.diagnostics.covariates] == [True]
    assert helped.map_is_better
    assert error(helped) < 0.95 * error(plain)
    assert helped.panels["vine_size_se_kg"].mean() < plain.panels["vine_size_se_kg"].mean()
    assert "ndvi" in helped.model.trend


def nearest(layer, points):
    from scipy.spatial import cKDTree

    return layer.iloc[:, 0].to_numpy()[cKDTree(np.column_stack([layer.geometry.x, layer.geometry.y])).query(points)[1]]


def test_smooth_layers_that_have_nothing_to_do_with_it_are_seldom_kept():
    # Smooth against smooth: the hard case. Level 2.5 % for all covariates of a block; P(4 or more of 24) is 0.3 % at 2.5 %
    from geoprune.surface.covariate_choice import choose_covariates
    from geoprune.surface.modelling import nodes_of
    from geoprune.surface.observations import gather
    from geoprune.surface.prior import Prior

    kept = 0
    for seed in range(24):
        made = make_vineyard(seed=500 + seed, range_m=120, nugget_share=0.5, samples=24, cv=0.3, block="small")
        observations = gather(made.trellis, made.samples)
        other = grid_field(BLOCKS["small"], (2.7, 2.4), 120.0, np.random.default_rng(9000 + seed)).ravel()
        names, _ = choose_covariates(
            lambda drift, e=observations: nodes_of(e, drift, Prior()),
            observations.levels,
            {"other": other[observations.vine_id][:, None]},
            level=0.025,
            seed=seed,
        )
        kept += len(names)
    assert kept <= 3


def test_constant_and_collinear_layers_are_not_used_and_it_is_said(made):
    layer = vines_field(made)
    same = Covariate("soil", "soil.tif", layer.crs, lambda p: np.full(len(p), 4.0))
    one = Covariate("ndvi", "a.gpkg", layer.crs, lambda p: nearest(layer, p))
    twin = Covariate("twice", "b.gpkg", layer.crs, lambda p: 2.0 * nearest(layer, p) - 7.0)
    surface = fit_surface(made.trellis, made.samples, covariates=[same, one, twin])
    said = {choice.name: choice for choice in surface.diagnostics.covariates}
    assert said["soil"].reason.key == "surface.covariate_constant"
    assert sorted(said[n].kept for n in ("ndvi", "twice")) == [False, True]
    assert "surface.covariate_collinear" in {said["ndvi"].reason.key, said["twice"].reason.key}
    assert np.isfinite(surface.panels["vine_size_se_kg"]).all()


def test_a_raster_that_does_not_cover_the_block_is_refused(tmp_path, made):
    path = write_raster(tmp_path / "part.tif", np.random.default_rng(1).normal(size=(40, 10)))
    covariate = read_covariate("elevation", path)
    with pytest.raises(DataError, match=r"part.tif, layer covariate elevation.*no value at \d+ of 1500 vines"):
        fit_surface(made.trellis, made.samples, covariates=[covariate])


def test_a_raster_elsewhere_is_refused_when_it_is_read(tmp_path, made):
    path = write_raster(tmp_path / "far.tif", np.ones((40, 40)), west=700_000.0)
    with pytest.raises(DataError, match="does not reach the blocks"):
        read_covariate("elevation", path, around=gpd.GeoSeries([made.polygon], crs=UTM))


def test_gaps_inside_a_raster_are_refused(tmp_path, made):
    values = np.random.default_rng(1).normal(size=(40, 40))
    values[10:16, 8:14] = -9999.0
    covariate = read_covariate("elevation", write_raster(tmp_path / "gaps.tif", values, nodata=-9999.0))
    with pytest.raises(DataError, match="no gaps"):
        fit_surface(made.trellis, made.samples, covariates=[covariate])


@pytest.mark.parametrize(
    ("content", "words"),
    [(None, "file is missing"), (b"no raster", "cannot be opened as a raster")],
)
def test_files_that_are_no_rasters(tmp_path, content, words):
    path = tmp_path / "x.tif"
    if content:
        path.write_bytes(content)
    with pytest.raises(DataError, match=words):
        read_covariate("x", path)


@pytest.mark.parametrize(
    ("values", "changed", "words"),
    [
        (np.full((40, 40), np.inf), {}, r"\d{3,} cells are infinite"),
        (np.where(np.eye(40) > 0, -np.inf, 1.0), {}, r": \d{1,2} cells are infinite"),
        (np.ones((40, 40)), {"cell": 0.0}, "cells have no place or no area"),
        (np.ones((40, 40)), {"crs": LOCAL}, "no place on the earth"),
        (np.ones((40, 40)), {"crs": "EPSG:4326"}, "does not reach the blocks"),
        (np.ones((40, 40)), {"crs": "EPSG:3413", "west": -1e300}, "does not reach the blocks"),
    ],
)
@pytest.mark.filterwarnings("ignore::rasterio.errors.NotGeoreferencedWarning")
def test_rasters_that_cannot_serve(tmp_path, made, values, changed, words):
    path = write_raster(tmp_path / "x.tif", values, **changed)
    with pytest.raises(DataError, match=words):
        read_covariate("x", path, around=gpd.GeoSeries([made.polygon], crs=UTM))


NOWHERE = [None, Point(), Point(np.nan, np.nan)]


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"x": np.inf}, "values are infinite"),
        ({"x": "wet"}, "points must carry numbers"),
        ({"geometry": [*NOWHERE, Point(0, 0)]}, "3 features have no place"),
        ({"geometry": [None] * 4}, "4 features have no place"),
        ({"geometry": [box(0, 0, 1, 1)] * 3 + [Point(0, 0)]}, "Give points or polygons"),
        ({"x": np.nan}, "every value is empty"),
    ],
)
def test_layers_that_cannot_serve(tmp_path, changed, words):
    columns = {"x": [1.0, 2.0, 3.0, 4.0], "geometry": [Point(i, i) for i in range(4)]} | changed
    gpd.GeoDataFrame(columns, geometry="geometry", crs=UTM).to_file(tmp_path / "x.gpkg", driver="GPKG")
    with pytest.raises(DataError, match=words):
        read_covariate("x", tmp_path / "x.gpkg")


def test_places_that_a_layers_crs_does_not_reach_have_nothing():
    # A Mercator map has no poles: PROJ gives infinity there
    layer = gpd.GeoDataFrame({"x": [1.0, 2.0]}, geometry=[Point(0, 0), Point(9, 9)], crs="EPSG:3395")
    found = point_covariate("x", layer).at(np.array([[0.0, 0.0], [0.0, 90.0]]), "EPSG:4326")
    assert found[0] == pytest.approx(1.0, abs=1e-3)
    assert np.isnan(found[1])


def test_a_file_that_only_names_another_is_not_read(tmp_path):
    import rasterio.shutil

    write_raster(tmp_path / "real.tif", np.ones((40, 40)))
    rasterio.shutil.copy(tmp_path / "real.tif", tmp_path / "x.vrt", driver="VRT")
    (tmp_path / "x.vrt").rename(tmp_path / "x.tif")
    with pytest.raises(DataError, match="cannot be opened as a raster"):
        read_covariate("x", tmp_path / "x.tif")


@pytest.mark.filterwarnings("ignore::rasterio.errors.NotGeoreferencedWarning")
def test_a_raster_without_a_crs(tmp_path):
    path = write_raster(tmp_path / "x.tif", np.ones((4, 4)), crs=None)
    with pytest.raises(DataError, match="no CRS"):
        read_covariate("x", path)


def test_a_soil_map_of_words(tmp_path, made):
    # Two soils; vines of the second are 0.8 kg heavier: the layer must be kept and tell the difference
    west, south, east, north = made.polygon.bounds
    middle = (west + east) / 2
    shapes = [box(west - 9, south - 9, middle, north + 9), box(middle, south - 9, east + 9, north + 9)]
    soil = gpd.GeoDataFrame({"soil": ["loam", "clay"]}, geometry=shapes, crs=UTM).to_crs(4326)
    soil.to_file(tmp_path / "soil.gpkg", layer="soil", driver="GPKG")
    samples = made.samples.assign(vine_weight_kg=made.samples["vine_weight_kg"] + 0.8 * (made.samples.geometry.x > middle))
    covariate = read_covariate("soil", tmp_path / "soil.gpkg")
    surface = fit_surface(made.trellis, samples, covariates=[covariate], outline=made.polygon)
    assert surface.diagnostics.covariates[0].kept
    clay = made.trellis.vines.geometry.x.to_numpy() > middle
    size = surface.vines["vine_size_kg"].to_numpy()
    assert size[clay].mean() - size[~clay].mean() == pytest.approx(0.8, abs=0.25)
    assert np.isfinite(surface.grid["vine_size_kg"]).sum() > 500


def test_errors_told_hold_at_vines_without_a_score():
    # The score tells the vine's own part too, weighed vines are scored; truth invented. Mean z^2 of honest errors is 1
    # (with a scored vine's own score taken it was 12 to 27).
    squares = []
    for seed in range(4):
        made = make_vineyard(seed=50 + seed, range_m=90.0, nugget_share=0.5, samples=45, cv=0.35)
        rng = np.random.default_rng(seed)
        vines = made.trellis.vines
        keys = [
            pd.MultiIndex.from_frame(table[["row", "vine"]].astype(str))
            for table in (vines, made.samples.astype({"vine": int}))
        ]
        weighed = keys[0].get_indexer(keys[1])
        scored = np.union1d(weighed, rng.choice(len(vines), len(vines) // 7, replace=False))
        score = np.round(4 * made.size_kg[scored] / made.size_kg.mean())
        table = pd.DataFrame({"row": vines["row"].to_numpy()[scored], "vine": vines["vine"].to_numpy()[scored]})
        layer = score_covariate(made.trellis, table.assign(score=score))
        said = fit_surface(made.trellis, made.samples, covariates=[layer]).vines
        z = (made.size_kg - said["vine_size_kg"].to_numpy()) / said["vine_size_se_kg"].to_numpy()
        squares.append(np.mean(np.delete(z, scored) ** 2))
    assert 0.8 < np.mean(squares) < 1.3


def test_visual_scores_on_many_vines():
    # Double sampling: a score of each fourth vine, by the quarter, from its true size with error; truth invented
    made = make_vineyard(seed=50, range_m=90.0, nugget_share=0.5, samples=45, cv=0.35)
    rng = np.random.default_rng(4)
    scored = np.arange(0, len(made.size_kg), 4)
    score = np.round(4 * (made.size_kg[scored] + rng.normal(0, 0.08, len(scored))) / made.size_kg.mean())
    places = made.trellis.vines.iloc[scored]
    table = pd.DataFrame({"row": places["row"].to_numpy(), "vine": places["vine"].to_numpy(), "score": score})
    surface = fit_surface(made.trellis, made.samples, covariates=[score_covariate(made.trellis, table)])
    assert surface.diagnostics.covariates[0].kept
    assert "surface.scores_around" in {remark.message.key for remark in surface.remarks}
    true = made.panel_means()
    plain = fit_surface(made.trellis, made.samples)
    assert np.mean((surface.panels["vine_size_kg"] - true) ** 2) < np.mean((plain.panels["vine_size_kg"] - true) ** 2)
    with pytest.raises(DataError, match="no vine 999"):
        score_covariate(made.trellis, table.assign(vine=999))


def test_points_carry_as_far_as_they_stand_apart(tmp_path):
    # At a point its own value; far away nothing
    places = [Point(x, y) for x in (0, 10, 20) for y in (0, 10, 20)]
    table = gpd.GeoDataFrame({"ph": np.arange(9.0)}, geometry=places, crs=UTM)
    table.to_file(tmp_path / "ph.gpkg", driver="GPKG")
    covariate = read_covariate("ph", tmp_path / "ph.gpkg")
    found = covariate.at(np.array([[10.0, 10.0], [5.0, 5.0], [400.0, 0.0]]), UTM)
    assert found[:2] == pytest.approx([4.0, np.mean([0.0, 1.0, 3.0, 4.0])], abs=1e-6)
    assert np.isnan(found[2])
    with pytest.raises(DataError, match="no column 'sand'"):
        read_covariate("sand", write_two(tmp_path))


@pytest.mark.parametrize("crs", [UTM, 4326])
def test_a_sensor_driven_along_every_other_row_covers_the_block(tmp_path, made, crs):
    # a point each half metre along the way, 5.4 m across; 30,000 in all is a small file of such a sensor
    west, south, east, north = made.polygon.bounds
    x, y = np.meshgrid(np.arange(west, east + 5.4, 5.4), np.arange(south - 1, north + 1, 0.5))
    places = gpd.points_from_xy(x.ravel(), y.ravel())
    table = gpd.GeoDataFrame({"ndvi": y.ravel() - south}, geometry=places, crs=UTM).to_crs(crs)
    table.to_file(tmp_path / "ndvi.gpkg", driver="GPKG")
    covariate = read_covariate("ndvi", tmp_path / "ndvi.gpkg")
    points = np.column_stack([made.trellis.vines.geometry.x, made.trellis.vines.geometry.y])
    assert covariate.at(points, UTM) == pytest.approx(points[:, 1] - south, abs=0.6)


def write_two(tmp_path):
    table = gpd.GeoDataFrame({"ph": [1.0], "clay": [2.0]}, geometry=[Point(0, 0)], crs=UTM)
    table.to_file(tmp_path / "two.gpkg", driver="GPKG")
    return tmp_path / "two.gpkg"
