"""Invented vineyards of every shape, drawn at random from a seed: what a file may hold, not what a vineyard should be."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray
from pyproj import CRS, Transformer
from shapely import LineString, MultiPolygon, Polygon, affinity

from geoprune.layers import Vineyard

#: Work CRS and a place in it: New York, Cape of Good Hope, and New York drawn on a grid of feet first.
PLACES = {
    "north": ("EPSG:32618", (330_000.0, 4_700_000.0), None),
    "south": ("EPSG:32734", (310_000.0, 6_240_000.0), None),
    "feet": ("EPSG:32618", (330_000.0, 4_700_000.0), "EPSG:2262"),
}
KINDS = ("straight", "laid_out", "curved", "fan", "terraces", "two_parts", "holes", "sliver")
Rows = list[NDArray[np.float64]]


@dataclass(frozen=True)
class Drawn:
    """A vineyard of one block `A`, and the words to find it again by."""

    vineyard: Vineyard
    outline: Polygon | MultiPolygon
    described: str


def draw_vineyard(seed: int) -> Drawn:
    """A vineyard from a seed: kind, spacings 0.8 to 4 m, bearing, size and place all drawn at random."""
    rng = np.random.default_rng(seed)
    kind, place = KINDS[seed % len(KINDS)], tuple(PLACES)[seed // len(KINDS) % len(PLACES)]
    row_m, vine_m, bearing = rng.uniform(0.9, 4.0), rng.uniform(0.8, 4.0), rng.choice([rng.uniform(0, 360), 25.0, 0.0, 90.0])
    lines, outline = _draw(kind, rng, row_m, vine_m)
    crs, corner, feet = PLACES[place]
    corner = np.asarray(corner) + rng.uniform(-20_000, 20_000, 2)

    def stand(shape: shapely.Geometry) -> shapely.Geometry:
        turned = affinity.translate(affinity.rotate(shape, -bearing, origin=(0, 0)), *corner)
        if feet is None:
            return turned
        there, back = (Transformer.from_crs(*pair, always_xy=True) for pair in ((crs, feet), (feet, crs)))
        rounded = shapely.transform(turned, lambda c: np.round(np.column_stack(there.transform(*c.T)), 2))
        return shapely.transform(rounded, lambda c: np.column_stack(back.transform(*c.T)))

    outline = shapely.make_valid(stand(outline))
    described = f"seed {seed}: {kind}, {place}, rows {row_m:.2f} m, vines {vine_m:.2f} m, bearing {bearing:.1f}"
    rows = None if lines is None else [stand(LineString(line)) for line in lines]
    per_panel = rng.choice([1.0, 2.0, 3.0, 4.0, np.nan])
    return Drawn(_vineyard(rows, outline, CRS(crs), row_m, vine_m, bearing % 360, per_panel), outline, described)


def random_zones(panels: gpd.GeoDataFrame, rng: np.random.Generator) -> NDArray[np.int64]:
    """Zones 1..k for panels: in patches, by rows, one panel here and there, or each panel for itself."""
    middle = shapely.get_coordinates(shapely.line_interpolate_point(panels.geometry.values, 0.5, normalized=True))
    middle = middle - middle.mean(axis=0)
    number, how = int(rng.integers(1, 5)), rng.integers(4)
    if how == 0:
        wave = sum(np.sin(middle @ rng.normal(0, 0.05, 2) + rng.uniform(0, 6)) for _ in range(3))
        zones = np.digitize(wave, np.quantile(wave, np.arange(1, number) / number))
    elif how == 1:
        zones = rng.integers(0, number, panels["row_order"].max() + 1)[panels["row_order"].to_numpy()]
    elif how == 2:
        zones = rng.integers(0, number, len(panels))
    else:
        zones = np.arange(len(panels))
    return np.unique(zones, return_inverse=True)[1] + 1


def _draw(kind: str, rng: np.random.Generator, row_m: float, vine_m: float) -> tuple[Rows | None, Any]:
    """Rows (None: to be laid out) and outline around the origin, rows running north."""
    count, length = int(rng.integers(3, 40)), float(rng.uniform(10, 50) * vine_m)
    easting = row_m * (np.arange(count) + 0.5)
    width = row_m * count
    if kind == "sliver":
        wide = float(rng.choice([0.3, row_m / 2, row_m]))
        long = max(length, 120.0 / wide)
        return [np.array([(wide / 2, 0), (wide / 2, long)])], shapely.box(0, 0, wide, long)
    if kind == "curved":
        radius = rng.uniform(30, 400)
        angle = np.linspace(0, min(length / radius, 2.0), 40)
        arc = np.column_stack([np.cos(angle), np.sin(angle)])
        edge = [(radius - row_m / 2) * arc, (radius + width - row_m / 2) * arc[::-1]]
        return [(radius + e - row_m / 2) * arc for e in easting], Polygon(np.concatenate(edge))
    if kind == "fan":
        near, turn = count * vine_m, np.deg2rad(rng.uniform(20, 80))
        angles = np.linspace(0, turn, count)
        rays = [np.array([near, near + length])[:, None] * np.array([np.cos(a), np.sin(a)]) for a in angles]
        return rays, shapely.buffer(shapely.convex_hull(shapely.multilinestrings(rays)), row_m / 2)
    if kind == "terraces":
        north = np.linspace(0, length, 25)
        sway = rng.uniform(0, 0.3) * length / 10 * np.sin(north / length * rng.uniform(3, 9))
        apart = np.cumsum(rng.uniform(row_m, 2 * row_m, count))
        lines = [np.column_stack([sway + e, north]) for e in apart]
        return lines, shapely.buffer(shapely.convex_hull(shapely.multilinestrings(lines)), row_m / 2)
    whole = shapely.box(0, 0, width, length)
    if kind == "laid_out":
        return None, affinity.skew(shapely.box(0, 0, max(width, 12), max(length, 12)), rng.uniform(-30, 30))
    if kind == "two_parts":
        gap = shapely.box(-1, length * 0.4, width + 1, length * 0.4 + vine_m * rng.uniform(0.2, 4))
        return [np.array([(e, 0), (e, length)]) for e in easting], whole - gap
    if kind == "holes":
        holes = [shapely.Point(rng.uniform(0, width), rng.uniform(0, length)).buffer(rng.uniform(1, 12)) for _ in range(3)]
        return [np.array([(e, 0), (e, length)]) for e in easting], whole - shapely.union_all(holes)
    ends = length * rng.uniform(0.93, 1.0, count)
    return [np.array([(e, 0), (e, end)]) for e, end in zip(easting, ends, strict=True)], whole


def _vineyard(
    rows: list[LineString] | None, outline: Any, crs: CRS, row_m: float, vine_m: float, bearing: float, per_panel: float
) -> Vineyard:
    block = {"block": "A", "variety": "Concord", "rule": "30+10", "training": "top-wire cordon", "planted": np.nan}
    block |= {"row_spacing_m": row_m, "vine_spacing_m": vine_m, "vines_per_panel": per_panel, "row_bearing_deg": bearing}
    names = [str(number + 1) for number in range(len(rows or ()))]
    lines = None if rows is None else gpd.GeoDataFrame({"block": "A", "row": names}, geometry=rows, crs=crs)
    samples = gpd.GeoDataFrame(pd.DataFrame({"block": [], "row": [], "vine": []}), geometry=[], crs=crs)
    blocks = gpd.GeoDataFrame([block], geometry=[outline], crs=crs)
    return Vineyard(blocks=blocks, rows=lines, vines=None, samples=samples, bud_checks=None, crs=crs)
