"""Missing, dead and very small vines gathered into areas worth a crew's trip."""

from __future__ import annotations

from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import ArrayLike, NDArray
from pyproj import CRS
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from geoprune.areas import geodesic_area_ha
from geoprune.trellis import Trellis
from geoprune.trellis.model import cut_lines
from geoprune.trellis.placing import GONE

FEWEST_VINES = 4  # fewer are filled on the way; design choice
COLUMNS = (
    "area",
    "vines_missing",
    "vines_weak",
    "vines_diseased",
    "row_length_m",
    "area_ha",
    "first_row",
    "last_row",
    "reason",
)


def find_replant_areas(
    trellis: Trellis, samples: gpd.GeoDataFrame, *, weak_kg: float, panel_size_kg: ArrayLike | None = None
) -> gpd.GeoDataFrame:
    """Areas of at least four gaps that stand within two places of each other along a row, or in neighbouring rows.

    Missing and dead vines come from the vines layer. A map of vine size is smooth and cannot find a single weak vine:
    weak are the weighed vines below `weak_kg`, and every vine of a panel whose mean size is below it.

    Parameters
    ----------
    trellis : Trellis
        The block laid out.
    samples : GeoDataFrame
        Placed samples (`place_samples`).
    weak_kg : float
        Vines below this size are very small, kg.
    panel_size_kg : array_like, (panels,), optional
        Mean vine size of each panel, kg.

    Returns
    -------
    GeoDataFrame
        One line per area, the largest first: `area` (number from 1), `vines_missing` (missing or dead), `vines_weak`,
        `vines_diseased` (standing within the area), `row_length_m` (from the first to the last gap of each row), `area_ha`,
        `first_row`, `last_row`, `reason`; geometry is the ground along those lengths, a row spacing wide.
    """
    vines = trellis.vines
    gone = vines["status"].isin(GONE).to_numpy()
    weak = _weak_vines(trellis, samples, weak_kg, panel_size_kg) & ~gone
    index = np.flatnonzero(gone | weak)
    found = []
    for members in _clusters(trellis, index):
        if len(members) >= FEWEST_VINES:
            found.append(_area(trellis, index[members], gone, weak))
    if not found:
        return _empty(vines.crs)
    found.sort(key=lambda area: -(area["vines_missing"] + area["vines_weak"]))
    table = gpd.GeoDataFrame(found, geometry="geometry", crs=vines.crs)
    table.insert(0, "area", np.arange(1, len(table) + 1))
    table["area_ha"] = geodesic_area_ha(table.geometry)
    return table[[*COLUMNS, "geometry"]]


def _weak_vines(
    trellis: Trellis, samples: gpd.GeoDataFrame, weak_kg: float, panel_size_kg: ArrayLike | None
) -> NDArray[np.bool_]:
    weak = np.zeros(len(trellis.vines), dtype=bool)
    small = samples["used"] & (samples["vine_weight_kg"] < weak_kg) & (samples["vines_weighed"] == 1)
    weak[samples.loc[small, "vine_id"].to_numpy(dtype=int)] = True
    if panel_size_kg is not None:
        size = np.asarray(panel_size_kg, dtype=float)
        weak |= (size < weak_kg)[trellis.vines["panel_id"].to_numpy()] & trellis.vines["counted"].to_numpy()
    return weak


def _clusters(trellis: Trellis, index: NDArray[np.int64]) -> list[NDArray[np.int64]]:
    """Positions in `index` that hang together: two places along a row, or next to each other in neighbouring rows."""
    if not len(index):
        return []
    points = shapely.get_coordinates(trellis.vines.geometry.values[index])
    reach = max(2.0 * trellis.vine_spacing_m, trellis.row_spacing_m) * 1.1
    pairs = cKDTree(points).query_pairs(reach, output_type="ndarray")
    graph = coo_matrix((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(len(index), len(index)))
    label = connected_components(graph, directed=False)[1]
    order = np.argsort(label, kind="stable")
    return np.split(order, np.flatnonzero(np.diff(label[order])) + 1)


def _area(trellis: Trellis, here: NDArray[np.int64], gone: NDArray[np.bool_], weak: NDArray[np.bool_]) -> dict[str, Any]:
    vines, rows = trellis.vines, trellis.rows
    spans = (
        pd.DataFrame({"row": vines["row_order"].to_numpy()[here], "along": vines["along_m"].to_numpy()[here]})
        .groupby("row")["along"]
        .agg(["min", "max"])
    )
    half = trellis.vine_spacing_m / 2
    start, end = np.maximum(spans["min"].to_numpy() - half, 0.0), spans["max"].to_numpy() + half
    order = spans.index.to_numpy()
    end = np.minimum(end, shapely.length(rows.geometry.values)[order])
    lines = cut_lines(rows.geometry.values, order, start, end)
    ground = shapely.union_all(shapely.buffer(lines, 0.505 * trellis.row_spacing_m, cap_style="flat"))
    inside = _between(vines, order, start, end)
    missing, small = int(gone[here].sum()), int(weak[here].sum())
    return {
        "vines_missing": missing,
        "vines_weak": small,
        "vines_diseased": int((inside & (vines["status"] == "diseased").to_numpy()).sum()),
        "row_length_m": float((end - start).sum()),
        "first_row": rows["row"].iloc[order[0]],
        "last_row": rows["row"].iloc[order[-1]],
        "reason": _reason(missing, small),
        "geometry": shapely.MultiPolygon(shapely.get_parts(ground).tolist()),
    }


def _between(
    vines: gpd.GeoDataFrame, order: NDArray[np.int64], start: NDArray[np.float64], end: NDArray[np.float64]
) -> NDArray[np.bool_]:
    """Which vines stand between the ends of the spans."""
    row_order, along = vines["row_order"].to_numpy(), vines["along_m"].to_numpy()
    span = np.clip(np.searchsorted(order, row_order), 0, len(order) - 1)
    return (order[span] == row_order) & (along > start[span]) & (along < end[span])


def _reason(missing: int, small: int) -> str:
    if not missing:
        return "very small vines close together"
    return "missing, dead and very small vines close together" if small else "missing or dead vines close together"


def _empty(crs: CRS) -> gpd.GeoDataFrame:
    return gpd.GeoDataFrame({name: pd.Series(dtype=object) for name in COLUMNS}, geometry=[], crs=crs)
