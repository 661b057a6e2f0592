"""Invented blocks of straight rows for tests of replanting."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import shapely

from geoprune.replanting import Stand

CLUMP = [(row, vine) for row in (4, 5, 6) for vine in (10, 11, 12, 13)]


def stand(gone=(), sick=(), weak=(), young=(), *, rows: int = 12, vines: int = 30) -> Stand:
    """Straight rows 3 m apart, vines 2 m apart, four to a panel; places as (row, vine), both from 1."""
    row, vine = (part.ravel() for part in np.meshgrid(np.arange(1, rows + 1), np.arange(1, vines + 1), indexing="ij"))
    places = list(zip(row.tolist(), vine.tolist(), strict=True))
    marked = {**dict.fromkeys(young, "young"), **dict.fromkeys(sick, "diseased"), **dict.fromkeys(gone, "missing")}
    status = [marked.get(place, "bearing") for place in places]
    table = {"row": row.astype(str), "row_order": row - 1, "vine": vine, "status": status}
    points = shapely.points(3.0 * row, 2.0 * vine)
    weak_ones = [p in set(weak) for p in places]
    return Stand("A", "", "", 3.0, 2.0, 4, gpd.GeoDataFrame({**table, "weak": weak_ones}, geometry=points, crs=32617))
