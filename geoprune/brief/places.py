"""Where the parts of a block lie: as words, and where a zone's number is written."""

from __future__ import annotations

from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import shapely

from geoprune.errors import Message

#: A zone's part gets a label of its own when it holds at least this share of the zone.
LABEL_SHARE = 0.04
#: Off-centre by less than this share of the block's reach is "in the middle".
MIDDLE_SHARE = 0.12
SIDES = ("n", "ne", "e", "se", "s", "sw", "w", "nw")


@dataclass(frozen=True)
class Label:
    """Where to write a zone's number: the place farthest from the edge of one of its parts.

    `zone` is the zone's position in the table, `part` 0 for its largest part, `radius_m` the distance to the edge.
    """

    zone: int
    part: int
    easting: float
    northing: float
    radius_m: float


def zone_labels(zones: gpd.GeoDataFrame) -> list[Label]:
    """Return where to write each zone's number on its larger parts; largest parts of all zones first."""
    found = []
    for index, geometry in enumerate(zones.geometry):
        parts = sorted(shapely.get_parts(geometry), key=shapely.area, reverse=True)
        least = LABEL_SHARE * sum(part.area for part in parts)
        for rank, part in enumerate(part for part in parts if part.area >= least or part is parts[0]):
            center, rim = shapely.get_coordinates(shapely.maximum_inscribed_circle(part, tolerance=1.0))[[0, -1]]
            found.append(Label(index, rank, float(center[0]), float(center[1]), float(np.hypot(*(rim - center)))))
    return sorted(found, key=lambda label: (label.part, -label.radius_m))


def compass_point(east: float, north: float) -> int:
    """Return the compass point of a direction: 0 = north, clockwise in eighths of a turn."""
    return int(np.round(np.degrees(np.arctan2(east, north)) / 45.0)) % 8


def zone_places(zones: gpd.GeoDataFrame, polygon: shapely.Geometry) -> list[tuple[Message, ...]]:
    """Return in words where in the block each zone lies (see `zone_parts`); two sides of the block count as one."""
    return [place_words(parts) for parts in zone_parts(zones, polygon)]


def zone_parts(zones: gpd.GeoDataFrame, polygon: shapely.Geometry) -> list[list[str]]:
    """Return where in the block each zone lies: "n", "ne", ... or "middle" for its large pieces, or "scattered".

    A piece is large when it holds a fifth of its zone; a zone whose large pieces hold less than half of it, or are
    more than two, is scattered. Of zones on the same side the farthest out is at its "e_end", the nearest to the middle
    "e_inner". "more" follows where other pieces are large enough for a number of their own.
    """
    west, south, east, north = polygon.bounds
    reach = max(east - west, north - south)
    parts_of = [_sides_of_pieces(geometry, polygon.centroid, reach) for geometry in zones.geometry]
    away = [float(geometry.centroid.distance(polygon.centroid)) for geometry in zones.geometry]
    for side in {parts[0] for parts in parts_of if _one_side(parts)}:
        alike = sorted(
            (i for i, parts in enumerate(parts_of) if _one_side(parts) and parts[0] == side), key=away.__getitem__
        )
        if len(alike) > 1:
            parts_of[alike[0]][0], parts_of[alike[-1]][0] = f"{side}_inner", f"{side}_end"
    return parts_of


def _one_side(parts: list[str]) -> bool:
    return parts[0] in SIDES and (len(parts) == 1 or parts[1] not in SIDES)


def _sides_of_pieces(geometry: shapely.Geometry, center: shapely.Point, reach: float) -> list[str]:
    pieces = sorted(shapely.get_parts(geometry), key=shapely.area, reverse=True)
    large = [piece for piece in pieces if piece.area >= 0.2 * geometry.area]
    if len(large) > 2 or sum(piece.area for piece in large) < 0.5 * geometry.area:
        return ["scattered"]
    sides = []
    for piece in large:
        east, north = piece.centroid.x - center.x, piece.centroid.y - center.y
        middle = np.hypot(east, north) < MIDDLE_SHARE * reach
        sides.append("middle" if middle else SIDES[compass_point(east, north)])
    more = len(pieces) > len(large) and pieces[len(large)].area >= LABEL_SHARE * geometry.area
    return [*dict.fromkeys(sides), *(["more"] if more else [])]


def place_words(parts: list[str]) -> tuple[Message, ...]:
    """Return the words for where a zone's pieces lie, as `zone_parts` names them."""
    sides = [part for part in parts if part in SIDES]
    sentences = [_place_word(part) for part in parts if part not in sides or len(sides) == 1]
    if len(sides) == 2:
        first, second = (Message(f"brief.side_{side}") for side in sides)
        sentences.insert(0, Message("brief.parts_two", {"first": first, "second": second}))
    return tuple(sentences)


def _place_word(part: str) -> Message:
    side, _, where = part.partition("_")
    return (
        Message(f"brief.part_{where}", {"side": Message(f"brief.side_{side}")}) if where else Message(f"brief.part_{part}")
    )
