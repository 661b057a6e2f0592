"""The tables geoprune works on: which columns a layer has, in which unit, and what is checked.

`Vineyard` is what reading a file gives; `BlockInput` is the part of it that belongs to one block.
All geometry is in one projected CRS in metres, all weights are kg, all lengths m, canes mm.
"""

from __future__ import annotations

from dataclasses import dataclass

import geopandas as gpd
import pandas as pd
from pyproj import CRS
from shapely import MultiPolygon

from geoprune.errors import Remark

#: Status words of a vine position. Counted vines get a bud number from the rule.
STATUSES = ("bearing", "young", "missing", "dead", "diseased")
COUNTED = ("bearing", "diseased")


@dataclass(frozen=True)
class Source:
    """A file that was read: its name (no folders), layer or sheet, SHA-256 of its bytes, features read."""

    name: str
    layer: str
    sha256: str
    features: int


@dataclass(frozen=True)
class BlockSettings:
    """What the vineyard file says of one block, in SI.

    `training` is one of the seven words of the contract in lower case with spaces ("top-wire cordon" ->
    "top-wire cordon"). `vines_per_panel` is None when the file has none (then whole vines nearest to 7.3 m).
    `row_bearing_deg` is clockwise from north, None when rows are given.
    """

    block: str
    variety: str
    rule: str
    training: str
    row_spacing_m: float
    vine_spacing_m: float
    vines_per_panel: int | None = None
    planted: int | None = None
    row_bearing_deg: float | None = None


@dataclass(frozen=True)
class BlockInput:
    """All that was read for one block. Tables have a fresh RangeIndex; `None` when the layer is absent.

    rows : GeoDataFrame [row: str, geometry: LineString, first vertex = end of vine 1] or None
    vines : GeoDataFrame [row: str, vine: int, status: str, geometry: Point; any score columns] or None
    samples : GeoDataFrame, columns of `SAMPLE_COLUMNS`; geometry None where the place is row + vine
    bud_checks : GeoDataFrame [buds_cut, primary_dead, secondary_dead (nullable), date, geometry] or None
    """

    settings: BlockSettings
    polygon: MultiPolygon
    crs: CRS
    rows: gpd.GeoDataFrame | None
    vines: gpd.GeoDataFrame | None
    samples: gpd.GeoDataFrame
    bud_checks: gpd.GeoDataFrame | None

    @property
    def name(self) -> str:
        """The block's name, as in the file."""
        return self.settings.block


#: Canonical sample columns after reading: name -> dtype. `pruning_weight_kg` is the weight as given (a total
#: when vines_weighed > 1); `vine_weight_kg` = pruning_weight_kg / vines_weighed; `source_row` is the line or
#: feature number in the file, for messages.
SAMPLE_COLUMNS: dict[str, str] = {
    "block": "str",
    "row": "str",
    "vine": "Int64",
    "pruning_weight_kg": "float64",
    "vines_weighed": "int64",
    "vine_weight_kg": "float64",
    "canes": "Int64",
    "bull_canes": "Int64",
    "cane_diameter_mm": "float64",
    "internode_mm": "float64",
    "season": "Int64",
    "date": "str",
    "note": "str",
    "source_row": "int64",
}


@dataclass(frozen=True)
class Vineyard:
    """A checked vineyard: every layer in `crs`, every name unique, every unit SI."""

    settings: tuple[BlockSettings, ...]
    blocks: gpd.GeoDataFrame
    rows: gpd.GeoDataFrame | None
    vines: gpd.GeoDataFrame | None
    samples: gpd.GeoDataFrame
    bud_checks: gpd.GeoDataFrame | None
    crs: CRS
    sources: tuple[Source, ...] = ()
    remarks: tuple[Remark, ...] = ()

    def block(self, name: str) -> BlockInput:
        """Return the inputs of one block.

        Raises
        ------
        KeyError
            If there is no block of that name.
        """
        settings = {s.block: s for s in self.settings}[name]

        def part(table: gpd.GeoDataFrame | None) -> gpd.GeoDataFrame | None:
            return None if table is None else table[table["block"] == name].reset_index(drop=True)

        rows, vines = part(self.rows), part(self.vines)
        return BlockInput(
            settings=settings,
            polygon=self.blocks.loc[self.blocks["block"] == name, "geometry"].iloc[0],
            crs=self.crs,
            rows=rows if rows is not None and len(rows) else None,
            vines=vines if vines is not None and len(vines) else None,
            samples=part(self.samples),
            bud_checks=part(self.bud_checks),
        )


def unique_names(names: pd.Series) -> bool:
    """Return whether no name stands twice, ignoring case and surrounding space."""
    folded = names.astype(str).str.strip().str.casefold()
    return bool(folded.is_unique)
