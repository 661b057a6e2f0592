"""Small real plans: invented vineyards sent through the planning itself, each made once in a run of the tests.

The vineyards are invented; all that is told of them is computed by geoprune as for any other vineyard.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from functools import cache

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from pyproj import CRS

from geoprune.brief import BlockBrief, brief_block
from geoprune.deliver.deliverables import block_pages, estate_page
from geoprune.deliver.edition import Edition, Provenance, Style, provenance_of
from geoprune.deliver.folders import block_folders
from geoprune.layers import Vineyard
from geoprune.plan import BlockPlan, EstatePlan, GivenZones, PlanOptions, make_plan
from geoprune.words import Reader

MADE = date(2026, 12, 3)
UTM = CRS.from_epsg(32610)
ROW_SPACING_M, VINE_SPACING_M, VINES_PER_PANEL = 2.7, 1.8, 4
HOSTILE = (
    "=1+1</script><script>window.PWNED=1</script>\"'`${window.PWNED=2}"
    '<img src=x onerror="window.PWNED=3">{{7*7}}{% raw %}{# gone #}\u202eabc\u202c'
)
#: Vine size of the stretches of a block, from its first row on, kg: far enough apart for numbers of their own.
SIZES_KG = {1: [0.9], 2: [0.55, 1.35], 3: [0.5, 0.95, 1.5], 4: [0.4, 0.8, 1.25, 1.75]}


@dataclass(frozen=True)
class Field:
    """An invented block: `rows` of `vines`, turned, with `bend_m` of sideways bend at the middle of its rows."""

    name: str = "Creek Bench"
    rows: int = 24
    vines: int = 60
    zones: int = 3
    training: str = "top-wire cordon"
    rule: str = "20+20"
    seed: int = 0
    bend_m: float = 0.0
    corner: tuple[float, float] = (500_000.0, 4_700_000.0)
    note: str = "fine"
    dead: float = 0.0
    dead_in_part: float = 0.0
    planted: int = 2005
    injury_method: str = "cornell"

    @property
    def length_m(self) -> float:
        """Length of a row."""
        return self.vines * VINE_SPACING_M

    def place(self, across, along) -> np.ndarray:
        """Return (..., 2) easting and northing of places `across` the rows and `along` them, m."""
        bearing = np.deg2rad(np.random.default_rng(self.seed).uniform(-35, 35))
        across = np.asarray(across, float) + self.bend_m * np.sin(np.pi * np.asarray(along) / self.length_m)
        east = across * np.cos(bearing) + along * np.sin(bearing)
        north = along * np.cos(bearing) - across * np.sin(bearing)
        return np.asarray(self.corner) + np.stack(np.broadcast_arrays(east, north), axis=-1)


def _lines(field: Field) -> np.ndarray:
    along = np.linspace(0, field.length_m, 13 if field.bend_m else 2)
    across = (np.arange(field.rows) + 0.5) * ROW_SPACING_M
    return shapely.linestrings(field.place(across[:, None], along[None, :]))


def _outline(field: Field) -> shapely.MultiPolygon:
    along = np.linspace(-1.0, field.length_m + 1.0, 25 if field.bend_m else 2)
    left = field.place(np.full_like(along, -0.5), along)
    right = field.place(np.full_like(along, field.rows * ROW_SPACING_M + 0.5), along)[::-1]
    return shapely.MultiPolygon([shapely.Polygon(np.vstack([left, right]))])


def _zone_at(field: Field, row: np.ndarray, along_share: np.ndarray) -> np.ndarray:
    """The stretch at a place: borders between stretches run askew, so that most rows hold more than one."""
    askew = np.asarray(row) / field.rows + 0.35 * (np.asarray(along_share) - 0.5)
    return np.clip((askew * field.zones).astype(int), 0, field.zones - 1)


def _statuses(field: Field, rng: np.random.Generator) -> np.ndarray:
    count = field.rows * field.vines
    draw, status = rng.uniform(size=count), np.full(count, "bearing", dtype=object)
    for below, word in ((0.03, "diseased"), (0.022, "young"), (0.014, "missing"), (0.006, "dead")):
        status[draw < below] = word
    row, vine = np.divmod(np.arange(count), field.vines)
    near = (
        np.hypot((row - 0.7 * field.rows) / (0.06 * field.rows + 2), (vine - 0.3 * field.vines) / (0.05 * field.vines + 2))
        < 1
    )
    status[near & (rng.uniform(size=count) < 0.6)] = "missing"
    return status


def vineyard_of(*fields: Field, samples: int = 48) -> Vineyard:
    """Return fields as one checked vineyard, with weighed vines and, where buds died, cut buds."""
    parts = [_tables(field, samples) for field in fields]

    def joined(name: str) -> gpd.GeoDataFrame | None:
        tables = [part[name] for part in parts if part[name] is not None]
        return gpd.GeoDataFrame(pd.concat(tables, ignore_index=True), crs=UTM) if tables else None

    layers = {name: joined(name) for name in ("blocks", "rows", "vines", "samples", "bud_checks")}
    return Vineyard(**layers, crs=UTM)


def _tables(field: Field, count: int) -> dict[str, gpd.GeoDataFrame | None]:
    rng = np.random.default_rng(field.seed)
    names = [str(number + 1) for number in range(field.rows)]
    row, vine = (grid.ravel() for grid in np.meshgrid(np.arange(field.rows), np.arange(field.vines), indexing="ij"))
    status = _statuses(field, rng)
    block = {
        "block": field.name,
        "variety": "Chambourcin",
        "rule": field.rule,
        "training": field.training,
        "row_spacing_m": ROW_SPACING_M,
        "vine_spacing_m": VINE_SPACING_M,
        "vines_per_panel": VINES_PER_PANEL,
        "planted": field.planted,
        "row_bearing_deg": np.nan,
    }
    chosen = np.sort(rng.choice(np.flatnonzero(status == "bearing"), min(count, (status == "bearing").sum()), replace=False))
    sizes = np.asarray(SIZES_KG[field.zones])[_zone_at(field, row[chosen], vine[chosen] / field.vines)]
    weight = np.round(sizes * np.exp(rng.normal(0, 0.12, len(chosen))), 3)
    weight[len(weight) // 2] = 0.08  # one vine to renew
    sample_points = field.place((row[chosen] + 0.5) * ROW_SPACING_M, (vine[chosen] + 0.5) * VINE_SPACING_M)
    empty = np.full(len(chosen), np.nan)
    samples = {
        "block": field.name,
        "row": [names[r] for r in row[chosen]],
        "vine": vine[chosen] + 1,
        "pruning_weight_kg": weight,
        "vine_weight_kg": weight,
        "vines_weighed": 1,
        "canes": rng.integers(12, 30, len(chosen)),
        "bull_canes": rng.integers(0, 4, len(chosen)),
        "cane_diameter_mm": empty,
        "internode_mm": empty,
        "season": 2026,
        "date": "",
        "note": field.note,
        "source_row": np.arange(2, len(chosen) + 2),
        "source_place": [f"line {line}" for line in range(2, len(chosen) + 2)],
    }
    return {
        "blocks": gpd.GeoDataFrame([block], geometry=[_outline(field)], crs=UTM),
        "rows": gpd.GeoDataFrame({"block": field.name, "row": names}, geometry=_lines(field), crs=UTM),
        "vines": gpd.GeoDataFrame(
            {"block": field.name, "row": [names[r] for r in row], "vine": vine + 1, "status": status, "source_place": ""},
            geometry=shapely.points(field.place((row + 0.5) * ROW_SPACING_M, (vine + 0.5) * VINE_SPACING_M)),
            crs=UTM,
        ),
        "samples": gpd.GeoDataFrame(samples, geometry=shapely.points(sample_points), crs=UTM),
        "bud_checks": _bud_checks(field),
    }


def _bud_checks(field: Field) -> gpd.GeoDataFrame | None:
    """Cut buds at 32 places: `dead` of them everywhere, `dead_in_part` in the first stretch."""
    if not field.dead and not field.dead_in_part:
        return None
    row, along = (
        grid.ravel() for grid in np.meshgrid(np.linspace(1, field.rows - 2, 8), [0.1, 0.35, 0.65, 0.9], indexing="ij")
    )
    share = np.where(_zone_at(field, row, along) == 0, max(field.dead, field.dead_in_part), field.dead)
    points = field.place((row + 0.5) * ROW_SPACING_M, along * field.length_m)
    table = {"block": field.name, "buds_cut": 50, "primary_dead": np.round(50 * share), "secondary_dead": np.nan, "date": ""}
    return gpd.GeoDataFrame(table, geometry=shapely.points(points), crs=UTM)


def _given(*fields: Field) -> GivenZones | None:
    """The stretches as zones drawn by others, so that a plan has as many zones as a test asks for."""
    lines = []
    for field in fields:
        if field.zones == 1:
            continue
        along = np.linspace(-0.5, 1.5, 9)
        edges = [(zone / field.zones - 0.35 * (along - 0.5)) * field.rows * ROW_SPACING_M for zone in range(field.zones + 1)]
        edges[0], edges[-1] = edges[0] - 1000.0, edges[-1] + 1000.0
        for zone in range(field.zones):
            near, far = (field.place(edges[at], along * field.length_m) for at in (zone, zone + 1))
            polygon = shapely.Polygon(np.vstack([near, far[::-1]])).intersection(_outline(field).buffer(5.0))
            lines.append({"block": field.name, "zone": str(zone + 1), "geometry": polygon})
    return GivenZones(gpd.GeoDataFrame(lines, crs=UTM), "zone", "zones.gpkg") if lines else None


@cache
def small_plans(*fields: Field) -> tuple[BlockPlan, ...]:
    """Return the plans of fields."""
    options = PlanOptions(injury_method=fields[0].injury_method)
    return make_plan(vineyard_of(*fields), options=options, given_zones=_given(*fields))


def small_plan(training: str = "top-wire cordon", **choices) -> BlockPlan:
    """Return the plan of one field; choices are those of `Field`."""
    return small_plans(Field(training=training, **choices))[0]


@cache
def drawn_plan(**choices) -> BlockPlan:
    """Return the plan of one field with the zones that geoprune draws; choices are those of `Field`."""
    return make_plan(vineyard_of(Field(**choices)))[0]


def small_brief(training: str = "top-wire cordon", **choices) -> BlockBrief:
    """Return what is told of one field."""
    return brief_block(small_plan(training, **choices))


def small_estate(count: int = 3, **choices) -> EstatePlan:
    """Return the plan of several fields beside each other, with three, one and two zones in turn."""
    fields = tuple(
        Field(name=f"Field {n + 1}", zones=(3, 1, 2)[n % 3], seed=n, corner=(500_000.0 + 400.0 * n, 4_700_000.0), **choices)
        for n in range(count)
    )
    return EstatePlan(small_plans(*fields), UTM, PlanOptions())


def brief_without_number(**choices) -> BlockBrief:
    """Return what is told of a field where winter killed nine buds in ten: no number holds."""
    return small_brief(dead=0.9, **choices)


def brief_partly_without_number(**choices) -> BlockBrief:
    """Return what is told of a field whose first stretch has no number."""
    return small_brief(dead=0.02, dead_in_part=1.0, injury_method="michigan", **choices)


def edition(
    plan: BlockPlan | BlockBrief, *, language: str = "en", units: str = "us", links=None, provenance=None, **style
) -> Edition:
    """Return a plan's brief for a reader; the day on the pages is fixed unless a test gives one."""
    brief = plan if isinstance(plan, BlockBrief) else brief_block(plan)
    made = {"made": MADE} | style
    return Edition(brief, Style(Reader(language, units), **made), links or {}, provenance or Provenance())


def pages_of(estate: EstatePlan, style: Style) -> Iterator[tuple[str, str | bytes]]:
    """Make every page of an estate one after another: path in the results, content."""
    folders = block_folders(plan.name for plan in estate.blocks)
    provenance = provenance_of(estate)
    briefs = tuple(brief_block(plan) for plan in estate.blocks)
    yield "index.html", estate_page(briefs, folders, estate, style)
    for brief in briefs:
        for file, content in block_pages(brief, style, provenance):
            yield f"{folders[brief.name]}/{file}", content
