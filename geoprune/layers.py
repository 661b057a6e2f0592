"""What reading a vineyard gives: checked tables in one projected CRS, in SI."""

from __future__ import annotations

from dataclasses import dataclass

import geopandas as gpd
from pyproj import CRS

from geoprune.errors import Remark

#: Status words of a vine position. Counted vines get a bud number from the rule.
STATUSES = ("bearing", "young", "missing", "dead", "diseased")
COUNTED = ("bearing", "diseased")
#: With fewer usable samples not even a mean can be trusted (design choice).
FEWEST_SAMPLES = 5


@dataclass(frozen=True)
class Source:
    """A file that was read: its name (no folders) and the SHA-256 of its bytes."""

    name: str
    sha256: str


@dataclass(frozen=True)
class Vineyard:
    """A checked vineyard.

    blocks : block, variety, rule, training, row_spacing_m, vine_spacing_m, planted, vines_per_panel, row_bearing_deg (on the
        grid of `crs`)
        and of the wood, where told: cordon_length_m, cane_length_m, spur_spacing_mm, node_spacing_mm, canes,
        buds_per_cane, buds_per_spur, renewal_spurs, buds_per_renewal_spur
    rows : block, row, geometry; vines : block, row, vine, status, source_place; both may be None
    samples : block, row, vine, pruning_weight_kg (as given), vine_weight_kg (per vine), vines_weighed, canes, bull_canes,
        cane_diameter_mm, internode_mm, season, date, note, source_row, source_place (as told in
        messages, "line 12"), geometry (as given, may be None)
    bud_checks : block, buds_cut, primary_dead, secondary_dead (NaN when not told), date, geometry; may be None

    What was not told is NaN (numbers) or "" (texts).
    """

    blocks: gpd.GeoDataFrame
    rows: gpd.GeoDataFrame | None
    vines: gpd.GeoDataFrame | None
    samples: gpd.GeoDataFrame
    bud_checks: gpd.GeoDataFrame | None
    crs: CRS
    sources: tuple[Source, ...] = ()
    remarks: tuple[Remark, ...] = ()
