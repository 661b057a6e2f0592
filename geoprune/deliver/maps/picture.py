"""A block's zones as a small static SVG: for browsers that run no scripts. Patterns and numbers, no text of the user."""

from __future__ import annotations

from collections.abc import Callable

import shapely
from markupsafe import Markup

from geoprune import look
from geoprune.brief import BlockBrief
from geoprune.words import Reader

WIDTH = 640.0
_PATTERNS = {
    "plain": "",
    "dots": '<circle cx="3" cy="3" r="1" fill="{ink}"/><circle cx="9" cy="9" r="1" fill="{ink}"/>',
    "lines": '<path d="M-1 13L13 -1M-1 1L1 -1M11 13L13 11" stroke="{ink}" stroke-width="1.1"/>',
    "hatch": '<path d="M-1 13L13 -1M-1 1L1 -1M11 13L13 11M-1 -1L13 13" stroke="{ink}" stroke-width="1.1"/>',
    "solid": "",
}


def draw_picture(brief: BlockBrief, polygon: shapely.Geometry, *, reader: Reader) -> Markup:
    """Return an SVG of the zones with the number of buds in each.

    Parameters
    ----------
    brief : BlockBrief
    polygon : Polygon or MultiPolygon
        The block.
    reader : Reader
    """
    west, south, east, north = polygon.bounds
    scale = WIDTH / max(east - west, north - south)
    height = (north - south) * scale + 20
    zones, styles = brief.plan.zones, [zone.style for zone in brief.zones]

    def turn(easting: float, northing: float) -> tuple[float, float]:
        return (easting - west) * scale + 10, (north - northing) * scale + 10

    shapes = [zone_shape(geometry, style, turn) for geometry, style in zip(zones.geometry, styles, strict=True)]
    texts = [reader.say(zone.number) for zone in brief.zones]
    numbers = [_number(turn(label.easting, label.northing), texts[label.zone]) for label in brief.labels if label.part == 0]
    defs = "".join(zone_pattern(style) for style in sorted(set(styles)))
    size = f'viewBox="0 0 {(east - west) * scale + 20:.0f} {height:.0f}"'
    name = reader.words("map")["table_zones"]
    return Markup(
        f'<svg xmlns="http://www.w3.org/2000/svg" role="img" aria-label="{Markup.escape(name)}" {size}>'
        f"<defs>{defs}</defs>{''.join(shapes)}{''.join(numbers)}</svg>"
    )


def zone_pattern(style: int) -> str:
    """Return the SVG definition of a zone's marks, `url(#z<style>)`; `style` is a key of the zone tables of `look`."""
    marks = _PATTERNS[look.ZONE_PATTERNS[style]].format(ink=look.ZONE_PATTERN_INKS[style])
    return f'<pattern id="z{style}" width="12" height="12" patternUnits="userSpaceOnUse">{marks}</pattern>'


def zone_shape(geometry: shapely.Geometry, style: int, turn: Callable[[float, float], tuple[float, float]]) -> str:
    """Return a zone as SVG: its fill, then its marks on top, so that no seam shows where tiles of the pattern meet."""
    shape = f'<path d="{outline(geometry, turn)}" fill-rule="evenodd"'
    return f'{shape} fill="{look.ZONE_FILLS[style]}"/>{shape} fill="url(#z{style})" stroke="{look.INK}"/>'


def outline(geometry: shapely.Geometry, turn: Callable[[float, float], tuple[float, float]]) -> str:
    """Return the SVG path of polygons; `turn` gives the place in the drawing of an easting and northing."""
    rings = shapely.get_rings(shapely.get_parts(shapely.simplify(geometry, 0.5)))
    return "".join(
        "M" + "L".join("{:.1f} {:.1f}".format(*turn(*point)) for point in ring.coords[:-1]) + "Z" for ring in rings
    )


def _number(place: tuple[float, float], number: str) -> str:
    where = f'x="{place[0]:.0f}" y="{place[1] + 10:.0f}" text-anchor="middle" font-size="30" font-weight="700"'
    halo = f'fill="{look.INK}" stroke="{look.PAPER}" stroke-width="6" paint-order="stroke"'
    return f"<text {where} {halo}>{Markup.escape(number)}</text>"
