"""Charts as SVG: a plane with ticks and names on both axes, and the marks that go on it. Pure functions."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from markupsafe import Markup
from numpy.typing import ArrayLike, NDArray

from geoprune import look
from geoprune.deliver.pages.drawing import Point, box, group, path, picture, word

WIDTH, HEIGHT = 440.0, 300.0
LEFT, RIGHT, TOP, BOTTOM = 58.0, 12.0, 10.0, 46.0
LINE = look.SIZE_RAMP[-1]

#: Writes a number with so many digits as people of a language read it.
Write = Callable[[float, int], str]


@dataclass(frozen=True)
class Plane:
    """A plane of two axes: limits (low, high), names, how numbers are written; `whole` numbers only, across."""

    across: tuple[float, float]
    up: tuple[float, float]
    names: tuple[str, str]
    write: Write
    height: float = HEIGHT
    whole: bool = False

    def at(self, x: float, y: float) -> Point:
        """Return the place of a value, points."""
        wide, high = WIDTH - LEFT - RIGHT, self.height - TOP - BOTTOM
        share_x = (x - self.across[0]) / (self.across[1] - self.across[0])
        share_y = (y - self.up[0]) / (self.up[1] - self.up[0])
        return LEFT + wide * share_x, TOP + high * (1 - share_y)

    def places(self, x: ArrayLike, y: ArrayLike) -> list[Point]:
        """Return the places of many values."""
        pairs = zip(np.asarray(x, dtype=float).tolist(), np.asarray(y, dtype=float).tolist(), strict=True)
        return [self.at(*pair) for pair in pairs]


def span(*values: ArrayLike, zero: bool = False) -> tuple[float, float]:
    """Return limits that hold all finite values with a little room; from 0 where `zero`."""
    held = np.concatenate([np.ravel(np.asarray(value, dtype=float)) for value in values])
    held = held[np.isfinite(held)]
    low, high = (float(held.min()), float(held.max())) if len(held) else (0.0, 1.0)
    low = 0.0 if zero else low
    room = 0.05 * (high - low) or 0.05 * abs(high) or 0.5
    return (low if zero else low - room), high + room


def ticks(low: float, high: float, *, most: int = 6, least: float = 0.0) -> tuple[NDArray[np.float64], int]:
    """Return round values between two limits, at least `least` apart, and the digits they need."""
    rough = max((high - low) / most, least)
    power = 10.0 ** np.floor(np.log10(rough))
    step = float(next(size * power for size in (1, 2, 5, 10) if size * power >= rough * (1 - 1e-9)))
    values = step * np.arange(np.ceil(low / step - 1e-9), np.floor(high / step + 1e-9) + 1)
    return values, max(0, -int(np.floor(np.log10(step) + 1e-9)))


def chart(plane: Plane, marks: Sequence[str], *, title: str) -> Markup:
    """Return a chart: the plane's axes with the marks on it; `title` is what a screen reader says."""
    return picture([*axes(plane), *marks], width=WIDTH, height=plane.height, title=title)


def axes(plane: Plane) -> Iterator[str]:
    """Both axes with ticks, faint lines and names."""
    left, bottom = plane.at(plane.across[0], plane.up[0])
    right, top = plane.at(plane.across[1], plane.up[1])
    for values, digits, upright in ((*ticks(*plane.across, least=float(plane.whole)), False), (*ticks(*plane.up), True)):
        for value in values:
            x, y = plane.at(plane.across[0], value) if upright else plane.at(value, plane.up[0])
            ends = [(left, y), (right, y)] if upright else [(x, bottom), (x, top)]
            yield path(ends, stroke=look.RULE, stroke_width=0.5)
            place, anchor = ((left - 6, y + 4), "end") if upright else ((x, bottom + 16), "middle")
            yield word(place, plane.write(value, digits), size=12, anchor=anchor)
    yield path([(left, top), (left, bottom), (right, bottom)], stroke_width=1.2)
    yield word(((left + right) / 2, bottom + 36), plane.names[0], size=13)
    middle = (top + bottom) / 2
    yield word((14, middle), plane.names[1], size=13, transform=f"rotate(-90 14 {middle:.0f})")


def line(plane: Plane, x: ArrayLike, y: ArrayLike, *, dashed: bool = False, width: float = 2.0) -> str:
    """A line through values."""
    dashes = "6 4" if dashed else "none"
    return path(plane.places(x, y), stroke=LINE, stroke_width=width, class_="line", stroke_dasharray=dashes)


def whisker(plane: Plane, x: float, low: float, high: float) -> str:
    """An upright line from `low` to `high`, held to the plane."""
    bottom, top = plane.up
    ends = [min(max(end, bottom), top) for end in (low, high)]
    return path(plane.places([x, x], ends), stroke=look.INK_SOFT, stroke_width=0.9, class_="whisker")


def bars(plane: Plane, edges: ArrayLike, foot: ArrayLike, top: ArrayLike, *, fill: str) -> str:
    """Bars of a histogram from `foot` to `top`; none where both are alike."""
    sides = np.asarray(edges, dtype=float)
    drawn = []
    for left, right, low, high in zip(sides[:-1], sides[1:], np.asarray(foot), np.asarray(top), strict=True):
        if high > low:
            (x, y), (end, bottom) = plane.at(left, high), plane.at(right, low)
            drawn.append(box((x, y), (end - x, bottom - y), fill=fill, stroke=look.INK, stroke_width=0.7))
    return group(drawn, class_="bars")
