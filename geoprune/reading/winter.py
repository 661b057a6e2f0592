"""A winter read back from its results: layers with their shapes, and what summary.json says of each block."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

import geopandas as gpd
import pandas as pd

from geoprune.errors import DataError, Problem
from geoprune.layers import Source
from geoprune.reading.results import MEND, read_result_layers
from geoprune.sources import LARGEST_TABLE, Unfit, read_bytes

SUMMARY = "summary.json"
#: Layer -> columns that are needed of it.
NEEDED = {
    "blocks": ("block",),
    "vines": ("block", "row", "vine", "status", "treatment", "panel"),
    "rows": ("block", "row", "order"),
    "panels": ("block", "row", "panel", "first_vine", "last_vine", "zone", "vine_size_kg", "vine_size_se_kg", "vines"),
    "samples": ("block", "row", "vine", "vine_weight_kg", "vines_weighed", "season", "used"),
    "zones": ("block", "zone", "vines", "area_ha", "vine_size_kg", "vine_size_se_kg", "buds_per_vine"),
}
WHOLE = ("vine", "panel", "first_vine", "last_vine", "vines", "order")


@dataclass(frozen=True, eq=False)
class Winter:
    """Results of one winter.

    folder : name of the folder; layers : layer -> GeoDataFrame; summary : what summary.json holds
    """

    folder: str
    layers: Mapping[str, gpd.GeoDataFrame]
    summary: Mapping[str, Any]

    @property
    def blocks(self) -> list[str]:
        """Names of the blocks, in the order of the results."""
        return list(dict.fromkeys(self.layers["vines"]["block"]))

    def of(self, layer: str, block: str) -> gpd.GeoDataFrame:
        """Return a layer's lines of one block."""
        table = self.layers[layer]
        return table[table["block"] == block].reset_index(drop=True)

    def entry(self, block: str) -> Mapping[str, Any]:
        """Return what the summary says of a block."""
        return self.summary["blocks"].get(block, {})

    @property
    def made(self) -> date:
        """Return the day of the results."""
        return date.fromisoformat(self.summary["made"][:10])

    @property
    def sources(self) -> tuple[Source, ...]:
        """Return the files that the results were made from, the vineyard first."""
        return tuple(Source(entry["name"], str(entry.get("sha256", ""))) for entry in self.summary["inputs"])

    def settings(self, block: str) -> Mapping[str, Any]:
        """Return a block's settings as the summary has them."""
        return self.entry(block).get("settings", {})


def read_winter(folder: Path) -> Winter:
    """Read a folder that `geoprune prescribe` wrote, with shapes.

    Raises
    ------
    DataError
        With everything that is missing from it.
    """
    folder = Path(folder)
    problems: list[Problem] = []
    summary = _summary(folder, problems)
    layers = read_result_layers(folder, NEEDED, problems, geometry=True)
    if problems:
        raise DataError(problems)
    return Winter(folder.name, {name: _plain(table) for name, table in layers.items()}, summary)


def _summary(folder: Path, problems: list[Problem]) -> Mapping[str, Any]:
    try:
        summary = json.loads(read_bytes(folder / SUMMARY, most=LARGEST_TABLE).decode("utf-8"))
        date.fromisoformat(summary["made"][:10])
        named = all(isinstance(entry["name"], str) for entry in summary["inputs"])
        if named and all(
            isinstance(entry, dict) and isinstance(entry["settings"], dict) for entry in summary["blocks"].values()
        ):
            return dict(summary)
        what = f"{SUMMARY} does not hold the settings of every block"
    except Unfit as error:
        if (folder / SUMMARY).exists():
            problems.extend(error.problems)
            return {}
        what = f"there is no {SUMMARY} in it"
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError):
        what = f"{SUMMARY} is not that of a prescription"
    problems.append(Problem(folder.name, "", "", what, MEND))
    return {}


def _plain(table: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Names as text, whole numbers as such."""
    texts = [name for name in ("block", "row") if name in table]
    whole = [name for name in WHOLE if name in table and table[name].notna().all()]
    kinds = dict.fromkeys(texts, object) | dict.fromkeys(whole, "int64")
    return gpd.GeoDataFrame(pd.DataFrame(table).astype(kinds), geometry="geometry", crs=table.crs)
