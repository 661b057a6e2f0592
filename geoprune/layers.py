"""What reading a vineyard gives: checked tables in one projected CRS, in SI."""

from __future__ import annotations

from dataclasses import dataclass

import geopandas as gpd
from pyproj import CRS

#: Status words of a vine position. Counted vines get a bud number from the rule.
STATUSES = ("bearing", "young", "missing", "dead", "diseased")
COUNTED = ("bearing", "diseased")
TRAININGS = (
    "top-wire cordon",
    "low cordon",
    "flat cane",
    "arched cane",
    "four-cane",
    "divided vertical",
    "divided horizontal",
)


@dataclass(frozen=True)
class Source:
    """A file that was read: its name (no folders) and the SHA-256 of its bytes."""

    name: str
    sha256: str


@dataclass(frozen=True)
class Vineyard:
    """A checked vineyard.

    blocks : block, variety, rule, training, row_spacing_m, vine_spacing_m, vines_per_panel, row_bearing_deg
    rows : block, row, geometry; vines : block, row, vine, status; both may be None
    samples : block, row, vine, vine_weight_kg, vines_weighed, season, note, source_row, geometry (may be None)
    bud_checks : block, buds_cut, primary_dead; may be None
    """

    blocks: gpd.GeoDataFrame
    rows: gpd.GeoDataFrame | None
    vines: gpd.GeoDataFrame | None
    samples: gpd.GeoDataFrame
    bud_checks: gpd.GeoDataFrame | None
    crs: CRS
    sources: tuple[Source, ...] = ()
    remarks: tuple[str, ...] = ()
