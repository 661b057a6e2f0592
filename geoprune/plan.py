"""The order of the steps: from a vineyard to the plan of each block."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from pyproj import Geod
from shapely import MultiPolygon

from geoprune.layers import Vineyard
from geoprune.replant import find_replant_areas
from geoprune.rules import RENEW_BELOW_KG, Injury, Rule, assess_injury, bud_need, recipe, resolve_rule
from geoprune.surface import Surface, fit_surface
from geoprune.trellis import Trellis, build_trellis, panel_footprints, place_samples
from geoprune.zones import ZoneOptions, Zoning, draw_zones, row_list

CLASSES = {
    1: ["whole block"],
    2: ["small vines", "large vines"],
    3: ["small vines", "middle vines", "large vines"],
}
CLASSES[4] = ["small vines", "lower middle vines", "upper middle vines", "large vines"]


@dataclass(frozen=True)
class PlanOptions:
    """Choices of a run."""

    zones: ZoneOptions = field(default_factory=ZoneOptions)
    seed: int = 0


@dataclass(frozen=True)
class BlockPlan:
    """All that is told about one block; tables in the vineyard's CRS, first column `block`."""

    name: str
    training: str
    rule: Rule
    injury: Injury
    verdict: str
    reason: str
    buds_per_vine: int | None
    vine_size_kg: float
    vine_size_se_kg: float
    loo_rmse_kg: float
    mean_rmse_kg: float
    polygon: shapely.Geometry
    rows: gpd.GeoDataFrame
    zones: gpd.GeoDataFrame
    panels: gpd.GeoDataFrame
    vines: gpd.GeoDataFrame
    samples: gpd.GeoDataFrame
    replant_areas: gpd.GeoDataFrame
    runs: pd.DataFrame
    merit: dict[str, Any]
    model: dict[str, Any]
    remarks: tuple[str, ...] = ()


@dataclass(frozen=True)
class EstatePlan:
    """All block plans with where they came from: what the writing room needs."""

    blocks: tuple[BlockPlan, ...]
    crs: Any
    options: PlanOptions
    sources: tuple[Any, ...]
    remarks: tuple[str, ...]


def make_plan(
    vineyard: Vineyard,
    *,
    options: PlanOptions | None = None,
    progress: Callable[[str], None] = lambda name: None,
) -> tuple[BlockPlan, ...]:
    """Plan every block of a vineyard.

    Raises
    ------
    DataError
        When a block cannot be planned; nothing is planned by halves.
    """
    options = options or PlanOptions()
    plans = []
    for name in vineyard.blocks["block"]:
        progress(name)
        plans.append(_plan_block(vineyard, name, options))
    return tuple(plans)


def _plan_block(vineyard: Vineyard, name: str, options: PlanOptions) -> BlockPlan:
    entry = vineyard.blocks[vineyard.blocks["block"] == name].iloc[0]
    rule = resolve_rule(entry["rule"], block=name)
    checks = vineyard.bud_checks
    injury = assess_injury(None if checks is None else checks[checks["block"] == name])
    trellis = build_trellis(vineyard, name)
    samples = place_samples(vineyard.samples[vineyard.samples["block"] == name], trellis)
    surface = fit_surface(trellis, samples, block=name, seed=options.seed)
    zoning = draw_zones(
        trellis,
        surface.draws,
        bud_need(rule, injury),
        map_is_better=surface.map_is_better,
        options=options.zones,
    )
    footprints = panel_footprints(trellis, entry.geometry)
    told = np.zeros(len(zoning.buds), dtype=int) if injury.stop else zoning.buds
    zones = _zone_table(name, trellis, surface, zoning, told, rule, entry["training"], footprints)
    return BlockPlan(
        name=name,
        training=str(entry["training"]),
        rule=rule,
        injury=injury,
        verdict=zoning.verdict,
        reason=zoning.reason,
        buds_per_vine=None if injury.stop else zoning.one_number,
        vine_size_kg=surface.block_mean_kg,
        vine_size_se_kg=surface.block_mean_se_kg,
        loo_rmse_kg=surface.loo_rmse_kg,
        mean_rmse_kg=surface.mean_rmse_kg,
        polygon=entry.geometry,
        rows=trellis.rows,
        zones=zones,
        panels=_panel_table(name, trellis, surface, zoning, told),
        vines=_vine_table(name, trellis, surface, zoning, told),
        samples=pd.concat([samples, surface.samples], axis=1),
        replant_areas=_named(name, find_replant_areas(trellis, samples, weak_kg=RENEW_BELOW_KG)),
        runs=row_list(trellis, zoning.panel_zone, told),
        merit=zoning.merit,
        model=surface.model,
        remarks=_remarks(samples, surface, injury) + _crowding(told, str(entry["training"]), trellis.vine_spacing_m),
    )


def _named(name: str, table: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    table = table.copy()
    table.insert(0, "block", name)
    return table


def _zone_table(
    name: str,
    trellis: Trellis,
    surface: Surface,
    zoning: Zoning,
    told: np.ndarray,
    rule: Rule,
    training: str,
    footprints: gpd.GeoSeries,
) -> gpd.GeoDataFrame:
    count = len(told)
    mean, se = surface.zone_means(zoning.panel_zone, count)
    geod = Geod(ellps="WGS84")
    rows, shapes = [], []
    for k in range(count):
        inside = zoning.panel_zone == k + 1
        shape = shapely.union_all(footprints.to_numpy()[inside])
        parts = [p for p in shapely.get_parts(shape) if p.geom_type == "Polygon"]
        shapes.append(MultiPolygon(parts))
        vines = int(trellis.panels["counted"].to_numpy()[inside].sum())
        rows.append(
            {
                "zone": k + 1,
                "class": CLASSES[count][k],
                "vines": vines,
                "panels": int(inside.sum()),
                "vine_size_kg": mean[k],
                "vine_size_se_kg": se[k],
                "vine_size_kg_m": mean[k] / trellis.vine_spacing_m,
                "buds_by_rule": float(rule.buds(np.array([mean[k]]))[0]),
                "buds_per_vine": int(told[k]),
                "buds_total": vines * int(told[k]),
                "recipe": recipe(int(told[k]), training),
            }
        )
    table = gpd.GeoDataFrame(rows, geometry=shapes, crs=trellis.vines.crs)
    area = [abs(geod.geometry_area_perimeter(shapely.orient_polygons(g))[0]) for g in table.to_crs(4326).geometry]
    table.insert(4, "area_ha", np.array(area) / 10_000)
    return _named(name, table)


def _panel_table(name: str, trellis: Trellis, surface: Surface, zoning: Zoning, told: np.ndarray) -> gpd.GeoDataFrame:
    panels = trellis.panels.drop(columns=["vines", "row_order"]).rename(columns={"counted": "vines"})
    panels = panels.assign(zone=zoning.panel_zone, buds_per_vine=told[zoning.panel_zone - 1])
    panels["buds_total"] = panels["vines"] * panels["buds_per_vine"]
    return _named(name, panels.assign(**{c: surface.panels[c].to_numpy() for c in surface.panels}))


def _vine_table(name: str, trellis: Trellis, surface: Surface, zoning: Zoning, told: np.ndarray) -> gpd.GeoDataFrame:
    zone = zoning.panel_zone[trellis.vines["panel_id"]]
    vines = trellis.vines[["row", "vine", "status", "panel", "geometry"]].assign(
        zone=zone,
        vine_size_kg=surface.vines["vine_size_kg"].to_numpy(),
        vine_size_se_kg=surface.vines["vine_size_se_kg"].to_numpy(),
        buds_per_vine=np.where(trellis.vines["counted"], told[zone - 1], 0),
    )
    return _named(name, vines)


def _remarks(samples: gpd.GeoDataFrame, surface: Surface, injury: Injury) -> tuple[str, ...]:
    told = [
        f"Sample in row {s.source_row} of the table left out: {s.why_not}." for s in samples[~samples["used"]].itertuples()
    ]
    if surface.kriging is None:
        told.append("Fewer than 15 usable samples, or all weights equal: no map, one number for the block.")
    outliers = samples[surface.samples["outlier"].to_numpy()]
    told += [f"Row {s.row}, vine {s.vine}: weight far from its neighbours; weigh it again." for s in outliers.itertuples()]
    far = int(surface.panels["extrapolated"].sum())
    if far:
        told.append(f"{far} of {len(surface.panels)} panels lie beyond the reach of the samples.")
    if injury.buds_cut:
        told.append(
            f"Winter bud injury {injury.share:.0%} ({injury.low:.0%}-{injury.high:.0%}, {injury.buds_cut} buds cut): "
            + ("over 80 %, no number given; ask a person." if injury.stop else f"counts x {injury.factor:.2f}.")
        )
    else:
        told.append("No bud checks: winter bud injury taken as none.")
    return tuple(told)


def _crowding(told: np.ndarray, training: str, vine_spacing_m: float) -> tuple[str, ...]:
    """Say which counts do not fit the wood of a usual vine of this training and spacing."""
    return tuple(
        f"{buds} buds do not fit a usual vine of {training} at this spacing: look at the wood before you give the number."
        for buds in told
        if buds and not recipe(int(buds), training, vine_spacing_m)
    )
