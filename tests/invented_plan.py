"""Invented plans: every table a map can show, filled with made-up values.

For tests of what people see (maps, sheets, files). Nothing here is computed by geoprune's own rooms, so a
test that compares a page with these tables compares it with something outside the page's code. The values
are plausible, not true: no vineyard was measured.
"""

from __future__ import annotations

from dataclasses import replace

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from pyproj import CRS

from geoprune.errors import Message, Remark
from geoprune.layers import COUNTED
from geoprune.plan import BlockPlan, BlockSettings, EstatePlan
from geoprune.rules import ZoneAdvice
from geoprune.units import KG_PER_LB, M2_PER_HA

UTM = CRS.from_epsg(32610)
ROW_SPACING_M, VINE_SPACING_M, VINES_PER_PANEL = 2.7, 1.8, 4
WORDS = {
    1: ["whole block"],
    2: ["small vines", "large vines"],
    3: ["small vines", "middle vines", "large vines"],
    4: ["small vines", "lower middle vines", "upper middle vines", "large vines"],
}
DIAGNOSES = {1: ["in balance"], 2: ["weak", "rank"], 3: ["weak", "in balance", "rank"]}
DIAGNOSES[4] = ["weak", "in balance", "in balance", "rank"]
RECIPES = {25: "5 x 4 + 5 x 1", 30: "6 x 4 + 6 x 1", 35: "7 x 4 + 7 x 1", 40: "8 x 4 + 8 x 1"}
HOSTILE = (
    "=1+1</script><script>window.PWNED=1</script>\"'`${window.PWNED=2}"
    '<img src=x onerror="window.PWNED=3">{{7*7}}{% raw %}{# gone #}\u202eabc\u202c'
)


class Field:
    """The block's own ground: across (0 at the first row) and along (0 at vine 1), in metres."""

    def __init__(self, rows: int, vines: int, rng: np.random.Generator, *, corner, bend_m: float) -> None:
        self.rows, self.vines, self.bend_m = rows, vines, bend_m
        self.corner = np.asarray(corner, dtype=float)
        self.bearing = np.deg2rad(rng.uniform(-35, 35))
        self.width_m, self.length_m = rows * ROW_SPACING_M, vines * VINE_SPACING_M
        self.waves = rng.normal(size=(6, 2)) * np.array([3.0 / self.width_m, 3.0 / self.length_m])
        self.phases, self.heights = rng.uniform(0, 2 * np.pi, 6), rng.uniform(0.5, 1, 6)
        self.middle, self.spread = 0.0, 1.0
        across, along = np.meshgrid(np.linspace(0, self.width_m, 15), np.linspace(0, self.length_m, 15))
        raw = self._raw(across, along)
        self.middle, self.spread = float(raw.mean()), float(raw.std())

    def place(self, across, along) -> np.ndarray:
        """Return (..., 2) easting and northing; rows bend sideways by `bend_m` at the middle."""
        across = np.asarray(across, float) + self.bend_m * np.sin(np.pi * np.asarray(along) / self.length_m)
        sin, cos = np.sin(self.bearing), np.cos(self.bearing)
        east, north = across * cos + along * sin, along * cos - across * sin
        return self.corner + np.round(np.stack(np.broadcast_arrays(east, north), axis=-1), 4)

    def size_kg(self, across, along) -> np.ndarray:
        """Return the invented mean vine size at a place: 0.9 kg on average, 0.24 kg spread."""
        return np.maximum(0.9 + 0.24 * (self._raw(across, along) - self.middle) / self.spread, 0.12)

    def _raw(self, across, along) -> np.ndarray:
        turn = np.multiply.outer(self.waves[:, 0], across) + np.multiply.outer(self.waves[:, 1], along)
        phases = self.phases.reshape((-1,) + (1,) * np.ndim(across))
        heights = self.heights.reshape(phases.shape)
        return (heights * np.sin(turn + phases)).sum(axis=0)

    def ring(self, margin_m: float = 0.0) -> shapely.MultiPolygon:
        """Return the block's outline."""
        along = np.linspace(0, self.length_m, 25 if self.bend_m else 2)
        left = self.place(np.full_like(along, -margin_m), along)
        right = self.place(np.full_like(along, self.width_m + margin_m), along)[::-1]
        return shapely.MultiPolygon([shapely.Polygon(np.vstack([left, right]))])


def _lines(points: np.ndarray) -> np.ndarray:
    return shapely.linestrings(points)


def _frame(name: str, columns: dict, geometry) -> gpd.GeoDataFrame:
    count = len(geometry)
    table = {"block": pd.array([name] * count, dtype=object), **columns}
    return gpd.GeoDataFrame(table, geometry=np.asarray(geometry, dtype=object), crs=UTM)


def _row_table(field: Field, name: str, row_names: np.ndarray) -> gpd.GeoDataFrame:
    along = np.linspace(0, field.length_m, 13 if field.bend_m else 2)
    middle = (np.arange(field.rows) + 0.5) * ROW_SPACING_M
    points = field.place(middle[:, None], along[None, :])
    columns = {
        "row": row_names,
        "order": np.arange(field.rows),
        "length_m": np.full(field.rows, field.length_m),
        "vines": np.full(field.rows, field.vines),
        "panels": np.full(field.rows, -(-field.vines // VINES_PER_PANEL)),
    }
    return _frame(name, columns, _lines(points))


def _statuses(field: Field, row: np.ndarray, vine: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    status = np.full(len(row), "bearing", dtype=object)
    draw = rng.uniform(size=len(row))
    status[draw < 0.030] = "diseased"
    status[draw < 0.022] = "young"
    status[draw < 0.014] = "missing"
    status[draw < 0.006] = "dead"
    centre = np.array([0.7 * field.rows, 0.3 * field.vines])
    reach = np.array([0.06 * field.rows + 2, 0.05 * field.vines + 2])
    near = np.hypot((row - centre[0]) / reach[0], (vine - centre[1]) / reach[1]) < 1
    status[near & (rng.uniform(size=len(row)) < 0.55)] = "missing"
    return status


def _zone_of(size_kg: np.ndarray, zones: int) -> np.ndarray:
    if zones == 1:
        return np.ones(len(size_kg), dtype=int)
    edges = np.quantile(size_kg, np.arange(1, zones) / zones)
    return np.searchsorted(edges, size_kg) + 1


def _buds(size_kg: np.ndarray) -> np.ndarray:
    return np.maximum(5 * np.round(20 * size_kg / KG_PER_LB / 5), 5).astype(int)


def _panel_table(field: Field, name: str, row_names: np.ndarray, zones: int, rng) -> gpd.GeoDataFrame:
    per_row = -(-field.vines // VINES_PER_PANEL)
    order, panel = (a.ravel() for a in np.meshgrid(np.arange(field.rows), np.arange(per_row), indexing="ij"))
    first = panel * VINES_PER_PANEL + 1
    last = np.minimum(first + VINES_PER_PANEL - 1, field.vines)
    start, end = (first - 1) * VINE_SPACING_M, last * VINE_SPACING_M
    across = (order + 0.5) * ROW_SPACING_M
    size = field.size_kg(across, (start + end) / 2)
    ends = np.stack([field.place(across, start), field.place(across, end)], axis=1)
    columns = {
        "row": row_names[order],
        "panel": panel + 1,
        "first_vine": first,
        "last_vine": last,
        "zone": _zone_of(size, zones),
        "vine_size_kg": np.round(size, 4),
        "vine_size_se_kg": np.round(0.09 + 0.07 * np.abs(across / field.width_m - 0.5) * 2, 4),
        "extrapolated": (end >= 0.97 * field.length_m) & (order < 0.1 * field.rows),
        "length_m": end - start,
        "bull_cane_share": np.clip(0.35 * (size - 0.7), 0, 0.9).round(4),
        "injury_share": np.clip(0.08 + 0.3 * (1 - along_share(field, start)), 0, 1).round(4),
        "row_order": order,
    }
    return _frame(name, columns, _lines(ends))


def along_share(field: Field, along) -> np.ndarray:
    """Return the share of the row's length, 0 at vine 1."""
    return np.asarray(along) / field.length_m


def _vine_table(field: Field, name: str, row_names, panels: gpd.GeoDataFrame, rng) -> gpd.GeoDataFrame:
    order, vine = (a.ravel() for a in np.meshgrid(np.arange(field.rows), np.arange(1, field.vines + 1), indexing="ij"))
    across, along = (order + 0.5) * ROW_SPACING_M, (vine - 0.5) * VINE_SPACING_M
    per_row = -(-field.vines // VINES_PER_PANEL)
    panel = (vine - 1) // VINES_PER_PANEL
    columns = {
        "row": row_names[order],
        "vine": vine,
        "status": _statuses(field, order, vine, rng),
        "zone": panels["zone"].to_numpy()[order * per_row + panel],
        "vine_size_kg": field.size_kg(across, along).round(4),
        "vine_size_se_kg": np.full(len(vine), 0.31),
        "panel": panel + 1,
        "panel_id": order * per_row + panel,
    }
    return _frame(name, columns, shapely.points(field.place(across, along)))


def _count_buds(panels, vines, number: dict[int, int]) -> tuple[gpd.GeoDataFrame, gpd.GeoDataFrame]:
    counted = vines["status"].isin(COUNTED).to_numpy()
    buds = np.where(counted, vines["zone"].map(number), 0).astype(int)
    held = np.bincount(vines["panel_id"], weights=counted, minlength=len(panels)).astype(int)
    per_panel = panels["zone"].map(number).astype(int).to_numpy()
    panels = panels.assign(vines=held, buds_per_vine=per_panel, buds_total=held * per_panel)
    return panels, vines.assign(buds_per_vine=buds)


def _cells(field: Field, panels: gpd.GeoDataFrame) -> np.ndarray:
    left = panels["row_order"].to_numpy() * ROW_SPACING_M
    right = (panels["row_order"].to_numpy() + 1) * ROW_SPACING_M
    start = (panels["first_vine"].to_numpy() - 1) * VINE_SPACING_M
    end = panels["last_vine"].to_numpy() * VINE_SPACING_M
    corners = [field.place(a, b) for a, b in ((left, start), (right, start), (right, end), (left, end))]
    return shapely.polygons(np.stack(corners, axis=1))


def _multi(geometry) -> shapely.MultiPolygon:
    parts = shapely.get_parts(geometry)
    return shapely.MultiPolygon([part for part in parts if part.geom_type == "Polygon"])


def _zone_table(field: Field, name: str, panels, vines, zones: int, number) -> gpd.GeoDataFrame:
    cells, shapes, lines = _cells(field, panels), [], []
    counted = vines["status"].isin(COUNTED)
    for zone in range(1, zones + 1):
        held = panels["zone"].to_numpy() == zone
        inside = vines[(vines["zone"] == zone) & counted]
        area = _multi(shapely.coverage_union_all(cells[held]))
        size = float(inside["vine_size_kg"].mean())
        injury = float(panels.loc[held, "injury_share"].mean())
        bull = float(panels.loc[held, "bull_cane_share"].mean())
        shapes.append(area)
        lines.append(
            {
                "zone": zone,
                "class": WORDS[zones][zone - 1],
                "vines": len(inside),
                "panels": int(held.sum()),
                "area_ha": area.area / M2_PER_HA,
                "vine_size_kg": size,
                "vine_size_se_kg": 0.07 + 0.01 * zone,
                "vine_size_kg_m": size / VINE_SPACING_M,
                "buds_by_rule": 20 * size / KG_PER_LB,
                "buds_per_vine": number[zone],
                "buds_total": number[zone] * len(inside),
                "injury_share": injury,
                "injury_low": max(injury - 0.06, 0),
                "injury_high": injury + 0.07,
                "bull_cane_share": bull,
                "bull_cane_low": max(bull - 0.05, 0),
                "bull_cane_high": bull + 0.06,
                "buds_per_m_row": number[zone] / VINE_SPACING_M,
                "buds_per_m_canopy": number[zone] / VINE_SPACING_M,
                "diagnosis": DIAGNOSES[zones][zone - 1],
                "recipe": RECIPES.get(number[zone], f"{number[zone] // 5} x 5"),
            }
        )
    table = pd.DataFrame(lines)
    return _frame(name, {column: table[column] for column in table}, shapes)


def _sample_table(field: Field, name: str, row_names, vines, rng, *, count: int, text) -> gpd.GeoDataFrame:
    bearing = np.flatnonzero(vines["status"] == "bearing")
    taken = np.sort(rng.choice(bearing, size=min(count, len(bearing)), replace=False))
    picked = vines.iloc[taken]
    count = len(taken)
    true = picked["vine_size_kg"].to_numpy()
    weight = np.maximum(true + rng.normal(0, 0.24, count), 0.05).round(3)
    weighed = np.where(np.arange(count) % 11 == 5, 3, 1)
    loo = (true + rng.normal(0, 0.08, count)).round(4)
    z = (weight - loo) / 0.29
    used = np.ones(count, dtype=bool)
    used[-1] = False
    points = shapely.get_coordinates(picked.geometry)
    given = points + rng.normal(0, 0.6, points.shape)
    columns = {
        "row": picked["row"].to_numpy(),
        "vine": picked["vine"].to_numpy(),
        "pruning_weight_kg": (weight * weighed).round(4),
        "vines_weighed": weighed,
        "vine_weight_kg": weight,
        "season": pd.array([2026] * count, dtype="Int64"),
        "date": pd.array(["2026-01-14"] * count, dtype=object),
        "note": pd.array([text("tied, old trunk") if i % 9 == 4 else "" for i in range(count)], dtype=object),
        "canes": pd.array(np.full(count, 30), dtype="Int64"),
        "bull_canes": pd.array((30 * np.clip(0.35 * (true - 0.7), 0, 1)).astype(int), dtype="Int64"),
        "cane_diameter_mm": (6 + 2 * true).round(1),
        "internode_mm": np.where(np.arange(count) % 3 == 0, np.nan, 70.0),
        "given_easting": given[:, 0],
        "given_northing": given[:, 1],
        "offset_m": np.hypot(*(given - points).T).round(2),
        "used": used,
        "why_not": pd.array(["" if u else text("beyond the row's end") for u in used], dtype=object),
        "loo_kg": np.where(used, loo, np.nan),
        "loo_se_kg": np.where(used, 0.29, np.nan),
        "loo_z": np.where(used, z, np.nan),
        "outlier": used & (np.abs(z) >= np.sort(np.abs(z))[-3]),
        "source_row": np.arange(2, count + 2),
    }
    return _frame(name, columns, picked.geometry.to_numpy())


def _replant_table(field: Field, name: str, row_names, vines, text) -> gpd.GeoDataFrame:
    gone = vines["status"].isin(["missing", "dead"]).to_numpy()
    centre = np.array([0.7 * field.rows, 0.3 * field.vines])
    half = np.array([0.06 * field.rows + 2, 0.05 * field.vines + 2])
    low = np.floor(centre - half).clip(0)
    high = np.minimum(np.ceil(centre + half), [field.rows, field.vines])
    left, right = low[0] * ROW_SPACING_M, high[0] * ROW_SPACING_M
    start, end = low[1] * VINE_SPACING_M, high[1] * VINE_SPACING_M
    corners = [field.place(a, b) for a, b in ((left, start), (right, start), (right, end), (left, end))]
    polygon = shapely.Polygon(corners)
    order, vine = vines["panel_id"].to_numpy(), vines["vine"].to_numpy()
    order = order // (-(-field.vines // VINES_PER_PANEL))
    inside = (order >= low[0]) & (order < high[0]) & (vine > low[1]) & (vine <= high[1])
    columns = {
        "area": np.array([1]),
        "vines_missing": np.array([int((inside & gone).sum())]),
        "vines_weak": np.array([int((inside & ~gone).sum() // 6)]),
        "row_length_m": np.array([float((high[0] - low[0]) * (end - start))]),
        "reason": pd.array([text("missing and very small vines close together")], dtype=object),
        "area_ha": np.array([polygon.area / M2_PER_HA]),
        "first_row": row_names[[int(low[0])]],
        "last_row": row_names[[int(high[0]) - 1]],
    }
    return _frame(name, columns, [shapely.MultiPolygon([polygon])])


def _run_table(name: str, panels: gpd.GeoDataFrame) -> pd.DataFrame:
    """Return the serpentine row list: one line per stretch of one zone along a row."""
    sign = np.where(panels["row_order"] % 2 == 0, 1, -1)
    walk = panels.assign(key=sign * panels["panel"]).sort_values(["row_order", "key"], kind="stable")
    change = (walk["row_order"].diff().fillna(1) != 0) | (walk["zone"].diff().fillna(1) != 0)
    grouped = walk.assign(run=change.cumsum()).groupby("run", sort=True)
    runs = grouped.agg(
        row=("row", "first"),
        row_order=("row_order", "first"),
        low=("panel", "min"),
        high=("panel", "max"),
        first_vine=("first_vine", "min"),
        last_vine=("last_vine", "max"),
        zone=("zone", "first"),
        buds_per_vine=("buds_per_vine", "first"),
        vines=("vines", "sum"),
    ).reset_index(drop=True)
    forward = runs["row_order"] % 2 == 0
    return pd.DataFrame(
        {
            "block": name,
            "stop": np.arange(1, len(runs) + 1),
            "row": runs["row"],
            "from_post": np.where(forward, runs["low"] - 1, runs["high"]),
            "to_post": np.where(forward, runs["high"], runs["low"] - 1),
            "first_vine": np.where(forward, runs["first_vine"], runs["last_vine"]),
            "last_vine": np.where(forward, runs["last_vine"], runs["first_vine"]),
            "zone": runs["zone"],
            "bands": runs["zone"],
            "buds_per_vine": runs["buds_per_vine"],
            "vines": runs["vines"],
        }
    )


def _flag_table(field: Field, name: str, row_names, runs: pd.DataFrame) -> gpd.GeoDataFrame:
    per_row = -(-field.vines // VINES_PER_PANEL)
    order = pd.Series(np.arange(field.rows), index=row_names)[runs["row"]].to_numpy()
    post = runs["from_post"].to_numpy()
    after = np.minimum(post * VINES_PER_PANEL, field.vines)
    columns = {
        "stop": runs["stop"].to_numpy(),
        "row": runs["row"].to_numpy(),
        "post": pd.array(np.where((post == 0) | (post == per_row), "end", "line"), dtype=object),
        "after_vine": after,
        "zone": runs["zone"].to_numpy(),
        "bands": runs["bands"].to_numpy(),
        "action": pd.array(np.where((post == 0) | (post == per_row), "start", "change"), dtype=object),
    }
    points = field.place((order + 0.5) * ROW_SPACING_M, after * VINE_SPACING_M)
    return _frame(name, columns, shapely.points(points))


def _next_table(field: Field, name: str, row_names, vines, rng) -> gpd.GeoDataFrame:
    taken = np.sort(rng.choice(np.flatnonzero(vines["status"] == "bearing"), size=10, replace=False))
    picked = vines.iloc[taken]
    columns = {
        "stop": np.arange(1, 11),
        "row": picked["row"].to_numpy(),
        "vine": picked["vine"].to_numpy(),
        "gain_buds": np.sort(rng.uniform(0.02, 0.2, 10))[::-1].round(3),
    }
    return _frame(name, columns, picked.geometry.to_numpy())


def _grid(field: Field, polygon: shapely.MultiPolygon, *, cell_m: float = 3.0) -> dict:
    west, south, east, north = polygon.bounds
    wide, high = int(np.ceil((east - west) / cell_m)), int(np.ceil((north - south) / cell_m))
    easting = west + (np.arange(wide) + 0.5) * cell_m
    northing = north - (np.arange(high) + 0.5) * cell_m
    grid_e, grid_n = np.meshgrid(easting - field.corner[0], northing - field.corner[1])
    sin, cos = np.sin(field.bearing), np.cos(field.bearing)
    across, along = grid_e * cos - grid_n * sin, grid_e * sin + grid_n * cos
    across = across - field.bend_m * np.sin(np.pi * along / field.length_m)
    inside = (across > 0) & (across < field.width_m) & (along > 0) & (along < field.length_m)
    size = np.where(inside, field.size_kg(across, along), np.nan)
    error = np.where(inside, 0.08 + 0.08 * np.abs(across / field.width_m - 0.5) * 2, np.nan)
    return {
        "transform": (cell_m, 0.0, west, 0.0, -cell_m, north),
        "vine_size_kg": size,
        "vine_size_se_kg": error,
    }


def _advice(zones: gpd.GeoDataFrame) -> tuple[ZoneAdvice, ...]:
    said = []
    for line in zones.itertuples():
        evidence = (
            Message(
                "map.size_sentence",
                {"vine_size_kg": line.vine_size_kg, "vine_size_kg_m": line.vine_size_kg_m},
            ),
        )
        diagnosis = Message("map.diagnosis_" + line.diagnosis.replace(" ", "_"))
        remedies = (Message("map.caution_each_vine"),) if line.diagnosis == "weak" else ()
        said.append(ZoneAdvice(int(line.zone), None, diagnosis, evidence, remedies, diagnosis_key=line.diagnosis))
    return tuple(said)


def _merit(verdict: str, zones: int) -> dict:
    zones_misfit = 5.1 if verdict == "zone" else 7.9
    return {
        "one_number_misfit": {"value": 8.4, "low": 7.2, "high": 9.7},
        "zones_misfit": {"value": zones_misfit, "low": zones_misfit - 0.9, "high": zones_misfit + 1.0},
        "perfect_misfit": {"value": 4.3, "low": 3.8, "high": 4.9},
        "saving_buds": {"value": 8.4 - zones_misfit, "low": 0.3, "high": 4.6},
        "share_over_5_one_number": {"value": 0.58, "low": 0.5, "high": 0.66},
        "share_over_5_zones": {"value": 0.31, "low": 0.25, "high": 0.38},
        "variance_explained": {"value": 0.44, "low": 0.2, "high": 0.6},
        "opportunity_index": 1.8,
        "curve": [
            {"zones": k, "misfit": v, "low": v - 0.8, "high": v + 0.9} for k, v in ((1, 8.4), (2, 6.2), (3, 5.1), (4, 4.9))
        ],
        "chosen_zones": zones,
    }


def invented_block_plan(
    *,
    rows: int = 40,
    vines: int = 90,
    seed: int = 1,
    verdict: str = "zone",
    hostile: bool = False,
    zones: int = 3,
    name: str = "Creek Bench",
    corner: tuple[float, float] = (560_000.0, 4_255_000.0),
    bend_m: float = 0.0,
    samples: int = 40,
    cell_m: float = 3.0,
) -> BlockPlan:
    """Return an invented plan of one block: `rows` rows of `vines` vines, every table filled.

    `hostile` puts text that tries to run (HTML, script, template, formula, right-to-left marks) into every
    name and note. `bend_m` bends the rows sideways. `zones` counts only when `verdict` is "zone".
    """
    rng = np.random.default_rng(seed)

    def text(plain: str) -> str:
        return f"{HOSTILE} {plain}" if hostile else plain

    name, zones = text(name), zones if verdict == "zone" else 1
    ground = Field(rows, vines, rng, corner=corner, bend_m=bend_m)
    row_names = np.array([text(str(i)) for i in range(1, rows + 1)], dtype=object)
    polygon = ground.ring()
    settings = BlockSettings(
        block=name,
        variety=text("Concord"),
        rule=text("20+20"),
        training="top-wire cordon",
        row_spacing_m=ROW_SPACING_M,
        vine_spacing_m=VINE_SPACING_M,
        vines_per_panel=VINES_PER_PANEL,
        planted=1998,
    )
    panels = _panel_table(ground, name, row_names, zones, rng)
    vine_table = _vine_table(ground, name, row_names, panels, rng)
    means = panels.groupby("zone")["vine_size_kg"].mean()
    number = {int(zone): int(_buds(np.array([size]))[0]) for zone, size in means.items()}
    panels, vine_table = _count_buds(panels, vine_table, number)
    zone_table = _zone_table(ground, name, panels, vine_table, zones, number)
    runs = _run_table(name, panels)
    return BlockPlan(
        name=name,
        settings=settings,
        polygon=polygon,
        crs=UTM,
        verdict=verdict,
        verdict_reasons=(Message("map.size_sentence", {"vine_size_kg": 0.9}),),
        buds_per_vine=int(_buds(vine_table["vine_size_kg"].mean() + np.zeros(1))[0]),
        vine_size_kg=float(vine_table["vine_size_kg"].mean()),
        vine_size_se_kg=0.06,
        loo_rmse_kg=0.27,
        mean_rmse_kg=0.33 if verdict == "zone" else 0.271,
        rows=_row_table(ground, name, row_names),
        zones=zone_table,
        panels=panels,
        vines=vine_table,
        samples=_sample_table(ground, name, row_names, vine_table, rng, count=samples, text=text),
        replant_areas=_replant_table(ground, name, row_names, vine_table, text),
        flags=_flag_table(ground, name, row_names, runs),
        runs=runs,
        next_vines=_next_table(ground, name, row_names, vine_table, rng),
        advice=_advice(zone_table),
        surface_grid=_grid(ground, polygon, cell_m=cell_m),
        merit=_merit(verdict, zones),
        model={
            "covariance": "exponential",
            "range_m": 62.0,
            "sill_kg2": 0.081,
            "nugget_kg2": 0.058,
            "nugget_share": 0.42,
            "trend": "constant",
            "transform": "identity",
            "samples": samples - 1,
        },
        diagnostics={"loo_coverage_90": 0.9},
        remarks=(Remark("assumed", Message("map.caution_each_vine"), name),),
    )


def invented_plan(
    blocks: int = 3,
    *,
    rows: int = 40,
    vines: int = 90,
    seed: int = 1,
    hostile: bool = False,
    samples: int = 40,
    cell_m: float = 3.0,
) -> EstatePlan:
    """Return an invented plan of several blocks side by side; every third block has verdict one_number."""
    across = int(np.ceil(np.sqrt(blocks)))
    pitch = 1.9 * max(rows * ROW_SPACING_M, vines * VINE_SPACING_M)
    words = ("Creek Bench", "Home Ranch", "Upper Terrace", "Orchard Corner", "Mill Field")
    made = []
    for index in range(blocks):
        name = words[index] if index < len(words) else f"Block {index + 1}"
        made.append(
            invented_block_plan(
                rows=rows,
                vines=vines,
                seed=seed + index,
                verdict="one_number" if index % 3 == 1 else "zone",
                hostile=hostile,
                zones=2 + index % 3,
                name=name,
                corner=(560_000.0 + pitch * (index % across), 4_255_000.0 + pitch * (index // across)),
                bend_m=9.0 if index % 3 == 2 else 0.0,
                samples=samples,
                cell_m=cell_m,
            )
        )
    return EstatePlan(tuple(made), UTM, {"units": "us", "bud_step": 5}, made[0].remarks if made else ())


def without_extras(plan: BlockPlan) -> BlockPlan:
    """Return the plan of a block with no samples placed outside, no replant areas, no grid, no next vines."""
    return replace(
        plan,
        replant_areas=plan.replant_areas.iloc[:0],
        next_vines=plan.next_vines.iloc[:0],
        surface_grid=None,
        panels=plan.panels.assign(bull_cane_share=np.nan, injury_share=np.nan),
        zones=plan.zones.assign(
            bull_cane_share=np.nan,
            bull_cane_low=np.nan,
            bull_cane_high=np.nan,
            injury_share=np.nan,
            injury_low=np.nan,
            injury_high=np.nan,
        ),
    )
