"""What reading a vineyard gives: checked tables in SI, each block on a grid that is true to length."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import geopandas as gpd
from pyproj import CRS

from geoprune.errors import Remark
from geoprune.sources import Source

#: Status words of a vine position. Counted vines get a bud number from the rule.
#: Layers of a vineyard, in the order they are read.
LAYERS = ("blocks", "rows", "vines", "samples", "bud_checks")
STATUSES = ("bearing", "young", "missing", "dead", "diseased")
COUNTED = ("bearing", "diseased")
#: Statuses of positions whose vine is not there, or dead.
GONE = ("missing", "dead")
#: With fewer usable samples not even a mean can be trusted (design choice).
FEWEST_SAMPLES = 5


@dataclass(frozen=True)
class Vineyard:
    """A checked vineyard.

    blocks : block, variety, rule, training, training_as_given (what the grower calls it), row_spacing_m, vine_spacing_m,
        planted, vines_per_panel, row_bearing_deg (on the grid of `crs`), rows_counted, vines_in_first_row, first_row_side,
        vine_1_end (N, E, S or W), and of the wood, where given: cordon_length_m, cane_length_m, spur_spacing_mm,
        node_spacing_mm, canes, buds_per_cane, buds_per_spur, renewal_spurs, buds_per_renewal_spur
    rows : block, row, geometry; vines : block, row, vine, status, source_place; both may be None
    samples : block, row, vine, pruning_weight_kg (as given), vine_weight_kg (per vine), vines_weighed, canes, bull_canes,
        cane_diameter_mm, internode_mm, season, date, note, source_row, source_place (as given in
        messages, "line 12"), geometry (as given, may be None)
    bud_checks : block, buds_cut, primary_dead, secondary_dead (NaN when not given), date, geometry; may be None

    crs : of all tables; projected and within 1e-4 true to length at every block, unless there are `parts`
    layers_crs : the CRS in which people get layers of all blocks; None stands for `crs`
    file : the name of the file it was read from; "" where there is none, or several
    parts : where no one projection fits all blocks, or they stand in several files, those that lie together, each a vineyard
        in a projection of its own; the tables of the whole are in WGS 84 then, to look names up and not to measure

    What was not given is NaN (numbers) or "" (texts).
    """

    blocks: gpd.GeoDataFrame
    rows: gpd.GeoDataFrame | None
    vines: gpd.GeoDataFrame | None
    samples: gpd.GeoDataFrame
    bud_checks: gpd.GeoDataFrame | None
    crs: CRS
    sources: tuple[Source, ...] = ()
    remarks: tuple[Remark, ...] = ()
    layers_crs: CRS | None = None
    file: str = ""
    parts: tuple[Vineyard, ...] = ()

    def of(self, block: str) -> Vineyard:
        """The vineyard in whose projection a block is worked: this one, or the part that holds the block."""
        return self._homes.get(block, self)

    def alone(self, block: str) -> Vineyard:
        """One block's vineyard, in its projection: of every layer the block's lines alone, under their own index."""
        home = self.of(block)
        own = {layer: home._lines_of(layer, block) for layer in LAYERS}
        return replace(home, parts=(), **own)

    def _lines_of(self, layer: str, block: str) -> Any:
        table = getattr(self, layer)
        return table if table is None else table.iloc[self._places[layer].get(block, [])]

    @cached_property
    def _places(self) -> dict[str, dict[str, Any]]:
        """Layer -> block -> places of its lines; sought once, because an estate has many of both."""
        tables = {layer: getattr(self, layer) for layer in LAYERS}
        return {layer: table.groupby("block").indices for layer, table in tables.items() if table is not None}

    @cached_property
    def _homes(self) -> dict[str, Vineyard]:
        return {name: part for part in reversed(self.parts) for name in part.blocks["block"]}
