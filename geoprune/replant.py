"""Missing, dead and very small vines gathered into areas worth a crew's trip."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from geoprune.trellis import Trellis

FEWEST_VINES = 4  # fewer are filled on the way; design choice


def find_replant_areas(trellis: Trellis, samples: gpd.GeoDataFrame, *, weak_kg: float) -> gpd.GeoDataFrame:
    """Areas of at least four gaps that stand within two places of each other along a row, or in neighbouring rows.

    A map of vine size is smooth and cannot find a single weak vine, so only weighed vines below `weak_kg` count as
    weak; missing and dead ones come from the vines layer. Columns: vines_missing, vines_weak, row_length_m, reason.
    """
    vines = trellis.vines
    gone = vines["status"].isin(["missing", "dead"]).to_numpy()
    weak = np.zeros(len(vines), dtype=bool)
    small = samples["used"] & (samples["vine_weight_kg"] < weak_kg)
    weak[samples.loc[small, "vine_id"].to_numpy(int)] = True
    index = np.flatnonzero(gone | weak)
    columns = ["vines_missing", "vines_weak", "row_length_m", "reason"]
    if not len(index):
        return gpd.GeoDataFrame({c: pd.Series(dtype=object) for c in columns}, geometry=[], crs=vines.crs)
    points = shapely.get_coordinates(vines.geometry.values[index])
    reach = max(2.0 * trellis.vine_spacing_m, trellis.row_spacing_m) * 1.1
    pairs = cKDTree(points).query_pairs(reach, output_type="ndarray")
    graph = coo_matrix((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(len(index), len(index)))
    area = pd.Series(connected_components(graph, directed=False)[1])
    rows, shapes = [], []
    for _, members in area.groupby(area):
        if len(members) >= FEWEST_VINES:
            here = index[members.index]
            missing, small_count = int(gone[here].sum()), int((weak[here] & ~gone[here]).sum())
            length = len(here) * trellis.vine_spacing_m
            reason = "missing or dead vines" if not small_count else "missing, dead or very small vines"
            rows.append((missing, small_count, length, reason))
            hull = shapely.union_all(shapely.buffer(vines.geometry.values[here], reach / 2))
            shapes.append(shapely.MultiPolygon(shapely.get_parts(hull).tolist()))
    return gpd.GeoDataFrame(pd.DataFrame(rows, columns=columns), geometry=shapes, crs=vines.crs)
