"""Layers that may explain vine size: read here, looked up at vines. Rasters, points or polygons, in any CRS."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from affine import Affine
from numpy.typing import NDArray
from pyproj import CRS, Transformer
from pyproj.exceptions import ProjError
from scipy.spatial import cKDTree

from geoprune.drivers import RASTER_OPTIONS
from geoprune.errors import DataError, Problem
from geoprune.reading.faults import Faults
from geoprune.reading.vector_files import open_layers
from geoprune.sources import Unfit, plain_path
from geoprune.text import few

if TYPE_CHECKING:
    import rasterio
    from rasterio.windows import Window

Floats = NDArray[np.float64]
#: Endings of rasters and the one driver that may open them: a file that only names another is not read.
RASTERS = {".tif": "GTiff", ".tiff": "GTiff", ".asc": "AAIGrid", ".img": "HFA"}
#: What may lie beside a raster and belongs to it.
BESIDE_RASTER = (".prj", ".tfw", ".aux.xml")
MOST_CELLS = 25_000_000
#: What faults of an image call it.
IMAGE = "image"
#: What is measured in a vineyard is never larger: numbers beyond it stand for "nothing", or were damaged.
LARGEST_VALUE = 1e15
NEAREST_POINTS = 4
#: Neighbours whose mean a place takes where its own value must not count.
AROUND_POINTS = 8


@dataclass(frozen=True)
class Covariate:
    """A named layer that can be looked up anywhere.

    crs : the layer's own CRS; `look_up` takes easting and northing there (m, 2) and gives numbers (NaN where the layer
    has nothing) or words (None where it has nothing). around : a place takes its neighbours' mean, never its own value.
    """

    name: str
    source: str
    crs: CRS
    look_up: Callable[[Floats], NDArray]
    around: bool = False

    def at(self, points: Floats, crs: CRS) -> NDArray:
        """Values (m,) at points (m, 2) given in `crs`; nothing where the layer's CRS has no such place.

        Raises
        ------
        DataError
            When no way leads from one CRS to the other.
        """
        try:
            transformer = Transformer.from_crs(crs, self.crs, always_xy=True)
            places = np.column_stack(transformer.transform(points[:, 0], points[:, 1]))
        except ProjError as error:
            raise _refuse(self.name, self.source, *NO_PLACE) from error
        there = np.isfinite(places).all(axis=1)
        found = self.look_up(np.where(there[:, None], places, 0.0))
        found[~there] = None if found.dtype == object else np.nan
        return found


NO_PLACE = ("its CRS has no place on the earth that the blocks' coordinates could be brought to", "Declare the right CRS")


def _refuse(name: str, path: Path | str, what: str, mend: str) -> DataError:
    return _fault(f"covariate {name}", path, what, mend)


def _fault(layer: str, path: Path | str, what: str, mend: str) -> DataError:
    return DataError([Problem(Path(path).name, layer, "", what, mend)])


def read_covariate(name: str, path: str | Path, *, around: gpd.GeoSeries | None = None) -> Covariate:
    """Read a covariate from a file: a raster's first band, or a point or polygon layer.

    Parameters
    ----------
    name : what to call it; in a vector layer also the column to take (else its only column).
    path : GeoTIFF or another raster, or a vector file with one layer (or a layer called `name`).
    around : the blocks' outlines; of a raster only the part around them is read.

    Raises
    ------
    DataError
        When the file cannot be opened, has no CRS, does not reach the blocks, is too large, or has no such column.
    """
    path = Path(path)
    if not path.exists():
        raise _refuse(name, path, "the file is missing", "Give NAME=FILE with a file that exists")
    if path.suffix.lower() not in RASTERS:
        return _read_layer(name, path)
    return _read_raster(name, path, around)


@contextmanager
def _raster(layer: str, path: Path) -> Iterator[rasterio.DatasetReader]:
    """A raster, opened by the one driver that its ending names; it has a CRS, and its cells have their places.

    Whatever cannot be read of it is a DataError that names `layer`.
    """
    try:
        with plain_path(path, beside=BESIDE_RASTER) as plain, _opened(layer, path, plain) as file:
            if file.crs is None:
                raise _fault(layer, path, "the raster has no CRS", "Declare the coordinate reference system in the file")
            if not np.isfinite(file.transform[:6]).all() or file.transform.is_degenerate:
                raise _fault(layer, path, "its cells have no place or no area", "Georeference the raster anew")
            yield file
    except Unfit as error:
        raise _fault(layer, path, error.what, error.mend) from None


@contextmanager
def _opened(layer: str, path: Path, plain: Path) -> Iterator[rasterio.DatasetReader]:
    """A file at its plain path, open as a raster; what the library finds wrong is told here, as what it is."""
    import rasterio  # here, because it loads click, and steps of the library do without

    try:
        with rasterio.Env(**RASTER_OPTIONS), rasterio.open(plain, driver=RASTERS[plain.suffix]) as file:
            yield file
    except rasterio.errors.RasterioIOError as error:
        raise _fault(layer, path, "cannot be opened as a raster", "Save it as a GeoTIFF") from error


def _read_raster(name: str, path: Path, around: gpd.GeoSeries | None) -> Covariate:
    from rasterio.windows import Window

    with _raster(f"covariate {name}", path) as file:
        window = Window(0, 0, file.width, file.height)
        if around is not None:
            window = _window(f"covariate {name}", path, file, around)
        if window.width * window.height > MOST_CELLS:
            what = f"{window.width * window.height:.0f} cells lie around the blocks"
            raise _refuse(name, path, what, f"Resample it to at most {MOST_CELLS} cells")
        if np.prod(file.block_shapes[0]) > 4 * MOST_CELLS:
            raise _refuse(name, path, "it is packed in pieces too large to read", "Save it with tiles")
        band = file.read(1, window=window, masked=True).astype(float)
        values, crs = band.filled(np.nan), CRS.from_user_input(file.crs)
        if infinite := int((np.abs(values) > LARGEST_VALUE).sum()):
            raise _refuse(
                name,
                path,
                f"{infinite} cells are infinite or larger than anything measured",
                "Declare them as empty (nodata)",
            )
        a, b, c, d, e, f = file.transform[:6]
        left, top = window.col_off, window.row_off
        transform = Affine(a, b, c + a * left + b * top, d, e, f + d * left + e * top)
    return Covariate(name, path.name, crs, lambda points: bilinear(values, transform, points))


def _window(layer: str, path: Path, file: rasterio.DatasetReader, around: gpd.GeoSeries) -> Window:
    """The part of a raster around the blocks, with two cells to spare."""
    from rasterio.windows import Window

    try:
        west, south, east, north = around.to_crs(file.crs).total_bounds
    except ProjError as error:
        raise _fault(layer, path, *NO_PLACE) from error
    corners = np.array([(west, south), (west, north), (east, south), (east, north)])
    known = np.isfinite(corners).all()
    column, row = cells(file.transform, np.where(known, corners, 0.0))
    left, right = max(int(column.min()) - 2, 0), min(int(column.max()) + 3, file.width)
    top, bottom = max(int(row.min()) - 2, 0), min(int(row.max()) + 3, file.height)
    if not (known and left < right and top < bottom):
        raise _fault(layer, path, "the raster does not reach the blocks", "Check its place and CRS")
    return Window(left, top, right - left, bottom - top)


def read_image(path: Path, outline: gpd.GeoSeries, step_m: float) -> tuple[Floats, float]:
    """Read up to three bands of an image around an outline, on a square grid of the outline's CRS.

    Parameters
    ----------
    path : Path
        GeoTIFF or another raster.
    outline : GeoSeries
        In a projected CRS.
    step_m : float
        Side of a cell of the grid, m; an image's finer pixels are averaged, and those of a coarser one set the side.

    Returns
    -------
    array (k, h, w), float
        Bands, the first line in the north, NaN outside the outline; side of a cell, m.

    Raises
    ------
    DataError
        When the file cannot be opened, has no CRS, or does not reach the outline.
    """
    if path.suffix.lower() not in RASTERS or not path.exists():
        what = (
            "the file is missing"
            if not path.exists()
            else f"files ending in '{path.suffix.lower()}' are no images with a place"
        )
        raise _fault(IMAGE, path, what, "Give a GeoTIFF")
    from rasterio.enums import Resampling

    with _raster(IMAGE, path) as file:
        window = _window(IMAGE, path, file, outline)
        corner = file.transform @ Affine.translation(window.col_off, window.row_off)
        pixel_m = _pixel_m(corner, CRS.from_user_input(file.crs), window, outline)
        fewer = max(1, int(step_m / pixel_m))
        shape = -(-int(window.height) // fewer), -(-int(window.width) // fewer)
        if shape[0] * shape[1] > MOST_CELLS or np.prod(file.block_shapes[0]) > 4 * MOST_CELLS:
            raise _fault(IMAGE, path, "it is packed in pieces too large to read", "Save it with tiles")
        bands = list(range(1, min(file.count, 3) + 1))
        read = file.read(bands, window=window, out_shape=(len(bands), *shape), masked=True, resampling=Resampling.average)
        scale = Affine.scale(window.width / shape[1], window.height / shape[0])
        values, transform = read.astype(float).filled(np.nan), corner @ scale
        back = Transformer.from_crs(outline.crs, CRS.from_user_input(file.crs), always_xy=True)
    step_m = max(step_m, pixel_m)
    west, south, east, north = outline.total_bounds
    easting, northing = np.meshgrid(np.arange(west, east, step_m), np.arange(north, south, -step_m))
    points = np.column_stack(back.transform(easting.ravel(), northing.ravel()))
    inside = shapely.contains_xy(outline.union_all(), easting, northing)
    found = np.stack([bilinear(band, transform, points).reshape(easting.shape) for band in values])
    return np.where(inside & (np.abs(found) <= LARGEST_VALUE), found, np.nan), step_m


def _pixel_m(corner: Affine, crs: CRS, window: Window, outline: gpd.GeoSeries) -> float:
    """The longer side of a pixel in the middle of a window, m."""
    middle = window.width / 2, window.height / 2
    corners = np.array([corner @ (middle[0] + i, middle[1] + j) for i, j in ((0, 0), (1, 0), (0, 1))])
    there = Transformer.from_crs(crs, outline.crs, always_xy=True)
    place = np.column_stack(there.transform(corners[:, 0], corners[:, 1]))
    return float(np.hypot(*(place[1:] - place[0]).T).max())


def cells(transform: Affine, points: Floats) -> tuple[Floats, Floats]:
    """Column and row (m,) of points (m, 2), counted in cells from the raster's first corner."""
    a, b, c, d, e, f = (~transform)[:6]
    return a * points[:, 0] + b * points[:, 1] + c, d * points[:, 0] + e * points[:, 1] + f


def bilinear(values: Floats, transform: Affine, points: Floats) -> Floats:
    """Values of a raster (H, W) at points (m, 2) in its CRS: bilinear between cell centres.

    Where one of the four cells is empty, the cell the point lies in counts; NaN where that is empty or outside.
    """
    column, row = cells(transform, points)
    high, wide = values.shape
    inside = (column >= 0) & (column < wide) & (row >= 0) & (row < high)
    own_row, own_column = (np.clip(np.floor(v), 0, n - 1).astype(int) for v, n in ((row, high), (column, wide)))
    nearest = np.where(inside, values[own_row, own_column], np.nan)
    top, left = np.clip(row - 0.5, 0, high - 1), np.clip(column - 0.5, 0, wide - 1)
    up, west = np.floor(top).astype(int), np.floor(left).astype(int)
    down, east = np.minimum(up + 1, high - 1), np.minimum(west + 1, wide - 1)
    v, h = top - up, left - west
    between = (1 - v) * ((1 - h) * values[up, west] + h * values[up, east]) + v * (
        (1 - h) * values[down, west] + h * values[down, east]
    )
    return np.where(inside & np.isfinite(between), between, nearest)


def _read_layer(name: str, path: Path) -> Covariate:
    faults = Faults(path.name, f"covariate {name}")

    def choose(layers: list[str]) -> list[str]:
        if len(layers) > 1 and name not in layers:
            faults.add(f"it has layers {few(layers)}", f"Keep one layer, or call one '{name}'")
            return []
        return [name] if name in layers else layers[:1]

    opened = open_layers(path, faults, choose=choose)
    faults.problems.stop()
    ((table, _),) = opened.values()
    if table.crs is None:
        raise _refuse(name, path, "the layer has no CRS", "Declare the coordinate reference system in the file")
    values = _column(name, path, table)
    table, values = table[values.notna().to_numpy()], values[values.notna()]
    if not len(table):
        raise _refuse(name, path, "every value is empty", "Give a layer with values")
    nowhere = table.geometry.isna() | table.is_empty | ~np.isfinite(table.bounds).all(axis=1)
    if nowhere.any():
        raise _refuse(name, path, f"{int(nowhere.sum())} features have no place", "Give each its geometry, or delete it")
    if pd.api.types.is_numeric_dtype(values) and (np.abs(values.to_numpy(float)) > LARGEST_VALUE).any():
        raise _refuse(
            name, path, "some values are infinite or larger than anything measured", "Give numbers, or leave them empty"
        )
    kinds = set(table.geom_type)
    if kinds <= {"Point"}:
        table = table.to_crs(table.estimate_utm_crs()) if table.crs.is_geographic else table  # distances in metres
        if not pd.api.types.is_numeric_dtype(values):
            raise _refuse(name, path, "points must carry numbers", "Give numbers, or polygons for words")
        return point_covariate(name, gpd.GeoDataFrame({name: values}, geometry=table.geometry), source=path.name)
    if kinds <= {"Polygon", "MultiPolygon"}:
        return Covariate(name, path.name, CRS(table.crs), _within_polygons(table.geometry, values))
    raise _refuse(name, path, f"it holds {', '.join(sorted(kinds))}", "Give points or polygons")


def point_covariate(name: str, table: gpd.GeoDataFrame, *, source: str = "", around: bool = False) -> Covariate:
    """A covariate from points with one number each: column `name` of a table with a CRS."""
    look_up = _among_points(table.geometry, table[name].to_numpy(float), around=around)
    return Covariate(name, source, CRS(table.crs), look_up, around)


def _column(name: str, path: Path, table: gpd.GeoDataFrame) -> pd.Series:
    columns = [c for c in table.columns if c != table.active_geometry_name]
    match = [c for c in columns if c.casefold() == name.casefold()] or (columns if len(columns) == 1 else [])
    if len(match) != 1:
        what = f"no column '{name}' among {', '.join(columns) or 'none'}"
        raise _refuse(name, path, what, "Call the covariate as its column")
    values = table[match[0]]
    return values.astype(float) if pd.api.types.is_bool_dtype(values) else values


def _among_points(places: gpd.GeoSeries, values: Floats, *, around: bool = False) -> Callable[[Floats], NDArray]:
    """Mean of the four nearest points, weighted by inverse squared distance; NaN beyond their usual distance.

    With `around` it is the mean of the eight nearest, weighted by inverse distance, a point at the place itself left out.

    A place counts as covered up to four times the points' spacing: the median distance between neighbours, or where it
    is larger the side of the square that each has to itself (a sensor's points lie dense along its way, not across).
    """
    known = np.column_stack([places.x, places.y])
    tree = cKDTree(known)
    count = min(AROUND_POINTS + 1 if around else NEAREST_POINTS, len(known))
    apart = tree.query(known, k=2)[0][:, 1] if len(known) > 1 else np.zeros(1)
    own = np.sqrt(shapely.convex_hull(shapely.multipoints(known)).area / len(known))
    reach = 4.0 * max(float(np.median(apart[apart > 0])), float(own)) if (apart > 0).any() else 0.0

    def look_up(points: Floats) -> NDArray:
        distance, nearest = tree.query(points, k=count)
        distance, nearest = distance.reshape(len(points), -1), nearest.reshape(len(points), -1)
        near = np.maximum(distance, 1e-9 + 1e-6 * reach)
        weight = np.where(distance > 0.01, 1.0 / near, 0.0) if around else 1.0 / near**2
        total = weight.sum(axis=1)
        mean = np.sum(weight * values[nearest], axis=1) / np.where(total > 0.0, total, np.nan)
        return np.where(distance[:, 0] <= reach, mean, np.nan)

    return look_up


def _within_polygons(shapes: gpd.GeoSeries, values: pd.Series) -> Callable[[Floats], NDArray]:
    """The value of the polygon a point lies in (the first of several)."""
    index = shapes.sindex
    numeric = pd.api.types.is_numeric_dtype(values)
    attribute = values.to_numpy(float) if numeric else values.astype(str).to_numpy(object)

    def look_up(points: Floats) -> NDArray:
        found = np.full(len(points), np.nan) if numeric else np.full(len(points), None, dtype=object)
        inside, owner = index.query(gpd.points_from_xy(points[:, 0], points[:, 1]), predicate="intersects")
        order = np.lexsort((owner, inside))[::-1]
        found[inside[order]] = attribute[owner[order]]
        return found

    return look_up
