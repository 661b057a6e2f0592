"""Small vector pictures as SVG text: shapes, lines and words, with everything foreign escaped."""

from __future__ import annotations

from collections.abc import Iterable
from itertools import pairwise

import numpy as np
from markupsafe import Markup, escape
from numpy.typing import ArrayLike, NDArray

from geoprune import look
from geoprune.deliver.pages.text import clean

Point = tuple[float, float]
#: The PDF's own face first: one that lies inside the typesetter, so that a drawing looks the same everywhere.
FACE = f"Libertinus Serif, {look.SERIF}".replace('"', "'")


def picture(parts: Iterable[str], *, width: float, height: float, title: str) -> Markup:
    """Return an SVG of that size in points; `title` is what a screen reader says."""
    size = f'viewBox="0 0 {_n(width)} {_n(height)}" width="{_n(width)}pt" height="{_n(height)}pt"'
    escaped = escape(clean(title))
    return Markup(
        f'<svg xmlns="http://www.w3.org/2000/svg" role="img" aria-label="{escaped}" {size} font-family="{FACE}">'
        f"{''.join(parts)}</svg>"
    )


def group(parts: Iterable[str], **style: str | float) -> str:
    """Return shapes that share a style; `fill_rule="evenodd"` becomes the attribute `fill-rule`."""
    return f"<g{_style(style)}>{''.join(parts)}</g>"


def path(points: ArrayLike, *, closed: bool = False, **style: str | float) -> str:
    """Return a line through (N, 2) points."""
    return f'<path d="{stroke(points, closed=closed)}"{_style({"fill": "none", "stroke": look.INK, **style})}/>'


def stroke(points: ArrayLike, *, closed: bool = False) -> str:
    """Return the path data of a line through (N, 2) points."""
    steps = "L".join(f"{_n(x)} {_n(y)}" for x, y in np.asarray(points, dtype=float))
    return f"M{steps}{'Z' if closed else ''}"


def disc(place: Point, radius: float, **style: str | float) -> str:
    """Return a circle."""
    return f'<circle cx="{_n(place[0])}" cy="{_n(place[1])}" r="{_n(radius)}"{_style(style)}/>'


def box(place: Point, size: Point, **style: str | float) -> str:
    """Return a rectangle from its upper left corner and its width and height."""
    return (
        f'<rect x="{_n(place[0])}" y="{_n(place[1])}" width="{_n(size[0])}" height="{_n(size[1])}"'
        f"{_style({'fill': 'none', **style})}/>"
    )


def word(place: Point, text: object, *, size: float, anchor: str = "middle", **style: str | float) -> str:
    """Return a line of text; `text` may be anybody's."""
    escaped = escape(clean(str(text)))
    where = f'x="{_n(place[0])}" y="{_n(place[1])}" font-size="{_n(size)}" text-anchor="{anchor}"'
    return f"<text {where}{_style({'fill': look.INK, **style})}>{escaped}</text>"


def tape(place: Point, bands: int, *, height: float = 30.0) -> str:
    """Return a post, its foot at `place`, with so many bands of tape."""
    x, foot = place
    half, thick = height * 0.11, height * 0.12
    parts = [box((x - half, foot - height), (2 * half, height), fill="#ffffff", stroke=look.INK, stroke_width=1.1)]
    for band in range(bands):
        top = foot - height * 0.94 + band * thick * 1.65
        parts.append(box((x - half * 1.9, top), (half * 3.8, thick), fill=look.INK))
    return "".join(parts)


def along(points: ArrayLike, shares: ArrayLike) -> NDArray[np.float64]:
    """Return (M, 2) places at shares of the length of a line through (N, 2) points."""
    line = np.asarray(points, dtype=float)
    run = np.concatenate([[0.0], np.cumsum([np.hypot(*(b - a)) for a, b in pairwise(line)])])
    wanted = np.asarray(shares, dtype=float) * run[-1]
    return np.column_stack([np.interp(wanted, run, line[:, axis]) for axis in (0, 1)])


def arc(start: Point, pull: Point, end: Point, *, steps: int = 24) -> NDArray[np.float64]:
    """Return points of a quadratic curve."""
    t = np.linspace(0.0, 1.0, steps)[:, None]
    a, b, c = (np.asarray(p, dtype=float) for p in (start, pull, end))
    return (1 - t) ** 2 * a + 2 * t * (1 - t) * b + t**2 * c


def _n(value: float) -> str:
    return f"{value:.2f}".rstrip("0").rstrip(".") if value else "0"


def _style(style: dict[str, str | float]) -> str:
    attributes = (f' {name.rstrip("_").replace("_", "-")}="{escape(str(value))}"' for name, value in style.items())
    return "".join(attributes)
