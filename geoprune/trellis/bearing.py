"""Which way the rows of an outline may run: along its long sides, and along weighed vines of one row."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from geoprune.trellis.periodicity import Seen

#: Corners this small are left out when sides are told apart (design choice).
STRAIGHT_M = 2.0
#: A side shorter than this share of the longest is not offered, and one shorter than that is not measured against (design
#: choices).
LEAST_OFFERED, LEAST_SIDE = 0.2, 0.4
#: Sides this near in direction are one direction, and vines of a row this near to a side run along it (design choices).
SAME_DEG, NEAR_DEG = 5.0, 12.0
#: Vines of a row give its direction when the two farthest stand so far apart: a phone errs by some 3 m (an assumption).
FEWEST_ROWS, LEAST_REACH_M = 3, 20.0
#: Directions that differ by more than this are different ones (design choice: rows of 100 m end 5 m beside where they are).
AGREE_DEG = 3.0


@dataclass(frozen=True)
class Bearing:
    """A direction rows may have.

    Attributes
    ----------
    degrees : float
        Clockwise from the grid's north, looking from vine 1, row 1 on the left: northwards (-90 to 90, given as 0 to 360),
        unless the numbers of rows show that row 1 is on the other side.
    why : str
        "image": as rows are seen in an image; "vines": along weighed vines of one row; "side": along the longest side;
        "other_side": along another long side.
    length_m : float
        Length of outline that lies along it; of "vines" the number of rows that give it, of "image" the distance
        between them.
    """

    degrees: float
    why: str
    length_m: float


def propose_bearings(
    outline: shapely.Geometry, vines: pd.DataFrame | None = None, seen: Seen | None = None
) -> list[Bearing]:
    """Return directions that rows may have, the likeliest first.

    Most rows run along the longest sides of a block, so that machines turn seldom (common practice, no source); vines of
    known rows and places give it better. The direction of vines gives way to that of a side it lies near to: a side is
    drawn more exactly than a phone gives places.

    Parameters
    ----------
    outline : Polygon or MultiPolygon
        In a projected CRS, m.
    vines : DataFrame, optional
        row, easting, northing (m) of vines of this block.
    seen : Seen, optional
        Rows in an image of the block; they come first, and others beside them where they run otherwise.
    """
    sides = _side_directions(outline, LEAST_OFFERED)
    along = None if vines is None else _along_vines(vines)
    found = sides
    if along is not None:
        near = [side for side in sides if abs(turn_deg(side.degrees, along.degrees)) <= NEAR_DEG]
        first = Bearing(near[0].degrees, "vines", along.length_m) if near else along
        found = [first, *(side for side in sides if side not in near)]
    if seen is not None:
        apart = [other for other in found if abs(turn_deg(other.degrees, seen.degrees)) > AGREE_DEG]
        found = [Bearing(seen.degrees, "image", seen.spacing_m), *apart]
    return [replace(bearing, degrees=_looking(bearing.degrees, vines)) for bearing in found]


def _looking(degrees: float, vines: pd.DataFrame | None) -> float:
    """A direction looked along northwards, or the other way where rows are numbered from the right then."""
    northwards = (degrees + 90.0) % 180.0 - 90.0
    if vines is not None:
        number = pd.to_numeric(vines["row"].str.extract(r"(\d+)", expand=False), errors="coerce").to_numpy(dtype=float)
        angle = np.deg2rad(northwards)
        to_right = vines["easting"].to_numpy(float) * np.cos(angle) - vines["northing"].to_numpy(float) * np.sin(angle)
        known = np.isfinite(number) & np.isfinite(to_right)
        if len(set(number[known])) >= FEWEST_ROWS and np.corrcoef(number[known], to_right[known])[0, 1] < 0:
            northwards += 180.0
    return northwards % 360.0


def turn_deg(one: float, other: float) -> float:
    """Return the turn from one direction of a line to another, -90 to 90 degrees."""
    return (other - one + 90.0) % 180.0 - 90.0


def side_turn_deg(outline: shapely.Geometry, bearing_deg: float) -> float:
    """Return the least turn (degrees, not negative) from a direction to a long side of an outline; NaN without sides."""
    turns = [abs(turn_deg(side.degrees, bearing_deg)) for side in _side_directions(outline, LEAST_SIDE)]
    return min(turns, default=float("nan"))


def _side_directions(outline: shapely.Geometry, least: float) -> list[Bearing]:
    """Directions of an outline's sides from a share of the longest on, by the length that lies along each."""
    rings = [part.exterior for part in shapely.get_parts(outline.simplify(STRAIGHT_M)) if not part.is_empty]
    if not rings:
        return []
    steps = np.concatenate([np.diff(np.asarray(ring.coords)[:, :2], axis=0) for ring in rings])
    length = np.hypot(*steps.T)
    degrees = np.rad2deg(np.arctan2(steps[:, 0], steps[:, 1])) % 180.0
    found: list[Bearing] = []
    left = length >= least * length.max()
    while left.any():
        longest = int(np.argmax(np.where(left, length, -1.0)))
        together = left & (np.abs((degrees - degrees[longest] + 90.0) % 180.0 - 90.0) <= SAME_DEG)
        found.append(Bearing(_mean_direction(degrees[together], length[together]), "", float(length[together].sum())))
        left &= ~together
    found.sort(key=lambda bearing: -bearing.length_m)
    return [Bearing(b.degrees, "other_side" if place else "side", b.length_m) for place, b in enumerate(found)]


def _along_vines(vines: pd.DataFrame) -> Bearing | None:
    """Direction of the line through the vines of each row, all rows together; None where too few rows give it."""
    steps = []
    for _, row in vines[vines["row"] != ""].groupby("row"):
        places = row[["easting", "northing"]].to_numpy(dtype=float)
        places = places[np.isfinite(places).all(axis=1)]
        if len(places) < 2:
            continue
        middle = places - places.mean(axis=0)
        way = np.linalg.svd(middle, full_matrices=False)[2][0]
        reach = np.ptp(middle @ way)
        if reach >= LEAST_REACH_M:
            steps.append((*way, reach))
    if len(steps) < FEWEST_ROWS:
        return None
    steps_of = np.array(steps)
    degrees = np.rad2deg(np.arctan2(steps_of[:, 0], steps_of[:, 1])) % 180.0
    return Bearing(_mean_direction(degrees, steps_of[:, 2]), "vines", float(len(steps)))


def _mean_direction(degrees: NDArray[np.float64], weight: NDArray[np.float64]) -> float:
    """Mean of directions of lines (no forward end), weighted."""
    doubled = np.sum(weight * np.exp(2j * np.deg2rad(degrees)))
    return float(np.rad2deg(np.angle(doubled)) / 2 % 180.0)
