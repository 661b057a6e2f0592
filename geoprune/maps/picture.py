"""A block's zones as a small static SVG: for browsers that run no scripts. Patterns and numbers, no text of the user."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import geopandas as gpd
import shapely
from markupsafe import Markup

from geoprune import look
from geoprune.maps.ground import zone_labels

WIDTH = 640.0
_PATTERNS = {
    "plain": "",
    "dots": '<circle cx="3" cy="3" r="1" fill="{ink}"/><circle cx="9" cy="9" r="1" fill="{ink}"/>',
    "lines": '<path d="M-1 13L13 -1M-1 1L1 -1M11 13L13 11" stroke="{ink}" stroke-width="1.1"/>',
    "hatch": '<path d="M-1 13L13 -1M-1 1L1 -1M11 13L13 11M-1 -1L13 13" stroke="{ink}" stroke-width="1.1"/>',
    "solid": "",
}


def draw_picture(zones: gpd.GeoDataFrame, polygon: shapely.Geometry, *, words: Mapping[str, str]) -> Markup:
    """Return an SVG of the zones with the number of buds in each.

    Parameters
    ----------
    zones : GeoDataFrame
        zone, buds_per_vine and geometry (metres).
    polygon : Polygon or MultiPolygon
        The block.
    words : mapping
        The page's words; only fixed ones are used.
    """
    west, south, east, north = polygon.bounds
    scale = WIDTH / max(east - west, north - south)
    height = (north - south) * scale + 20
    count = len(zones)
    styles = [look.zone_style(int(zone), zones=count) for zone in zones["zone"]]

    def turn(easting: float, northing: float) -> tuple[float, float]:
        return (easting - west) * scale + 10, (north - northing) * scale + 10

    shapes = [
        f'<path d="{_path(geometry, turn)}" fill="url(#z{style})" stroke="{look.INK}" fill-rule="evenodd"/>'
        for geometry, style in zip(zones.geometry, styles, strict=True)
    ]
    numbers = [
        _number(turn(label["easting"], label["northing"]), int(zones["buds_per_vine"].iloc[label["zone"]]))
        for label in zone_labels(zones)
        if label["part"] == 0
    ]
    defs = "".join(_pattern(style) for style in sorted(set(styles)))
    size = f'viewBox="0 0 {(east - west) * scale + 20:.0f} {height:.0f}"'
    return Markup(
        f'<svg xmlns="http://www.w3.org/2000/svg" role="img" aria-label="{Markup.escape(words["table_zones"])}" {size}>'
        f"<defs>{defs}</defs>{''.join(shapes)}{''.join(numbers)}</svg>"
    )


def _pattern(style: int) -> str:
    ink = look.ZONE_PATTERN_INKS[style]
    marks = _PATTERNS[look.ZONE_PATTERNS[style]].format(ink=ink)
    return (
        f'<pattern id="z{style}" width="12" height="12" patternUnits="userSpaceOnUse">'
        f'<rect width="12" height="12" fill="{look.ZONE_FILLS[style]}"/>{marks}</pattern>'
    )


def _path(geometry: shapely.Geometry, turn: Any) -> str:
    rings = shapely.get_rings(shapely.get_parts(shapely.simplify(geometry, 0.5)))
    return "".join(
        "M" + "L".join("{:.1f} {:.1f}".format(*turn(*point)) for point in ring.coords[:-1]) + "Z" for ring in rings
    )


def _number(place: tuple[float, float], buds: int) -> str:
    text = f'x="{place[0]:.0f}" y="{place[1] + 10:.0f}" text-anchor="middle" font-size="30" font-weight="700"'
    halo = f'fill="{look.INK}" stroke="{look.PAPER}" stroke-width="6" paint-order="stroke"'
    return f"<text {text} {halo}>{buds}</text>"
