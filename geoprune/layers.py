"""The tables geoprune works on: which columns a layer has, in which unit, and what is checked.

`Vineyard` is what reading a file gives; `BlockInput` is the part of it that belongs to one block.
All geometry is in one projected CRS in metres, all weights are kg, all lengths m, canes mm.
"""

from __future__ import annotations

from dataclasses import dataclass
from difflib import get_close_matches
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
from pyproj import CRS
from shapely import MultiPolygon

from geoprune.errors import Remark

#: Names of the layers of a vineyard file; only `blocks` must be there.
LAYERS = ("blocks", "rows", "vines", "samples", "bud_checks")

#: Status words of a vine position. Counted vines get a bud number from the rule.
STATUSES = ("bearing", "young", "missing", "dead", "diseased")
COUNTED = ("bearing", "diseased")

#: Training systems in the trade's words. Case and hyphens do not matter when they are read.
TRAININGS = (
    "top-wire cordon",
    "low cordon",
    "flat cane",
    "arched cane",
    "four-cane",
    "divided vertical",
    "divided horizontal",
)

#: What is taken for possible, inclusive, in SI. Outside of it a number is a mistake or another unit.
LIMITS: dict[str, tuple[float, float]] = {
    "block_area_ha": (0.01, 500.0),
    "row_spacing_m": (0.8, 6.0),
    "vine_spacing_m": (0.5, 5.0),
    "vines_per_panel": (1, 60),
    "planted": (1800, 2100),
    "row_bearing_deg": (-360.0, 360.0),
    "vine_weight_kg": (0.0, 10.0),
    "vines_weighed": (1, 200),
    "vine": (1, 5000),
    "canes": (0, 500),
    "cane_diameter_mm": (1.0, 50.0),
    "internode_mm": (2.0, 500.0),
    "season": (1900, 2100),
    "row_length_m": (1.0, 5000.0),
}


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

    `training` is one of `TRAININGS`. `vines_per_panel` is None when the file has none (then whole vines
    nearest to 7.3 m). `row_bearing_deg` is clockwise from true north, None when not given.
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

    rows : GeoDataFrame [block, row: str, geometry: LineString, first vertex = end of vine 1; a MultiLineString
        when the row is broken, its parts in order and direction of the row] or None
    vines : GeoDataFrame [block, row: str, vine: int, status: str, geometry: Point or None; any score columns]
        or None
    samples : GeoDataFrame, columns of `SAMPLE_COLUMNS`; geometry None where the place is row + vine
    bud_checks : GeoDataFrame [block, buds_cut, primary_dead, secondary_dead (nullable), date, geometry] or None
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
#: feature number in the file and `source_file` the file's name, for messages.
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
    "source_file": "str",
}


@dataclass(frozen=True)
class Vineyard:
    """A checked vineyard: every layer in `crs`, every name unique, every unit SI.

    `blocks` has one line per block: the fields of `BlockSettings` as columns (missing = NaN / NA) and the
    outline as a MultiPolygon. The other tables have `block` as their first column.
    """

    blocks: gpd.GeoDataFrame
    rows: gpd.GeoDataFrame | None
    vines: gpd.GeoDataFrame | None
    samples: gpd.GeoDataFrame
    bud_checks: gpd.GeoDataFrame | None
    crs: CRS
    sources: tuple[Source, ...] = ()
    remarks: tuple[Remark, ...] = ()

    @property
    def settings(self) -> tuple[BlockSettings, ...]:
        """What the file says of each block, in the file's order."""
        return tuple(_settings(record) for record in self.blocks.drop(columns="geometry").to_dict("records"))

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


def _settings(record: dict[str, Any]) -> BlockSettings:
    def known(value: Any, kind: type) -> Any:
        return None if pd.isna(value) else kind(value)

    return BlockSettings(
        block=record["block"],
        variety=record["variety"],
        rule=record["rule"],
        training=record["training"],
        row_spacing_m=float(record["row_spacing_m"]),
        vine_spacing_m=float(record["vine_spacing_m"]),
        vines_per_panel=known(record["vines_per_panel"], int),
        planted=known(record["planted"], int),
        row_bearing_deg=known(record["row_bearing_deg"], float),
    )


def name_text(value: Any) -> str:
    """A name as people painted it: whole numbers lose their ".0", text its outer spaces; missing is ""."""
    if value is None or (not isinstance(value, str) and pd.isna(value)):
        return ""
    if isinstance(value, (float, np.floating)) and float(value).is_integer():
        return str(int(value))
    return str(value).strip()


def name_key(value: Any) -> str:
    """What makes two names the same: 3, 3.0, "3" and "03" are; case and outer spaces do not matter.

    Examples
    --------
    >>> name_key(3.0), name_key(" 03 "), name_key("Row A")
    ('3', '3', 'row a')
    """
    text = name_text(value)
    whole = text[:-2] if text.endswith(".0") else text
    if whole.isascii() and whole.isdigit():
        return str(int(whole))
    return " ".join(text.casefold().split())


def name_keys(names: pd.Series) -> pd.Series:
    """`name_key` of a whole column; each distinct name is looked at once."""
    codes, distinct = pd.factorize(names, use_na_sentinel=False)
    keys = np.array([name_key(value) for value in distinct], dtype=object)
    return pd.Series(keys[codes] if len(keys) else [], index=names.index, dtype=object)


def unique_names(names: pd.Series) -> bool:
    """Return whether no name stands twice, ignoring case, surrounding space and the form of numbers."""
    return bool(name_keys(names).is_unique)


def word_key(value: Any) -> str:
    """A word without case, hyphens and doubled spaces, to match words of the trade."""
    return " ".join(str(value).casefold().replace("-", " ").replace("_", " ").split())


def nearest_word(word: str, choices: tuple[str, ...] | list[str]) -> str:
    """The choice that is spelled most like `word`, or "" when there is none."""
    keys = {word_key(choice): choice for choice in choices}
    near = get_close_matches(word_key(word), keys, n=1, cutoff=0.0)
    return keys[near[0]] if near else ""
