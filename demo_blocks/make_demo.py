"""Make the demo vineyard: an invented estate with a known truth. Estate, names and numbers are invented.

Run it from anywhere: `python demo_blocks/make_demo.py [FOLDER]`. It writes, into FOLDER (default: its own),

estate.gpkg      layers blocks, rows, vines (only those that do not bear), bud_checks; US survey feet
weights.csv      the weighed vines, by row + vine in some blocks and by lon + lat in others
harvest.csv      last harvest per block
winters.csv      vines of two blocks weighed in three winters, by row + vine
harvest_rows.csv last harvest of one of them row by row, of the other as a whole
elevation.tif    ground height, a covariate that helps in two blocks
truth.csv.gz     the true size of every vine, so that a map can be judged

The same seed gives the same contents. Ground, blocks and truth are built in metres (UTM) and written in feet.
"""

from __future__ import annotations

import csv
import gzip
import io
import os
import sys
from dataclasses import dataclass, field
from pathlib import Path

os.environ["OGR_CURRENT_DATE"] = "2026-02-14T00:00:00Z"  # set before GDAL starts: the same bytes on every run

import geopandas as gpd
import numpy as np
import pandas as pd
import rasterio
from numpy.typing import NDArray
from pyproj import Proj
from rasterio.transform import from_origin
from shapely import LineString, Point, Polygon
from shapely.affinity import rotate, translate

SEED = 20260214
GROUND_CRS = "EPSG:32618"
FILE_CRS = "EPSG:2261"
CORNER = (334_000.0, 4_718_000.0)
M_PER_FT, KG_PER_LB, MM_PER_IN = 0.3048, 0.45359237, 25.4
Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Block:
    """An invented block: what its file says, its rows in metres, and how its vines vary (kg)."""

    name: str
    variety: str
    rule: str
    training: str
    row_spacing_ft: float
    vine_spacing_ft: float
    vines_per_panel: int
    planted: int
    polygon: Polygon
    rows: list[tuple[str, LineString]]
    mean_kg: float
    field_sd_kg: float
    range_m: float
    vine_sd_kg: float
    height_effect_kg: float = 0.0
    bearing_deg: float | None = None
    vines: pd.DataFrame = field(default_factory=pd.DataFrame)


def ground_height(easting: Floats, northing: Floats) -> Floats:
    """Height of the invented hill above the sea, m: a ridge, a hollow and a slope to the creek."""
    east, north = easting - CORNER[0], northing - CORNER[1]
    ridge = 26.0 * np.exp(-(((east - 150) / 190) ** 2) - ((north - 420) / 150) ** 2)
    knoll = 9.0 * np.exp(-(((east - 520) / 70) ** 2) - ((north - 330) / 60) ** 2)
    hollow = -7.0 * np.exp(-(((east - 620) / 120) ** 2) - ((north - 120) / 90) ** 2)
    return 232.0 + 0.035 * north - 0.012 * east + ridge + knoll + hollow


def true_bearing(polygon: Polygon, grid_deg: float) -> float:
    """A bearing on the ground's grid as one from true north: by the meridian convergence at the block."""
    lonlat = gpd.GeoSeries([polygon.centroid], crs=GROUND_CRS).to_crs(4326)
    factors = Proj(GROUND_CRS).get_factors(lonlat.x.to_numpy(), lonlat.y.to_numpy())
    return round(grid_deg + float(factors.meridian_convergence[0]), 2)


def straight_rows(polygon: Polygon, bearing_deg: float, row_m: float, vine_m: float) -> list[LineString]:
    """Rows along a bearing, cut to whole vines inside the headland; their lengths follow the block's edge."""
    turned = rotate(polygon, bearing_deg, origin=polygon.centroid)
    west, south, east, north = turned.bounds
    inside = turned.buffer(-row_m / 2)
    rows = []
    for easting in np.arange(west + row_m / 2, east, row_m):
        line = inside.intersection(LineString([(easting, south), (easting, north)]))
        count = int(line.length / vine_m) if isinstance(line, LineString) else 0
        if count >= 4:
            start = min(point[1] for point in line.coords)
            rows.append(LineString([(easting, start), (easting, start + count * vine_m)]))
    return [rotate(row, -bearing_deg, origin=polygon.centroid) for row in rows]


def contour_rows(centre: tuple[float, float], first_radius_m: float, count: int, row_m: float) -> list[LineString]:
    """Rows that follow a slope: rings about a centre with a bend in them, each a bit longer."""
    rows = []
    for order in range(count):
        span = np.deg2rad(52 + 0.35 * order + 3 * np.sin(order / 5))
        angle = np.deg2rad(62) + np.linspace(0, span, 60)
        radius = first_radius_m + order * row_m + 5.0 * np.sin(3.1 * angle)
        rows.append(LineString(np.column_stack([centre[0] + radius * np.cos(angle), centre[1] + radius * np.sin(angle)])))
    return rows


def ring_polygon(rows: list[LineString], margin_m: float) -> Polygon:
    """Outline of a set of neighbouring curved rows, with a headland."""
    first, last = np.asarray(rows[0].coords), np.asarray(rows[-1].coords)
    ends = np.asarray([row.coords[-1] for row in rows])
    starts = np.asarray([row.coords[0] for row in rows])[::-1]
    return Polygon(np.vstack([first, ends[1:-1], last[::-1], starts[1:-1]])).buffer(margin_m, join_style="mitre")


def vine_places(block: Block) -> pd.DataFrame:
    """Every planting position: row, vine (1.. from the row's first vertex), easting, northing in metres."""
    spacing = block.vine_spacing_ft * M_PER_FT
    parts = []
    for row, line in block.rows:
        along = (np.arange(int(line.length / spacing + 1e-6)) + 0.5) * spacing
        points = [line.interpolate(distance) for distance in along]
        parts.append(
            pd.DataFrame(
                {
                    "row": row,
                    "vine": np.arange(1, len(along) + 1),
                    "easting": [p.x for p in points],
                    "northing": [p.y for p in points],
                }
            )
        )
    return pd.concat(parts, ignore_index=True)


def smooth_field(easting: Floats, northing: Floats, range_m: float, rng: np.random.Generator) -> Floats:
    """A Gaussian field of unit variance on the vines; exponential, correlation 5 % at `range_m`."""
    from scipy.spatial.distance import cdist

    places = np.column_stack([easting, northing])
    covariance = np.exp(-3.0 * cdist(places, places) / range_m)
    covariance[np.diag_indices_from(covariance)] += 1e-9
    drawn = np.linalg.cholesky(covariance) @ rng.standard_normal(len(places))
    return (drawn - drawn.mean()) / drawn.std()


def grow(block: Block, rng: np.random.Generator) -> Block:
    """Give every vine its true size: mean + height effect + smooth field + vine-to-vine variation."""
    vines = vine_places(block)
    size = np.full(len(vines), block.mean_kg)
    if block.field_sd_kg:
        height = ground_height(vines["easting"].to_numpy(), vines["northing"].to_numpy())
        size += block.field_sd_kg * smooth_field(
            vines["easting"].to_numpy(), vines["northing"].to_numpy(), block.range_m, rng
        )
        size += block.height_effect_kg * (height - height.mean()) / height.std()
    expected = np.maximum(size, 0.08)
    vines["expected_kg"] = expected
    vines["vine_size_kg"] = np.maximum(expected + block.vine_sd_kg * rng.standard_normal(len(vines)), 0.04)
    vines["status"] = "bearing"
    vines.insert(0, "block", block.name)
    return Block(**{**block.__dict__, "vines": vines})


def lay_out() -> list[Block]:
    """The four blocks of the estate on its ground."""
    e0, n0 = CORNER

    def named(lines: list[LineString]) -> list[tuple[str, LineString]]:
        return [(str(number), line) for number, line in enumerate(lines, start=1)]

    hill = translate(Polygon([(0, 8), (118, -6), (176, 20), (190, 128), (120, 176), (26, 150)]), e0 + 60, n0 + 330)
    flat = translate(Polygon([(0, 0), (96, 10), (104, 92), (40, 118), (-6, 100)]), e0 + 300, n0 + 20)
    barns = translate(Polygon([(0, 0), (110, -18), (138, 62), (96, 112), (10, 98)]), e0 + 560, n0 + 60)
    hill_rows = straight_rows(hill, -12.0, 9 * M_PER_FT, 8 * M_PER_FT)
    flat_rows = straight_rows(flat, 5.0, 8 * M_PER_FT, 6 * M_PER_FT)
    barn_rows = straight_rows(barns, 20.0, 9 * M_PER_FT, 8 * M_PER_FT)
    bend_rows = contour_rows((e0 + 470, n0 + 215), 95.0, 34, 9 * M_PER_FT)
    return [
        Block(
            "Ridge Concord",
            "Concord",
            "30+10",
            "top-wire cordon",
            9,
            8,
            3,
            1998,
            hill,
            named(hill_rows),
            1.25,
            0.30,
            90.0,
            0.20,
            -0.42,
        ),
        Block(
            "Church Riesling",
            "Riesling",
            "20+20",
            "flat cane",
            8,
            6,
            4,
            2009,
            flat,
            named(flat_rows),
            0.62,
            0.0,
            0.0,
            0.19,
        ),
        Block(
            "Creek Bend",
            "Chambourcin",
            "20+10",
            "Top-wire Cordon",
            9,
            7,
            3,
            2006,
            ring_polygon(bend_rows, 3.0),
            [(f"B{n}", line) for n, line in named(bend_rows)],
            0.92,
            0.26,
            85.0,
            0.21,
            -0.20,
        ),
        Block(
            "Two Barns",
            "Norton",
            "50+10",
            "divided horizontal",
            9,
            8,
            3,
            2003,
            barns,
            named(barn_rows),
            1.05,
            0.30,
            80.0,
            0.24,
            0.0,
            20.0,
        ),
    ]


def thin_out(block: Block, clumps: list[tuple[float, float, float]], loose: float, rng: np.random.Generator) -> None:
    """Mark vines as not bearing: in clumps (share east, share north, radius m) and loosely."""
    vines = block.vines
    place = vines[["easting", "northing"]].to_numpy()
    low, high = np.quantile(place, 0.02, axis=0), np.quantile(place, 0.98, axis=0)
    for east, north, radius in clumps:
        centre = place[np.argmin(np.hypot(*(place - (low + (high - low) * [east, north])).T))]
        distance = np.hypot(*(place - centre).T)
        gone = (distance < radius) & (rng.random(len(vines)) < 0.72)
        vines.loc[gone, "status"] = rng.choice(["missing", "dead"], gone.sum(), p=[0.7, 0.3])
        sick = (distance < radius * 1.5) & (vines["status"] == "bearing") & (rng.random(len(vines)) < 0.35)
        vines.loc[sick, "status"] = "diseased"
        vines.loc[sick, "vine_size_kg"] *= 0.35
    spare = (rng.random(len(vines)) < loose) & (vines["status"] == "bearing")
    vines.loc[spare, "status"] = rng.choice(["missing", "young", "dead"], spare.sum(), p=[0.5, 0.3, 0.2])
    vines.loc[vines["status"].isin(["missing", "dead"]), "vine_size_kg"] = 0.0
    vines.loc[vines["status"] == "young", "vine_size_kg"] = 0.1


def spread_choice(block: Block, count: int, rng: np.random.Generator) -> pd.DataFrame:
    """Choose bearing vines spread over the block: each next one far from those chosen."""
    bearing = block.vines[block.vines["status"] == "bearing"]
    place = bearing[["easting", "northing"]].to_numpy()
    chosen = [int(rng.integers(len(place)))]
    nearest = np.hypot(*(place - place[chosen[0]]).T)
    while len(chosen) < count:
        candidates = rng.choice(len(place), 60, replace=False)
        chosen.append(int(candidates[np.argmax(nearest[candidates])]))
        nearest = np.minimum(nearest, np.hypot(*(place - place[chosen[-1]]).T))
    return bearing.iloc[chosen].sort_values(["easting", "northing"])


WEIGHT_COLUMNS = [
    "block",
    "row",
    "vine",
    "lon",
    "lat",
    "pruning_weight_lb",
    "vines_weighed",
    "canes",
    "bull_canes",
    "cane_diameter_in",
    "internode_in",
    "season",
    "date",
    "note",
]


def weigh_by_number(block: Block, count: int, date: str, rng: np.random.Generator) -> list[dict]:
    """Weighed vines told by row and vine; spring-scale readings to a tenth of a pound."""
    return [
        {
            "block": block.name,
            "row": v.row,
            "vine": v.vine,
            "pruning_weight_lb": round(v.vine_size_kg / KG_PER_LB, 1),
            "vines_weighed": 1,
            "season": 2026,
            "date": date,
            "note": "",
        }
        for v in spread_choice(block, count, rng).itertuples()
    ]


def to_lonlat(easting: Floats, northing: Floats) -> tuple[Floats, Floats]:
    """Longitude and latitude (WGS 84) of places on the ground."""
    points = gpd.GeoSeries(gpd.points_from_xy(easting, northing), crs=GROUND_CRS).to_crs("EPSG:4326")
    return points.x.round(7).to_numpy(), points.y.round(7).to_numpy()


def count_canes(size_kg: Floats, rng: np.random.Generator) -> tuple[Floats, Floats]:
    """Canes on a vine and how many of them are bull canes: more, and a larger share, on large vines."""
    canes = np.maximum(rng.poisson(10 + 14 * size_kg), 4)
    share = 1 / (1 + np.exp(-(size_kg - 1.45) / 0.22))
    return canes, rng.binomial(canes, 0.75 * share)


def weigh_by_phone(block: Block, count: int, rng: np.random.Generator) -> list[dict]:
    """Weighed vines told by a phone's position (one to three metres of scatter), with canes looked at."""
    vines = spread_choice(block, count, rng)
    size = vines["vine_size_kg"].to_numpy()
    canes, bulls = count_canes(size, rng)
    easting = vines["easting"].to_numpy() + 1.1 * rng.standard_normal(count)
    northing = vines["northing"].to_numpy() + 1.1 * rng.standard_normal(count)
    northing[7] += 61.0
    easting[7] += 48.0
    lon, lat = to_lonlat(easting, northing)
    diameter = (6.2 + 2.1 * size + 0.5 * rng.standard_normal(count)) / MM_PER_IN
    internode = (62 + 24 * size + 6 * rng.standard_normal(count)) / MM_PER_IN
    notes = {3: "strong shade under the canes", 7: "phone lost the sky here", 11: "crown gall?"}
    return [
        {
            "block": block.name,
            "lon": lon[i],
            "lat": lat[i],
            "pruning_weight_lb": round(size[i] / KG_PER_LB, 1),
            "vines_weighed": 1,
            "canes": canes[i],
            "bull_canes": bulls[i],
            "cane_diameter_in": round(diameter[i], 2),
            "internode_in": round(internode[i], 1),
            "season": 2026,
            "date": "2026-02-19",
            "note": notes.get(i, ""),
        }
        for i in range(count)
    ]


def weigh_by_threes(block: Block, counts: dict[int, int], rng: np.random.Generator) -> list[dict]:
    """Three neighbouring vines weighed together, in two winters; the earlier winter had weaker vines."""
    lines = []
    for season, count in counts.items():
        middles = spread_choice(block, count, rng)
        for v in middles.itertuples():
            trio = block.vines[(block.vines["row"] == v.row) & (block.vines["vine"].sub(v.vine).abs() <= 1)]
            weight = trio["vine_size_kg"].sum() * (1.0 if season == 2026 else 0.86)
            lon, lat = to_lonlat(np.array([v.easting]), np.array([v.northing]))
            lines.append(
                {
                    "block": block.name,
                    "lon": lon[0],
                    "lat": lat[0],
                    "pruning_weight_lb": round(weight / KG_PER_LB, 1),
                    "vines_weighed": len(trio),
                    "season": season,
                    "date": f"{season}-02-2{season % 10 - 4}",
                    "note": "",
                }
            )
    return lines


def cut_buds(block: Block, count: int, base: float, cold: float, rng: np.random.Generator) -> gpd.GeoDataFrame:
    """Buds cut for injury at `count` vines: `base` share dead, `cold` more on the lowest ground."""
    vines = spread_choice(block, count, rng)
    height = ground_height(vines["easting"].to_numpy(), vines["northing"].to_numpy())
    share = base + cold * (height.max() - height) / (np.ptp(height) or 1.0)
    dead = rng.binomial(30, share)
    second = rng.binomial(dead, 0.3)
    return gpd.GeoDataFrame(
        {
            "block": block.name,
            "buds_cut": 30,
            "primary_dead": dead,
            "secondary_dead": second,
            "date": "2026-02-10",
        },
        geometry=gpd.points_from_xy(vines["easting"], vines["northing"]),
        crs=GROUND_CRS,
    )


def layer_tables(blocks: list[Block], rng: np.random.Generator) -> dict[str, gpd.GeoDataFrame]:
    """The layers of the vineyard file, still in metres."""
    table = gpd.GeoDataFrame(
        [
            {
                "block": b.name,
                "variety": b.variety,
                "rule": b.rule,
                "training": b.training,
                "planted": b.planted,
                "row_spacing_ft": b.row_spacing_ft,
                "vine_spacing_ft": b.vine_spacing_ft,
                "vines_per_panel": b.vines_per_panel,
                "row_bearing_deg": None if b.bearing_deg is None else true_bearing(b.polygon, b.bearing_deg),
                "geometry": b.polygon,
            }
            for b in blocks
        ],
        crs=GROUND_CRS,
    )
    rows = [(b.name, row, line) for b in blocks if b.bearing_deg is None for row, line in b.rows]
    vines = pd.concat([b.vines[b.vines["status"] != "bearing"] for b in blocks if b.bearing_deg is None])
    return {
        "blocks": table,
        "rows": gpd.GeoDataFrame(
            {"block": [r[0] for r in rows], "row": [r[1] for r in rows]},
            geometry=[r[2] for r in rows],
            crs=GROUND_CRS,
        ),
        "vines": gpd.GeoDataFrame(
            vines[["block", "row", "vine", "status"]].reset_index(drop=True),
            geometry=[Point(x, y) for x, y in zip(vines["easting"], vines["northing"], strict=True)],
            crs=GROUND_CRS,
        ),
        "bud_checks": pd.concat(
            [cut_buds(blocks[2], 14, 0.10, 0.42, rng), cut_buds(blocks[1], 4, 0.11, 0.0, rng)],
            ignore_index=True,
        ),
    }


def write_elevation(path: Path, blocks: list[Block]) -> None:
    """Ground height on a 5 m grid over the estate, whole decimetres."""
    bounds = np.array([b.polygon.bounds for b in blocks])
    west, south = bounds[:, 0].min() - 30, bounds[:, 1].min() - 30
    columns = int((bounds[:, 2].max() + 30 - west) / 5) + 1
    lines = int((bounds[:, 3].max() + 30 - south) / 5) + 1
    north = south + 5 * lines
    easting, northing = np.meshgrid(west + 5 * (np.arange(columns) + 0.5), north - 5 * (np.arange(lines) + 0.5))
    height = np.round(ground_height(easting, northing), 1).astype("float32")
    profile = {
        "driver": "GTiff",
        "width": columns,
        "height": lines,
        "count": 1,
        "dtype": "float32",
        "crs": GROUND_CRS,
        "transform": from_origin(west, north, 5, 5),
        "nodata": float("nan"),
        "compress": "deflate",
        "predictor": 3,
    }
    with rasterio.open(path, "w", **profile) as target:
        target.write(height, 1)
        target.set_band_description(1, "ground height, m")


def write_csv(path: Path, columns: list[str], lines: list[dict]) -> None:
    """Write dictionaries as a CSV; what a line lacks stays empty."""
    with path.open("w", newline="", encoding="utf-8") as target:
        writer = csv.DictWriter(target, columns, restval="")
        writer.writeheader()
        writer.writerows(lines)


def write_truth(path: Path, blocks: list[Block]) -> None:
    """Every vine's true size; the same bytes on every run."""
    vines = pd.concat([b.vines for b in blocks], ignore_index=True)
    vines[["easting", "northing"]] = vines[["easting", "northing"]].round(2)
    vines[["expected_kg", "vine_size_kg"]] = vines[["expected_kg", "vine_size_kg"]].round(3)
    text = io.StringIO()
    vines.to_csv(text, index=False)
    with path.open("wb") as raw, gzip.GzipFile("", "wb", mtime=0, fileobj=raw) as target:
        target.write(text.getvalue().encode())


def harvest_lines(blocks: list[Block], rng: np.random.Generator) -> list[dict]:
    """Last harvest of each block: invented yields of 5 to 9 times the pruning weight."""
    ratio = rng.uniform(5, 9, len(blocks))
    return [
        {
            "block": b.name,
            "season": 2025,
            "yield_lb": round(k * b.vines["vine_size_kg"].sum() / KG_PER_LB, -2),
        }
        for b, k in zip(blocks, ratio, strict=True)
    ]


def earlier_sizes(block: Block, level: float, rng: np.random.Generator) -> Floats:
    """Vine sizes of an earlier winter, kg: four fifths of the differences last, one fifth is of that winter alone."""
    vines = block.vines
    size, bears = vines["vine_size_kg"].to_numpy(), (vines["status"] == "bearing").to_numpy()
    middle, spread = size[bears].mean(), size[bears].std()
    own = smooth_field(vines["easting"].to_numpy(), vines["northing"].to_numpy(), block.range_m, rng)
    own = np.sqrt(0.5) * own + np.sqrt(0.5) * rng.standard_normal(len(vines))
    return np.maximum(level * (middle + np.sqrt(0.8) * (size - middle) + np.sqrt(0.2) * spread * own), 0.05)


def weigh_winters(block: Block, levels: dict[int, float], count: int, rng: np.random.Generator) -> list[dict]:
    """Vines weighed in several winters, other ones each time, told by row and vine; the last winter is the truth's."""
    lines = []
    for season, level in levels.items():
        size = block.vines["vine_size_kg"].to_numpy() if level == 1.0 else earlier_sizes(block, level, rng)
        for v in spread_choice(block, count, rng).itertuples():
            weight = round(float(size[v.Index]) / KG_PER_LB, 1)
            told = {"block": block.name, "row": v.row, "vine": v.vine, "pruning_weight_lb": weight}
            lines.append(told | {"season": season, "date": f"{season}-02-{17 + season % 3}"})
    return lines


def harvest_by_row(block: Block, rng: np.random.Generator) -> list[dict]:
    """Last harvest row by row: invented yields of 4 to 8 times the pruning weight, a row's own luck with it."""
    pruned = block.vines.groupby("row", sort=False)["vine_size_kg"].sum() / KG_PER_LB
    ratio = np.linspace(4.0, 8.0, len(pruned)) * np.exp(0.08 * rng.standard_normal(len(pruned)))
    return [
        {"block": block.name, "row": row, "season": 2025, "yield_lb": round(k * weight)}
        for (row, weight), k in zip(pruned.items(), ratio, strict=True)
    ]


def write_winters(folder: Path, ridge: Block, bend: Block, seed: int) -> None:
    """Write three winters of two blocks, and a harvest by row; with its own luck, so that the other files stay."""
    rng = np.random.default_rng([seed, 3])
    lines = weigh_winters(ridge, {2024: 1.35, 2025: 1.3, 2026: 1.0}, 24, rng)
    lines += weigh_winters(bend, {2024: 0.7, 2025: 0.75, 2026: 1.0}, 24, rng)
    write_csv(folder / "winters.csv", ["block", "row", "vine", "pruning_weight_lb", "season", "date"], lines)
    whole = round(6.5 * ridge.vines["vine_size_kg"].sum() / KG_PER_LB, -2)
    rows = [*harvest_by_row(bend, rng), {"block": ridge.name, "season": 2025, "yield_lb": whole}]
    write_csv(folder / "harvest_rows.csv", ["block", "row", "season", "yield_lb"], rows)


def make_demo(folder: Path, seed: int = SEED) -> None:
    """Write the whole demo vineyard into `folder`, replacing what an earlier run left there."""
    rng = np.random.default_rng(seed)
    folder.mkdir(parents=True, exist_ok=True)
    blocks = [grow(block, rng) for block in lay_out()]
    ridge, church, bend, barns = blocks
    thin_out(ridge, [], 0.012, rng)
    thin_out(church, [], 0.010, rng)
    thin_out(bend, [(0.25, 0.45, 9.0), (0.62, 0.70, 11.0), (0.85, 0.35, 7.0)], 0.015, rng)
    layers = layer_tables(blocks, rng)
    estate = folder / "estate.gpkg"
    estate.unlink(missing_ok=True)
    for name, table in layers.items():
        table.to_crs(FILE_CRS).to_file(estate, layer=name, driver="GPKG", VERSION="1.3")
    lines = weigh_by_number(ridge, 36, "2026-02-17", rng) + weigh_by_number(church, 30, "2026-02-18", rng)
    lines += weigh_by_phone(bend, 40, rng) + weigh_by_threes(barns, {2025: 20, 2026: 24}, rng)
    write_csv(folder / "weights.csv", WEIGHT_COLUMNS, lines)
    write_csv(folder / "harvest.csv", ["block", "season", "yield_lb"], harvest_lines(blocks, rng))
    write_elevation(folder / "elevation.tif", blocks)
    write_truth(folder / "truth.csv.gz", blocks)
    write_winters(folder, ridge, bend, seed)


if __name__ == "__main__":
    target = Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).resolve().parent
    make_demo(target)
    print(f"demo vineyard written to {target}")
