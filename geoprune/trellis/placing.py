"""The place of each sample among the vines of its block."""

from __future__ import annotations

from collections.abc import Mapping

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from geoprune.errors import DataError, Message, Problem, Remark
from geoprune.layers import GONE
from geoprune.text import few
from geoprune.trellis.model import Trellis
from geoprune.trellis.rows import row_positions

#: A phone errs by so much among vines (an assumption): so far beyond half a row spacing a named row is still believed.
PHONE_M = 3.0
#: So many faults of one kind are listed one by one; the rest are counted.
LISTED_ONE_BY_ONE = 10


def place_samples(samples: gpd.GeoDataFrame, trellis: Trellis, *, file: str = "") -> gpd.GeoDataFrame:
    """Place each sample of one block at its vine.

    Row + vine is exact. A coordinate goes to the nearest vine that is not missing or dead, of the row named if one is;
    too far (`reach_m`) from that row, or from every row, it is left out. `vines_weighed` > 1: the weight stands in the
    middle of that many standing neighbours along the row, the vine named in their middle (of an even number, the one
    before the middle).

    Parameters
    ----------
    samples : GeoDataFrame
        `Vineyard.samples` of one block.
    trellis : Trellis
        The block laid out.
    file : str
        Name of the samples file, for messages.

    Returns
    -------
    GeoDataFrame
        The samples with row and vine filled in, `vine_id` (position in trellis.vines), first_vine, last_vine (of the
        group weighed), given_easting, given_northing (m, of the place given; NaN where none was), offset_m (from the place
        given to the vine; 0 for row + vine), row_distance_m (from the place given to the row named, else to the nearest;
        NaN for row + vine), used, why_not; geometry is where the weight stands.

    Raises
    ------
    DataError
        Listing every sample on an unknown row or beyond a row's end.
    """
    last = dict(zip(trellis.rows["row"], trellis.rows["vines"], strict=True))
    problems = place_problems(samples, samples["row"].map(last).to_numpy(float), file=file, known=few(last))
    if problems:
        raise DataError(problems)
    placed = samples.reset_index(drop=True).copy()
    vine_id, offset, row_distance = _find_vines(placed, trellis)
    vines = trellis.vines
    status = vines["status"].to_numpy()[vine_id]
    counted = vines["counted"].to_numpy()[vine_id]
    why = np.where(counted, "", np.array([f"the vine is {word}" for word in status], dtype=object)).astype(object)
    named = (placed["row"] != "").to_numpy()
    far = row_distance > reach_m(named, trellis.row_spacing_m)
    whose = np.where(named, "the row named", "the nearest row")
    why = np.where(far, [f"{d:.1f} m from {row}" for d, row in zip(row_distance, whose, strict=True)], why)
    placed["row_named"], placed["too_far"] = named, far
    placed["vine_id"], placed["offset_m"], placed["row_distance_m"] = vine_id, offset, row_distance
    placed["why_not"] = why
    placed["given_easting"], placed["given_northing"] = placed.geometry.x, placed.geometry.y
    placed["used"] = placed["why_not"] == ""
    placed["row"], placed["vine"] = vines["row"].to_numpy()[vine_id], vines["vine"].to_numpy()[vine_id]
    return _stand_groups(placed, trellis)


def place_problems(
    samples: gpd.GeoDataFrame, ends: NDArray[np.float64], *, file: str = "", known: str | Mapping[str, str] = ""
) -> list[Problem]:
    """What is wrong with the rows and vine numbers of samples: unknown row, row without vines, beyond the row's end.

    Parameters
    ----------
    samples : GeoDataFrame
    ends : (n,)
        Vines in the row each sample names; NaN where there is no such row.
    file : str
        For messages.
    known : str or mapping
        Rows that are there, for messages; by block when samples are of several.
    """
    found = np.flatnonzero(misplaced(samples, ends))
    problems = []
    for i in found[:LISTED_ONE_BY_ONE]:
        sample = samples.iloc[i]
        names = known if isinstance(known, str) else known.get(sample["block"], "")
        problems.append(_place_problem(sample, float(ends[i]), file, names))
    if len(found) > LISTED_ONE_BY_ONE:
        what = f"{len(found) - LISTED_ONE_BY_ONE} more lines have a row or vine that is not there"
        problems.append(Problem(file, "samples", "", what, "Correct row and vine"))
    return problems


def misplaced(samples: pd.DataFrame, ends: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Which samples name a row or a vine that is not there; `ends` as in `place_problems`."""
    vine = samples["vine"].to_numpy(dtype=float)
    there = np.where(np.isnan(vine), ends > 0, (vine >= 1) & (vine <= ends))
    return (samples["row"] != "").to_numpy() & ~there


def _place_problem(sample: pd.Series, end: float, file: str, names: str) -> Problem:
    where = sample.get("source_place", f"row {sample['source_row']}")
    row = f"row '{sample['row']}' of block '{sample['block']}'"
    if np.isnan(end):
        what = f"unknown row '{sample['row']}' in block '{sample['block']}'"
        return Problem(file, "samples", where, what, f"Use a row's painted name ({names})")
    if np.isnan(sample["vine"]):
        return Problem(file, "samples", where, f"{row} is too short for a vine", "Correct the row, or its line")
    return Problem(file, "samples", where, f"{row} has {end:g} vines, not {sample['vine']:g}", "Correct the vine number")


def left_out_remarks(placed: gpd.GeoDataFrame, trellis: Trellis, *, block: str = "") -> tuple[Remark, ...]:
    """Say which placed samples were left out of the surface, and why."""
    remarks = []
    left = placed[~placed["used"]]
    given = left["source_row"] > 0  # the others are of earlier results: they stand in no file that was given
    if not given.all():
        remarks.append(Remark("dropped", Message("reading.left_out_earlier", {"weights": int((~given).sum())}), block))
    for sample in left[given].itertuples():
        line = int(sample.source_row)
        away = float(sample.row_distance_m)
        if sample.too_far and sample.row_named:
            fields = {"line": line, "row": sample.row, "distance_m": away, "phone_m": PHONE_M}
            message = Message("reading.left_out_far_from_row", fields)
        elif sample.too_far:
            message = Message("reading.left_out_far", {"line": line, "distance_m": away})
        else:
            fields = {"line": line, "row": sample.row, "vine": int(sample.vine)}
            message = Message("reading.left_out_not_bearing", fields)
        remarks.append(Remark("dropped", message, block))
    return tuple(remarks)


def _find_vines(
    placed: gpd.GeoDataFrame, trellis: Trellis
) -> tuple[NDArray[np.int64], NDArray[np.float64], NDArray[np.float64]]:
    """Position in trellis.vines, distance from the place given to it, and to the nearest row (NaN for row + vine)."""
    vines = trellis.vines
    exact = ((placed["row"] != "") & placed["vine"].notna()).to_numpy()
    number = pd.Series(np.arange(len(vines)), pd.MultiIndex.from_arrays([vines["row"], vines["vine"]]))
    vine_id = np.zeros(len(placed), dtype=np.int64)
    offset, row_distance = np.zeros(len(placed)), np.full(len(placed), np.nan)
    keys = pd.MultiIndex.from_arrays([placed.loc[exact, "row"], placed.loc[exact, "vine"].astype(int)])
    vine_id[exact] = number.reindex(keys).to_numpy()
    points = np.asarray(placed.geometry.values)
    for name, here in pd.Series(np.flatnonzero(~exact)).groupby(placed["row"].to_numpy()[~exact]):
        of_row = np.flatnonzero((vines["row"] == name).to_numpy()) if name else np.arange(len(vines))
        standing = of_row[~vines["status"].isin(GONE).to_numpy()[of_row]]
        standing = standing if len(standing) else of_row
        tree = cKDTree(shapely.get_coordinates(vines.geometry.values[standing]))
        offset[here], nearest = tree.query(shapely.get_coordinates(points[here]))
        vine_id[here] = standing[nearest]
    row_distance[~exact] = distance_to_rows(points[~exact], placed["row"].to_numpy()[~exact], trellis.rows)
    return vine_id, offset, row_distance


def distance_to_rows(points: NDArray[np.object_], named: NDArray[np.object_], rows: gpd.GeoDataFrame) -> NDArray[np.float64]:
    """Distance (m) of each point from the row named, from the nearest row where none is; NaN where there is no such row."""
    lines = np.asarray(rows.geometry.values)
    order = row_positions(rows, named)
    (index, nearest), _ = rows.sindex.nearest(np.asarray(points), return_all=False, return_distance=True)
    order[index] = np.where(named[index] == "", nearest, order[index])
    found = np.full(len(points), np.nan)
    there = ~np.isnan(order)
    found[there] = shapely.distance(points[there], lines[order[there].astype(int)])
    return found


def reach_m(named: NDArray[np.bool_], row_spacing_m: float) -> NDArray[np.float64]:
    """How far (m) from its row a coordinate may lie: half a row spacing, where the row is named a phone's error more."""
    return np.where(named, row_spacing_m / 2 + PHONE_M, row_spacing_m / 2)


def _stand_groups(placed: gpd.GeoDataFrame, trellis: Trellis) -> gpd.GeoDataFrame:
    """Where each weight stands: at its vine, or in the middle of the vines weighed together."""
    vines = trellis.vines
    vine_id = placed["vine_id"].to_numpy()
    first, last = placed["vine"].to_numpy().copy(), placed["vine"].to_numpy().copy()
    geometry = vines.geometry.values[vine_id].copy()
    row_order, along = vines["row_order"].to_numpy(), vines["along_m"].to_numpy()
    standing = ~vines["status"].isin(GONE).to_numpy()
    for i in np.flatnonzero(placed["vines_weighed"] > 1):
        own = vine_id[i]
        group = np.flatnonzero((row_order == row_order[own]) & (standing | (np.arange(len(vines)) == own)))
        size = min(int(placed["vines_weighed"].iloc[i]), len(group))
        begin = int(np.clip(np.searchsorted(group, own) - (size - 1) // 2, 0, len(group) - size))
        group = group[begin : begin + size]
        first[i], last[i] = vines["vine"].to_numpy()[group[[0, -1]]]
        geometry[i] = shapely.line_interpolate_point(trellis.rows.geometry.iloc[row_order[own]], along[group].mean())
    placed["first_vine"], placed["last_vine"] = first, last
    return placed.set_geometry(gpd.GeoSeries(geometry, index=placed.index, crs=vines.crs))
