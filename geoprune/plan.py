"""The order of the steps: from one block's inputs to its plan. No arithmetic of its own."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import geopandas as gpd
import pandas as pd
from pyproj import CRS
from shapely import MultiPolygon

from geoprune.errors import Message, Remark
from geoprune.layers import BlockSettings


@dataclass(frozen=True)
class ZoneAdvice:
    """What goes with a zone's number, as messages that can be told in any language.

    recipe : fields of the way the count is left on the vine (see `rules.recipe.Recipe`), or None
    diagnosis : weak / in balance / rank, with the evidence
    remedies : the usual remedies, never a spray or a dose
    notes : floors, caps, flags, injury, crowding
    crop, labour : estimates with their ranges, or None where nothing is known
    """

    zone: int
    recipe: Any
    diagnosis: Message
    evidence: tuple[Message, ...] = ()
    remedies: tuple[Message, ...] = ()
    notes: tuple[Message, ...] = ()
    crop: Any = None
    labour: Any = None


@dataclass(frozen=True)
class BlockPlan:
    """All that is told about one block. Every table has `block` as first column and is in `crs` (metres).

    zones : GeoDataFrame (MultiPolygon), one line per zone, 1 = smallest vines
        block, zone, class ("small vines", "middle vines", "large vines", "whole block"), vines (counted),
        panels, area_ha (geodesic), vine_size_kg, vine_size_se_kg, vine_size_kg_m (per metre of row),
        buds_by_rule (rule at the zone's mean size, before injury, unrounded), buds_per_vine (int, told to the
        crew), buds_total (= vines x buds_per_vine), injury_share, injury_low, injury_high, bull_cane_share,
        bull_cane_low, bull_cane_high, buds_per_m_row, buds_per_m_canopy, diagnosis ("weak", "in balance",
        "rank", "unknown"), recipe (short text in figures, e.g. "4 x 9 + 2 x 2")
    panels : GeoDataFrame (LineString)
        block, row, panel, first_vine, last_vine, vines (counted), zone, vine_size_kg, vine_size_se_kg,
        buds_per_vine, buds_total, extrapolated (bool), length_m, bull_cane_share, injury_share, row_order
    vines : GeoDataFrame (Point)
        block, row, vine, status, zone, vine_size_kg, vine_size_se_kg (one vine: vine-to-vine included),
        buds_per_vine (0 for vines that are not counted), panel, panel_id
    samples : GeoDataFrame (Point, where it was placed)
        block, row, vine, pruning_weight_kg, vines_weighed, vine_weight_kg, season, date, note, canes,
        bull_canes, cane_diameter_mm, internode_mm, given_easting, given_northing, offset_m, used (bool),
        why_not (text), loo_kg, loo_se_kg, loo_z, outlier (bool), source_row
    replant_areas : GeoDataFrame (MultiPolygon)
        block, area (int), vines_missing, vines_weak, row_length_m, reason, area_ha, first_row, last_row
    flags : GeoDataFrame (Point), the flagging list in walking order
        block, stop (int), row, post ("end" or "line"), after_vine (0 = before vine 1), zone (from here on),
        bands (strips of tape = zone number), action text key, geometry
    runs : DataFrame, the crew's row list in walking order
        block, stop, row, from_post (int), to_post (int), first_vine, last_vine, zone, bands, buds_per_vine, vines
    next_vines : GeoDataFrame (Point): vines worth weighing next, walking order
        block, stop, row, vine, gain_buds (expected fall of the misfit in buds per vine), geometry
    surface_grid : dict or None
        "transform" (affine six), "vine_size_kg" (H, W), "vine_size_se_kg" (H, W); NaN outside the block
    merit : dict: see `zones.merit`
    model : dict: see `surface`
    """

    name: str
    settings: BlockSettings
    polygon: MultiPolygon
    crs: CRS
    verdict: str
    verdict_reasons: tuple[Message, ...]
    buds_per_vine: int
    vine_size_kg: float
    vine_size_se_kg: float
    loo_rmse_kg: float
    mean_rmse_kg: float
    rows: gpd.GeoDataFrame
    zones: gpd.GeoDataFrame
    panels: gpd.GeoDataFrame
    vines: gpd.GeoDataFrame
    samples: gpd.GeoDataFrame
    replant_areas: gpd.GeoDataFrame
    flags: gpd.GeoDataFrame
    runs: pd.DataFrame
    next_vines: gpd.GeoDataFrame
    advice: tuple[ZoneAdvice, ...]
    surface_grid: dict[str, Any] | None
    merit: dict[str, Any]
    model: dict[str, Any]
    diagnostics: dict[str, Any] = field(default_factory=dict)
    remarks: tuple[Remark, ...] = ()


@dataclass(frozen=True)
class Plan:
    """The plans of all blocks of a vineyard, and what is needed to say where they came from."""

    blocks: tuple[BlockPlan, ...]
    crs: CRS
    options: Any
    sources: tuple[Any, ...] = ()
    remarks: tuple[Remark, ...] = ()
