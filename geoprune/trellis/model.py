"""A block laid out: rows, panels of whole vines between posts, and one position per vine."""

from __future__ import annotations

from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from geoprune.errors import DataError, Problem
from geoprune.layers import COUNTED, Vineyard
from geoprune.trellis.rows import RowLines, lay_rows

PANEL_M = 7.3  # 24 ft, common practice, no source
#: Vines nearer than this stand on one place.
ONE_PLACE_M = 0.01


@dataclass(frozen=True)
class Trellis:
    """A block laid out as people walk it. All tables have a RangeIndex.

    rows : row, order, length_m, vines, geometry (first vertex = end of vine 1)
    panels : row, row_order, panel, first_vine, last_vine, vines, counted, geometry (post to post)
    vines : row, row_order, vine, status, panel, panel_id, along_m, counted, geometry; one per planting position
    posts_surveyed : whether the block says how many vines stand between two posts; else panels are a reckoning aid of a
        usual length, and people are to be given vines, not posts
    """

    rows: gpd.GeoDataFrame
    panels: gpd.GeoDataFrame
    vines: gpd.GeoDataFrame
    row_spacing_m: float
    vine_spacing_m: float
    posts_surveyed: bool = True


def build_trellis(vineyard: Vineyard, block: str) -> Trellis:
    """Lay out one block: vines along each row at the vine spacing (the first at half a spacing), panels of whole vines.

    A panel never spans a gap of a broken row, and the last panel before a gap or a row's end may be short.

    Raises
    ------
    DataError
        When there is neither a rows layer nor a row bearing, no row holds a vine, or two vines would stand on one place.
    """
    entry = vineyard.blocks[vineyard.blocks["block"] == block].iloc[0]
    spacing = float(entry["vine_spacing_m"])
    lines = lay_rows(vineyard, block)
    given = entry["vines_per_panel"]
    vines, posts = _stand_vines(lines, vines_between_posts(entry))
    _check_apart(vines, block)
    vines["status"] = _status(vines, vineyard, block)
    vines["counted"] = vines["status"].isin(COUNTED)
    panels = _panels(lines.rows, vines, posts)
    return Trellis(lines.rows, panels, vines, float(entry["row_spacing_m"]), spacing, posts_surveyed=not pd.isna(given))


def vines_between_posts(block: pd.Series) -> int:
    """Vines of a panel: as the block says, else the whole vines nearest to the usual length."""
    given = block.get("vines_per_panel", np.nan)
    return max(1, round(PANEL_M / float(block["vine_spacing_m"]))) if pd.isna(given) else int(given)


def middle_points(lines: gpd.GeoDataFrame) -> NDArray[np.float64]:
    """Easting and northing (m, 2) halfway along each line."""
    return shapely.get_coordinates(shapely.line_interpolate_point(lines.geometry.values, 0.5, normalized=True))


def _stand_vines(lines: RowLines, per_panel: int) -> tuple[gpd.GeoDataFrame, pd.DataFrame]:
    """Vines along the stretches, and for each the distances of the posts before and after a panel made of it alone."""
    stretches = lines.stretches
    count = stretches["vines"].to_numpy()
    owner = np.repeat(np.arange(len(stretches)), count)
    within = np.arange(count.sum()) - np.repeat(np.cumsum(count) - count, count)
    row_order = stretches["row_order"].to_numpy()[owner]
    start, pitch = (stretches[name].to_numpy()[owner] for name in ("start_m", "pitch_m"))
    along = start + (within + 0.5) * pitch
    new_panel = within % per_panel == 0
    panel_id = np.cumsum(new_panel) - 1
    row_first = np.searchsorted(row_order, np.arange(len(lines.rows)))
    vines = gpd.GeoDataFrame(
        {
            "row": lines.rows["row"].to_numpy()[row_order],
            "row_order": row_order,
            "vine": stretches["first_vine"].to_numpy()[owner] + within,
            "status": "bearing",
            "panel": panel_id - panel_id[row_first][row_order] + 1,
            "panel_id": panel_id,
            "along_m": along,
        },
        geometry=shapely.line_interpolate_point(lines.rows.geometry.values[row_order], along),
        crs=lines.rows.crs,
    )
    return vines, pd.DataFrame({"before_m": along - pitch / 2, "after_m": along + pitch / 2})


def _check_apart(vines: gpd.GeoDataFrame, block: str) -> None:
    """Refuse vines that stand on one place: no ground is nearest to one of them alone."""
    pairs = cKDTree(shapely.get_coordinates(vines.geometry.values)).query_pairs(ONE_PLACE_M, output_type="ndarray")
    if len(pairs):
        one, other = (f"vine {vines['vine'].iloc[i]} of row '{vines['row'].iloc[i]}'" for i in pairs[0])
        what = f"{one} and {other} would stand on one place"
        raise DataError([Problem("", "rows", f"block '{block}'", what, "Draw each row where it stands, and once")])


def _status(vines: gpd.GeoDataFrame, vineyard: Vineyard, block: str) -> NDArray[np.object_]:
    """Status of each position as the vines layer gives it; those it does not list are bearing."""
    if vineyard.vines is None:
        return np.full(len(vines), "bearing", dtype=object)
    listed = vineyard.vines[vineyard.vines["block"] == block]
    status = pd.Series(listed["status"].to_numpy(), [listed["row"].to_numpy(), listed["vine"].astype(int).to_numpy()])
    keys = pd.MultiIndex.from_arrays([vines["row"], vines["vine"]])
    return status.reindex(keys).fillna("bearing").to_numpy(dtype=object)


def _panels(rows: gpd.GeoDataFrame, vines: gpd.GeoDataFrame, posts: pd.DataFrame) -> gpd.GeoDataFrame:
    panel_id = vines["panel_id"].to_numpy()
    first = np.flatnonzero(np.diff(panel_id, prepend=-1))
    last = np.append(first[1:], len(panel_id)) - 1
    row_order, vine = vines["row_order"].to_numpy()[first], vines["vine"].to_numpy()
    start, end = posts["before_m"].to_numpy()[first], posts["after_m"].to_numpy()[last]
    return gpd.GeoDataFrame(
        {
            "row": vines["row"].to_numpy()[first],
            "row_order": row_order,
            "panel": vines["panel"].to_numpy()[first],
            "first_vine": vine[first],
            "last_vine": vine[last],
            "vines": last - first + 1,
            "counted": np.add.reduceat(vines["counted"].to_numpy(dtype=np.int64), first),
        },
        geometry=cut_lines(rows.geometry.values, row_order, start, end),
        crs=rows.crs,
    )


def cut_lines(
    lines: NDArray[np.object_], owner: NDArray[np.int64], start_m: NDArray[np.float64], end_m: NDArray[np.float64]
) -> NDArray[np.object_]:
    """Cut pieces out of lines.

    Parameters
    ----------
    lines : array of LineString, (L,)
    owner : array of int, (n,)
        Which line each piece is cut from; pieces of a line follow each other and do not overlap.
    start_m, end_m : (n,)
        Distances along the line.

    Returns
    -------
    array of LineString, (n,)
        Each from its start over the line's own vertices to its end.
    """
    vertices, vertex_line = shapely.get_coordinates(lines, return_index=True)
    step = np.hypot(*np.diff(vertices, axis=0, prepend=vertices[:1]).T)
    step[np.diff(vertex_line, prepend=-1) > 0] = 0.0
    along = np.cumsum(step)
    line_start = along[np.searchsorted(vertex_line, np.arange(len(lines)))]
    along -= line_start[vertex_line]
    ends = start_m, end_m
    reach = 2 * max(along.max(initial=0.0), ends[1].max(initial=0.0)) + 1
    holder = np.searchsorted(owner * reach + ends[0], vertex_line * reach + along) - 1
    piece = np.clip(holder, 0, None)
    inside = (holder >= 0) & (owner[piece] == vertex_line) & (along > ends[0][piece]) & (along < ends[1][piece])
    points = [shapely.get_coordinates(shapely.line_interpolate_point(np.asarray(lines)[owner], d)) for d in ends]
    coordinates = np.concatenate([points[0], vertices[inside], points[1]])
    piece_of = np.concatenate([np.arange(len(owner)), piece[inside], np.arange(len(owner))])
    distance = np.concatenate([ends[0], along[inside], ends[1]])
    order = np.lexsort((distance, piece_of))
    return shapely.linestrings(coordinates[order], indices=piece_of[order])
