"""Small blocks for the tests of zones. All numbers are invented."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
from pyproj import CRS
from shapely import LineString, Polygon
from shapely.affinity import rotate

from geoprune.layers import Vineyard
from geoprune.sizes import SizeDraws
from geoprune.trellis import Trellis, build_trellis

UTM = CRS.from_epsg(32617)
ROW_M, VINE_M, PER_PANEL = 2.7, 2.0, 3
CORNER = np.array([620_000.0, 4_690_000.0])
#: Buds by a straight rule, so that a test can do it in its head: 40 buds a kilogram.
BUDS_PER_KG = 40.0


def need(weight_kg):
    return BUDS_PER_KG * np.asarray(weight_kg)


def lay_block(
    panels_per_row, *, turned=(), shuffled=None, bearing_deg=0.0, offsets_m=None, missing=()
) -> tuple[Trellis, Polygon]:
    """Rows of whole panels, 2.7 m apart, that run north before the block is turned clockwise by `bearing_deg`.

    turned: rows whose vine 1 stands at the far end. shuffled: seed of another order of rows in the file.
    missing: (row, vine) pairs.
    """
    lengths = np.asarray(panels_per_row) * PER_PANEL * VINE_M
    offsets = np.zeros(len(lengths)) if offsets_m is None else np.asarray(offsets_m)
    center = tuple(CORNER)
    lines, names = [], []
    for i, (length, start) in enumerate(zip(lengths, offsets, strict=True)):
        easting = CORNER[0] + (i + 0.5) * ROW_M
        ends = [(easting, CORNER[1] + start), (easting, CORNER[1] + start + length)]
        lines.append(rotate(LineString(ends[::-1] if i in turned else ends), -bearing_deg, origin=center))
        names.append(f"R{i + 1}")
    shuffle = np.arange(len(lines)) if shuffled is None else np.random.default_rng(shuffled).permutation(len(lines))
    low, high = offsets.min(), (offsets + lengths).max()
    corners = [(0, low), (len(lengths) * ROW_M, low), (len(lengths) * ROW_M, high), (0, high)]
    outline = rotate(Polygon(CORNER + np.array(corners)), -bearing_deg, origin=center)
    return lay_lines([lines[i] for i in shuffle], outline, names=[names[i] for i in shuffle], missing=missing)


def lay_lines(lines, outline, *, names=None, missing=(), bearing_deg=np.nan) -> tuple[Trellis, Polygon]:
    """Rows along lines; None: laid out in the outline at the bearing."""
    names = names or [f"R{i + 1}" for i in range(len(lines or ()))]
    rows = None if lines is None else gpd.GeoDataFrame({"block": "A", "row": names}, geometry=lines, crs=UTM)
    blocks = gpd.GeoDataFrame(
        {
            "block": ["A"],
            "rule": ["20+20"],
            "training": ["top-wire cordon"],
            "row_spacing_m": [ROW_M],
            "vine_spacing_m": [VINE_M],
            "vines_per_panel": [float(PER_PANEL)],
            "row_bearing_deg": [bearing_deg],
        },
        geometry=[outline],
        crs=UTM,
    )
    gone = gpd.GeoDataFrame(
        {"block": ["A"] * len(missing), "row": [r for r, _ in missing], "vine": [v for _, v in missing]}
        | {"status": ["missing"] * len(missing)},
        geometry=gpd.points_from_xy([0.0] * len(missing), [0.0] * len(missing)),
        crs=UTM,
    )
    vineyard = Vineyard(blocks, rows, gone if missing else None, blocks.iloc[:0], None, UTM)
    return build_trellis(vineyard, "A"), outline


def field_of(trellis: Trellis, seed: int, *, waves=4, mean_kg=0.9, sd_kg=0.25, length_m=60.0):
    """Invented panel means (P,) in kg: a few smooth waves over the ground, a function of the place alone."""
    rng = np.random.default_rng(seed)
    lines = trellis.panels.geometry.interpolate(0.5, normalized=True)
    place = np.column_stack([lines.x, lines.y]) - CORNER
    directions = rng.normal(size=(2, waves)) * 2 * np.pi / length_m
    raw = np.sin(place @ directions + rng.uniform(0, 2 * np.pi, waves)).sum(axis=1)
    return np.maximum(mean_kg + sd_kg * raw / np.sqrt(waves / 2), 0.05)


def draws_of(panel_mean_kg, *, seed=0, draws=30, doubt_kg=0.08, vine_sd_kg=0.2) -> SizeDraws:
    """Draws about given panel means: a common shift of the block and one of each panel."""
    rng = np.random.default_rng(seed)
    shift = rng.normal(0, doubt_kg / 2, (draws, 1)) + rng.normal(0, doubt_kg, (draws, len(panel_mean_kg)))
    return SizeDraws(np.maximum(panel_mean_kg + shift, 0.02), np.full(draws, vine_sd_kg))
