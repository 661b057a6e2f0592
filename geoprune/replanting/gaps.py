"""Areas that a plan points at: missing, dead and very small vines close together, whatever replanting them would cost."""

from __future__ import annotations

from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd

from geoprune.areas import geodesic_area_ha
from geoprune.replanting.areas import Area, gather_areas, ground_table, row_length_m
from geoprune.replanting.stand import Stand

#: Fewer vines to replace are filled in passing (a design choice).
FEWEST_VINES = 4
COLUMNS = (
    *("area", "vines_missing", "vines_weak", "vines_diseased", "row_length_m", "area_ha"),
    *("first_row", "last_row", "reason"),
)
#: Why an area is worth a visit, by whether vines are missing or dead, and whether some are very small.
REASONS = {
    (True, False): "missing or dead vines close together",
    (True, True): "missing, dead and very small vines close together",
    (False, True): "very small vines close together",
}


def gap_table(stand: Stand) -> gpd.GeoDataFrame:
    """Return the areas of at least four gone or weak vines, the largest first.

    Diseased vines make no area, for they get a number; those that stand in one are counted. What `proposal.propose` gathers
    are the same vines and the diseased with them, in areas that pay for a trip at given prices.

    Parameters
    ----------
    stand : Stand

    Returns
    -------
    GeoDataFrame
        `area` (number from 1), `vines_missing` (missing or dead), `vines_weak`, `vines_diseased`, `row_length_m` (from the
        first to the last of each row), `area_ha`, `first_row`, `last_row`, `reason`; geometry is the ground along those
        lengths, a row spacing wide.
    """
    areas = [area for area in gather_areas(stand, stand.gone | stand.weak, smallest=FEWEST_VINES) if area.number]
    lines = pd.DataFrame([_line(stand, area) for area in areas], columns=list(COLUMNS))
    table = gpd.GeoDataFrame(lines, geometry=ground_table(stand, areas).geometry)
    table["area_ha"] = geodesic_area_ha(table.geometry)
    return table


def _line(stand: Stand, area: Area) -> dict[str, Any]:
    rows = stand.vines["row"].to_numpy()[area.members]
    missing, weak = int(stand.gone[area.members].sum()), int(stand.weak[area.members].sum())
    return {
        "area": area.number,
        "vines_missing": missing,
        "vines_weak": weak,
        "vines_diseased": int(stand.sick[area.span].sum()),
        "row_length_m": row_length_m(stand, area.span),
        "area_ha": np.nan,
        "first_row": rows[0],
        "last_row": rows[-1],
        "reason": REASONS[missing > 0, weak > 0],
    }
