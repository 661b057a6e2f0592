"""The block as the crew sees it: zones by pattern, numbers, tape, row names at both ends, north, where to start."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from markupsafe import Markup
from numpy.typing import NDArray

from geoprune import look
from geoprune.brief import BlockBrief
from geoprune.deliver.maps.picture import outline, zone_pattern, zone_shape
from geoprune.deliver.pages.drawing import Point, box, group, path, picture, tape, word
from geoprune.deliver.pages.text import shorten
from geoprune.plan import BlockPlan
from geoprune.words import Reader

#: Longest row name at the end of a row.
LONGEST_END_NAME = 6

#: Room around the block for row names and the start, the first that will do beside it; to the right for the north
#: arrow, points.
MARGINS, NORTH = (32.0, 46.0, 62.0, 80.0), 20.0
#: Row names stand at least so far apart, points.
NAME_STEP = 10.5
#: What keeps a word readable on a dark zone.
HALO: Mapping[str, Any] = {"stroke": "#ffffff", "stroke_width": 2.4, "paint_order": "stroke"}
#: Every how many rows a name is written.
STEPS = (1, 2, 5, 10, 20, 50, 100, 200, 500)


@dataclass(frozen=True)
class Paper:
    """Where a place of the block comes to lie in a drawing."""

    west: float
    north: float
    scale: float
    left: float
    top: float

    def turn(self, easting: Any, northing: Any) -> Any:
        """Return the place in the drawing, points; numbers or arrays."""
        return self.left + (easting - self.west) * self.scale, self.top + (self.north - northing) * self.scale


def fit_paper(
    polygon: shapely.Geometry, *, width: float, height: float, margin: tuple[float, float], right: float = 0.0
) -> Paper:
    """Return how to draw a block in the middle of a picture, north up; `margin` beside it and above and below it."""
    west, south, east, north = polygon.bounds
    inner = (width - 2 * margin[0] - right, height - 2 * margin[1])
    scale = min(inner[0] / (east - west), inner[1] / (north - south))
    left = margin[0] + (inner[0] - (east - west) * scale) / 2
    top = margin[1] + (inner[1] - (north - south) * scale) / 2
    return Paper(west, north, scale, left, top)


def draw_block(brief: BlockBrief, reader: Reader, *, width: float, height: float) -> Markup:
    """Return the block as SVG.

    Parameters
    ----------
    brief : BlockBrief
    reader : Reader
    width, height : float
        Size, points.
    """
    plan, words = brief.plan, reader.words("sheet")
    margins = [(beside, MARGINS[0]) for beside in MARGINS]
    papers = [fit_paper(plan.polygon, width=width, height=height, margin=margin, right=NORTH) for margin in margins]
    tried = []
    for paper in papers:
        names = place_names(plan, paper)
        start = start_of(brief, paper, words["start"], names=[lies for lies, _ in names], size=(width, height))
        tried.append((paper, names, start))
        if start.clear:
            break
    paper, names, start = next((found for found in tried if found[2].clear), tried[0])
    styles = [zone.style for zone in brief.zones]
    defs = f"<defs>{''.join(zone_pattern(style) for style in sorted(set(styles)))}</defs>"
    shapes = [zone_shape(geometry, style, paper.turn) for geometry, style in zip(plan.zones.geometry, styles, strict=True)]
    parts = [defs, *shapes, *_row_lines(plan, paper), *_names(names), *_plates(brief, paper, reader)]
    parts += [
        *_start(start, words["start"]),
        _edge(plan, paper),
        *north_arrow((width - NORTH / 2 - 2, 6), words["north_letter"]),
    ]
    return picture(parts, width=width, height=height, title=words["picture"])


def north_arrow(place: Point, letter: str, *, size: float = 30.0) -> Iterator[str]:
    """Return an arrow to the top of the drawing with the letter for north above it."""
    x, y = place
    half = size * 0.23
    tip, foot, notch = (x, y + size * 0.38), y + size * 1.25, y + size * 1.08
    yield word((x, y + size * 0.32), letter, size=size * 0.42, font_weight=700)
    yield path([tip, (x + half, foot), (x, notch), (x - half, foot)], closed=True, fill=look.INK)


def _edge(plan: BlockPlan, paper: Paper) -> str:
    return f'<path d="{outline(plan.polygon, paper.turn)}" fill="none" stroke="{look.INK}" stroke-width="1.6"/>'


def _row_ends(plan: BlockPlan, paper: Paper) -> NDArray[np.float64]:
    """Return (R, 2, 2): each row's first and last place in the drawing."""
    lines = plan.rows.geometry.to_numpy()
    ends = np.stack([shapely.get_coordinates(shapely.get_point(lines, at)) for at in (0, -1)], axis=1)
    return np.stack(paper.turn(ends[..., 0], ends[..., 1]), axis=-1)


def named_rows(places: NDArray[np.float64], names: Sequence[str], *, wide: float) -> list[int]:
    """Return which rows have room for a name of that width: the first, the last, and round ones between."""
    count = len(places)
    if count < 2:
        return list(range(count))
    across = np.median(np.abs(np.diff(places, axis=0)), axis=0)
    apart = max(across[0] / wide, across[1] / NAME_STEP, 1e-6)
    step = next((step for step in STEPS if step * apart >= 1), count)
    numbers = [int(name) if name.isdecimal() else index + 1 for index, name in enumerate(names)]
    between = [i for i in range(1, count - 1) if numbers[i] % step == 0 and min(i, count - 1 - i) * apart >= 1]
    return sorted({0, *between, count - 1})


def _row_lines(plan: BlockPlan, paper: Paper) -> Iterator[str]:
    """The rows as thin lines, bent as they are, where they are not too close."""
    ends = _row_ends(plan, paper)
    if len(ends) > 1 and np.median(np.hypot(*np.diff(ends[:, 0], axis=0).T)) >= 4.0:
        lines = shapely.simplify(plan.rows.geometry.to_numpy(), 0.3 / paper.scale)
        places = (np.column_stack(paper.turn(*shapely.get_coordinates(line).T)) for line in lines)
        yield group((path(line, stroke_width=0.35, class_="row") for line in places), opacity=0.45)


def end_names(names: list[str]) -> list[str]:
    """Names short enough for the ends of rows: what all begin with is left out when they are long."""
    if max(map(len, names), default=0) > LONGEST_END_NAME:
        low, high = min(names), max(names)
        alike = next((i for i, (a, b) in enumerate(zip(low, high, strict=False)) if a != b), len(low))
        common = low[:alike].rstrip("0123456789")
        names = [name[len(common) :] or name for name in names]
    return [shorten(name, LONGEST_END_NAME) for name in names]


def place_names(plan: BlockPlan, paper: Paper) -> list[tuple[shapely.Polygon, str]]:
    """Return where row names go, beyond both ends of rows and clear of the block and of each other."""
    ends, block = _row_ends(plan, paper), drawn_block(plan, paper)
    names = end_names([str(name) for name in plan.rows["row"]])
    placed: list[tuple[shapely.Polygon, str]] = []
    chosen = named_rows(ends[:, 0], names, wide=5.2 * max(len(name) for name in names) + 3)
    for index in sorted(chosen, key=lambda index: index not in (0, len(ends) - 1)):
        out, aside = _outward(ends[index]), _off_the_block(ends, index)
        size = (4.8 * len(names[index]), 7.0)
        for place, way in ((ends[index, 0], -out), (ends[index, 1], out)):
            lies = _clear_of(block, place, (way, way + aside, aside), size)
            if not any(lies.intersects(other) for other, _ in placed):
                placed.append((lies, names[index]))
    return placed


def _names(placed: list[tuple[shapely.Polygon, str]]) -> Iterator[str]:
    for lies, name in placed:
        yield word((lies.centroid.x, lies.centroid.y + 3.0), name, size=9, font_weight=700, class_="row-name", **HALO)


def drawn_block(plan: BlockPlan, paper: Paper) -> shapely.Geometry:
    """Return the block's outline in the drawing, ready to be asked what lies in it."""
    block = shapely.transform(plan.polygon, lambda at: np.column_stack(paper.turn(at[:, 0], at[:, 1])))
    shapely.prepare(block)
    return block


def _outward(pair: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the direction from the first to the last place of a row, of length 1."""
    way = pair[1] - pair[0]
    return way / max(float(np.hypot(*way)), 1e-9)


def _clear_of(
    block: shapely.Geometry, place: NDArray[np.float64], ways: Sequence[NDArray[np.float64]], size: Point
) -> shapely.Polygon:
    """Return a box of that size beyond a place, outside the block: pushed along the first way that gets it there."""
    half = np.array(size) / 2
    boxes = []
    for way in ways:
        length = float(np.hypot(*way))
        for far in range(8, 30, 3) if length else ():
            middle = place + far / length * way
            boxes.append(shapely.box(*(middle - half), *(middle + half)))
            if not block.intersects(boxes[-1]):
                return boxes[-1]
    return boxes[0]


def _plates(brief: BlockBrief, paper: Paper, reader: Reader) -> Iterator[str]:
    """Each zone's number, with its tape beside it where there is tape; the largest part's on top."""
    for label in reversed(brief.labels):
        room = label.radius_m * paper.scale
        if room < 5 and label.part:
            continue
        zone = brief.zones[label.zone]
        text = reader.say(zone.number)
        size = float(np.clip(room * 1.05, 10, 34)) * (1.0 if text.isdecimal() else 0.6)
        wide = size * ((0.54 if text.isdecimal() else 0.72) * len(text) + 0.3) + (size * 0.55 if zone.bands else 0)
        x, y = paper.turn(label.easting, label.northing)
        yield box((x - wide / 2, y - size * 0.55), (wide, size * 1.1), fill="#ffffff", stroke=look.INK, stroke_width=0.8)
        shift = size * 0.24 if zone.bands else 0
        yield word((x + shift, y + size * 0.34), text, size=size, font_weight=700, class_="plate")
        if zone.bands:
            yield tape((x - wide / 2 + size * 0.36, y + size * 0.42), zone.bands, height=size * 0.84)


@dataclass(frozen=True)
class Start:
    """Where the walk begins: the arrow's corners, the middle of the word, whether both lie clear of all else."""

    arrow: NDArray[np.float64]
    word: Point
    clear: bool


def start_of(brief: BlockBrief, paper: Paper, text: str, *, names: list[shapely.Polygon], size: Point) -> Start:
    """Return where to draw an arrow at the post where the walk begins, and a word beside it, clear of row names."""
    plan, first = brief.plan, brief.rows[0]
    index = int(np.flatnonzero((plan.rows["row"].astype(str) == first.row).to_numpy())[0])
    ends = _row_ends(plan, paper)
    pair = ends[index] if first.walked_up else ends[index][::-1]
    way, aside, block = _outward(pair), _off_the_block(ends, index), drawn_block(plan, paper)
    past = 15 + 4.8 * len(shorten(first.row, LONGEST_END_NAME)) * abs(way[0])
    across, foot = np.array([-way[1], way[0]]), pair[0] - (past + 10) * way
    arrow = np.array([foot + 10 * way, foot + 4.5 * across, foot - 4.5 * across])
    arrow = next((arrow + far * aside for far in range(0, 20, 4) if _apart(block, arrow + far * aside)), arrow)
    frame = shapely.box(0, 0, *size).difference(shapely.union_all([block, *names]))
    middle, half = arrow.mean(axis=0), 2.7 * len(text)
    turns = (aside, aside - way, -way, np.array([0.0, 1.0]), np.array([0.0, -1.0]), -aside - way)
    places = [_beside(middle, turned, half) for turned in turns if turned.any()]
    free = [(x, y) for x, y in places if frame.contains(shapely.box(x - half, y - 6, x + half, y + 6))]
    x, y = free[0] if free else np.clip(places[0], (half, 8), (size[0] - half, size[1] - 8))
    return Start(arrow, (float(x), float(y)), bool(free))


def _start(start: Start, text: str) -> Iterator[str]:
    yield path(start.arrow, closed=True, fill=look.INK, class_="start")
    yield word((start.word[0], start.word[1] + 3), text, size=10, font_weight=700, **HALO)


def _apart(block: shapely.Geometry, points: NDArray[np.float64]) -> bool:
    return not block.intersects(shapely.Polygon(points))


def _off_the_block(ends: NDArray[np.float64], index: int) -> NDArray[np.float64]:
    """Return the direction from the middle of all rows to one of them, at right angles to it; 0 for a middle row."""
    aside = ends[index].mean(axis=0) - ends.mean(axis=(0, 1))
    way = _outward(ends[index])
    aside = aside - (aside @ way) * way
    length = float(np.hypot(*aside))
    return aside / length if length > 1 else np.zeros(2)


def _beside(place: NDArray[np.float64], way: NDArray[np.float64], half: float) -> NDArray[np.float64]:
    """Return the middle of a word that stands beside an arrow, its near edge clear of it."""
    way = way / np.hypot(*way)
    return place + way * (10 + half * abs(way[0]) + 5 * abs(way[1]))
