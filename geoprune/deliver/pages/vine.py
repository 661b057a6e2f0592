"""The drawn vine: a recipe as wood on its wires, every cane, spur and bud of it, one picture per training system."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import partial

import numpy as np
from markupsafe import Markup
from numpy.typing import NDArray

from geoprune import look
from geoprune.deliver.pages.drawing import Point, along, arc, box, disc, group, path, picture, word
from geoprune.rules import Recipe

WIDTH, HEIGHT = 260.0, 112.0
GROUND, MIDDLE, REACH = 104.0, 130.0, 114.0
#: Height of 1 m in the drawing, points.
METRE = 43.0
BUD = 2.3
#: Height of the arms of a vine without wires, m.
HEAD_M = 0.9
#: Of two cordons side by side: how far each lies to the side and up or down of their middle, points.
ASIDE, BEHIND = 22.0, 14.0
#: From the spur's foot to its first bud, and from bud to bud, points.
FOOT, NODE = 5.0, 6.4


@dataclass(frozen=True)
class Frame:
    """Old wood (line, width), and the wires it stands on as heights in the drawing; of two side by side their ends too.

    beside : (n, 2, 2) wires whose ends are told, and that bars at the posts hold apart
    """

    wires: tuple[float, ...]
    old: tuple[tuple[NDArray[np.float64], float], ...]
    beside: tuple[tuple[Point, Point], ...] = ()


@dataclass(frozen=True)
class Limb:
    """A cane or spur: its line, its buds, and where its number of buds is written (None: not written)."""

    kind: str
    line: NDArray[np.float64]
    buds: int
    label: Point | None = None


def draw_vine(recipe: Recipe, *, title: str) -> Markup:
    """Return the vine after pruning as SVG: one dot per bud, `recipe.total` in all.

    Parameters
    ----------
    recipe : Recipe
        Its parts are drawn one by one; without parts only old wood is seen.
    title : str
        What a screen reader says.
    """
    system = recipe.training
    draw = _DRAWINGS[system.drawing]
    frame, limbs = draw(recipe, [level(wire) for wire in system.wires_m])
    wires = [path([(6, y), (WIDTH - 6, y)], stroke_width=0.7) for y in frame.wires]
    wires += [path(ends, stroke_width=0.7) for ends in frame.beside]
    ground = path([(2, GROUND), (WIDTH - 2, GROUND)], stroke_width=1.2)
    bars = [tuple(ends) for ends in zip(*frame.beside, strict=True)]
    tops = [(sum(x for x, _ in bar) / len(bar), sum(y for _, y in bar) / len(bar)) for bar in bars]
    feet = tops or ([(10.0, 12.0), (WIDTH - 10, 12.0)] if frame.wires else [])
    posts = [box((x - 2, y), (4, GROUND - y), fill="#ffffff", stroke_width=0.9, stroke=look.INK) for x, y in feet]
    posts += [path(bar, stroke_width=2.4, stroke=look.INK_SOFT) for bar in bars]
    wood = [path(line, stroke_width=width, stroke=look.INK_SOFT, stroke_linecap="round") for line, width in frame.old]
    parts = [ground, *posts, group(wires, class_="wire"), *wood, *(_limb(limb) for limb in limbs)]
    return picture(parts, width=WIDTH, height=HEIGHT, title=title)


def level(height_m: float) -> float:
    """Return how far down the drawing a height over ground lies."""
    return GROUND - METRE * height_m


def _limb(limb: Limb) -> str:
    spur = limb.kind != "cane"
    length = float(np.hypot(*np.diff(limb.line, axis=0).T).sum())
    if spur:
        shares = (FOOT + NODE * np.arange(limb.buds)) / length
    else:
        shares = (np.arange(limb.buds) + 0.75) / limb.buds
    dots = [disc((x, y), BUD, class_="bud", fill=look.INK) for x, y in along(limb.line, shares)]
    wood = path(limb.line, stroke_width=1.5 if spur else 1.9, stroke_linecap="round")
    number = []
    if limb.label is not None:
        number = [word(limb.label, limb.buds, size=14, font_weight=700, stroke="#fff", stroke_width=4, paint_order="stroke")]
    return group([wood, *dots, *number], class_=limb.kind)


def _pieces(recipe: Recipe, kind: str) -> list[int]:
    """Return the buds of each piece of a kind, longer and shorter ones spread evenly."""
    parts = [part for part in recipe.parts if part.kind == kind]
    placed = [((i + 0.5) / part.count, part.buds) for part in parts for i in range(part.count)]
    return [buds for _, buds in sorted(placed)]


def _spur(foot: Point, buds: int, *, up: bool, lean: float = 0.0, kind: str = "spur") -> Limb:
    length = FOOT + NODE * (buds - 1) + 3.0
    tip = (foot[0] + lean * length, foot[1] - length if up else foot[1] + length)
    return Limb(kind, np.array([foot, tip]), buds)


def _head_spurs(recipe: Recipe, heads: list[Point]) -> Iterator[Limb]:
    """Renewal spurs around the head, and the one spur of a vine too weak for a cane."""
    short = [("renewal", buds) for buds in _pieces(recipe, "renewal")]
    short += [("spur", buds) for buds in _pieces(recipe, "spur")]
    for index, (kind, buds) in enumerate(short):
        head = heads[index // 2 % len(heads)]
        side = -1 if index % 2 == 0 else 1
        yield _spur((head[0] + side * 2.5, head[1]), buds, up=True, lean=side * 0.28, kind=kind)


def _cordon(sizes: list[int], y: float, *, up: bool, middle: float = MIDDLE, reach: float = REACH) -> list[Limb]:
    """Spurs spread evenly along both arms of a cordon at height `y`."""
    half = -(-len(sizes) // 2)
    limbs = []
    for side, held in ((-1, sizes[:half][::-1]), (1, sizes[half:])):
        for index, buds in enumerate(held):
            away = 10 + (reach - 16) * (index + 0.5) / max(half, 1)
            limbs.append(_spur((middle + side * away, y), buds, up=up))
    return limbs


def _trunk(top: float) -> tuple[NDArray[np.float64], float]:
    return arc((MIDDLE - 2, GROUND), (MIDDLE + 4, (GROUND + top) / 2), (MIDDLE, top)), 6.0


def _arms(y: float, *, middle: float = MIDDLE, reach: float = REACH) -> tuple[NDArray[np.float64], float]:
    return np.array([(middle - reach, y), (middle + reach, y)]), 4.2


def _spurs_down(recipe: Recipe, wires: list[float]) -> tuple[Frame, list[Limb]]:
    y = wires[0]
    return Frame(tuple(wires), (_trunk(y), _arms(y))), _cordon(_all_spurs(recipe), y, up=False)


def _spurs_up(recipe: Recipe, wires: list[float]) -> tuple[Frame, list[Limb]]:
    y = wires[0]
    return Frame(tuple(wires), (_trunk(y), _arms(y))), _cordon(_all_spurs(recipe), y, up=True)


def _two_cordons(recipe: Recipe, wires: list[float], *, up: bool = False) -> tuple[Frame, list[Limb]]:
    """Two cordons side by side, seen from beside and above the row: bars lead from the near one to the far one."""
    sizes, reach = _all_spurs(recipe), REACH - ASIDE - 8
    near, far = (MIDDLE - ASIDE, wires[0] + BEHIND), (MIDDLE + ASIDE, wires[0] - BEHIND)
    fork = (MIDDLE, wires[0] + (12 if up else 0))
    half = -(-len(sizes) // 2)
    thick = {far: 3.0, near: 4.2}
    old = [_trunk(fork[1])]
    for x, y in (far, near):
        old += [(np.array([fork, (x, y)]), thick[x, y]), (_arms(y, middle=x, reach=reach)[0], thick[x, y])]
    limbs = _cordon(sizes[half:], far[1], up=up, middle=far[0], reach=reach)
    limbs += _cordon(sizes[:half], near[1], up=up, middle=near[0], reach=reach)
    beside = tuple(((x - reach - 6, y), (x + reach + 6, y)) for x, y in (far, near))
    return Frame((), tuple(old), beside), limbs


def _all_spurs(recipe: Recipe) -> list[int]:
    return _pieces(recipe, "spur") + _pieces(recipe, "renewal")


def _sides(sizes: list[int]) -> Iterator[tuple[int, int, int]]:
    """Yield side (-1 left, 1 right), rank on that side and buds; left and right in turn."""
    for index, buds in enumerate(sizes):
        yield (-1 if index % 2 == 0 else 1), index // 2, buds


def _flat_canes(recipe: Recipe, wires: list[float]) -> tuple[Frame, list[Limb]]:
    y = wires[0]
    limbs = [_tied(side, y - 13 * rank, y + 4, buds) for side, rank, buds in _sides(_pieces(recipe, "cane"))]
    return Frame(tuple(wires), (_trunk(y + 4),)), limbs + list(_head_spurs(recipe, [(MIDDLE, y + 4)]))


def _tied(side: int, y: float, head: float, buds: int) -> Limb:
    """A cane from the head along a wire, its number beyond its end."""
    bend = arc((MIDDLE + side * 3, head), (MIDDLE + side * 8, y), (MIDDLE + side * 20, y), steps=8)
    line = np.vstack([bend, (MIDDLE + side * (REACH - 18), y)])
    return Limb("cane", line, buds, (MIDDLE + side * (REACH - 6), y + 4))


def _arched_canes(recipe: Recipe, wires: list[float]) -> tuple[Frame, list[Limb]]:
    low, high = max(wires), min(wires)
    head, limbs = high + 3, []
    for side, rank, buds in _sides(_pieces(recipe, "cane")):
        out = 40 + 32 * rank
        end = (MIDDLE + side * out, low + 16)
        line = arc((MIDDLE + side * 2, head), (MIDDLE + side * out, high - 24 - 4 * rank), end)
        limbs.append(Limb("cane", line, buds, (end[0], end[1] + 12)))
    heads = [(MIDDLE, high + 20), (MIDDLE, high + 38)]
    return Frame(tuple(wires), (_trunk(head),)), limbs + list(_head_spurs(recipe, heads))


def _four_canes(recipe: Recipe, wires: list[float]) -> tuple[Frame, list[Limb]]:
    high, low = min(wires), max(wires)
    limbs = []
    for side, rank, buds in _sides(sorted(_pieces(recipe, "cane"), reverse=True)):  # the longer ones above
        y = high if rank == 0 else low
        limbs.append(_tied(side, y, y + 4, buds))
    heads = [(MIDDLE, high + 4), (MIDDLE, low + 4)]
    return Frame(tuple(wires), (_trunk(high),)), limbs + list(_head_spurs(recipe, heads))


def _two_levels(recipe: Recipe, wires: list[float]) -> tuple[Frame, list[Limb]]:
    """Canes on an upper and a lower wire, drawn farther apart than they are."""
    high, low = min(wires) - 10, max(wires) + 6
    head, levels = high + 12, (high, low, high - 14)
    limbs = [_tied(side, levels[rank % 3], head, buds) for side, rank, buds in _sides(_pieces(recipe, "cane"))]
    drawn = tuple(levels[: max(-(-recipe.count("cane") // 2), 2)])
    return Frame(drawn, (_trunk(head),)), limbs + list(_head_spurs(recipe, [(MIDDLE, head)]))


def _head(recipe: Recipe, wires: list[float]) -> tuple[Frame, list[Limb]]:
    """A vine without wires: spurs on short arms around the head."""
    sizes, top = _all_spurs(recipe), GROUND - METRE * HEAD_M
    feet = [(MIDDLE + 96 * ((i + 0.5) / max(len(sizes), 1) - 0.5) * 2, top) for i in range(len(sizes))]
    arms = [(arc((MIDDLE, GROUND - 14), ((MIDDLE + x) / 2, top + 16), (x, y)), 3.4) for x, y in feet]
    return Frame((), (_trunk(GROUND - 14), *arms)), [_spur(foot, n, up=True) for foot, n in zip(feet, sizes, strict=True)]


def _hung_canes(recipe: Recipe, wires: list[float]) -> tuple[Frame, list[Limb]]:
    """Canes that hang from an old arm over the whole width."""
    sizes, high = _pieces(recipe, "cane"), min(wires)
    limbs = []
    for index, buds in enumerate(sizes):
        x = MIDDLE + 2 * (REACH - 20) * ((index + 0.5) / len(sizes) - 0.5)
        side = -1 if x < MIDDLE else 1
        line = arc((x, high), (x + side * 9, high - 6), (x + side * 10, high + 34))
        limbs.append(Limb("cane", line, buds, (x + side * 10, high + 48)))
    return Frame(tuple(wires), (_trunk(high), _arms(high))), limbs + list(_head_spurs(recipe, [(MIDDLE, high)]))


def _overhead(recipe: Recipe, wires: list[float]) -> tuple[Frame, list[Limb]]:
    """Canes spread on a roof of wires, as one sees them standing beside the trunk."""
    sizes, roof = _pieces(recipe, "cane"), min(wires) + 6
    limbs = []
    for side, rank, buds in _sides(sizes):
        end = (MIDDLE + side * (REACH - 26), roof + 14 * rank - 2)
        line = arc((MIDDLE + side * 4, roof + 12), (MIDDLE + side * 24, roof + 7 * rank), end)
        limbs.append(Limb("cane", line, buds, (MIDDLE + side * (REACH - 8), end[1] + 4)))
    heads = [(MIDDLE, roof + 22), (MIDDLE, roof + 44)]
    return Frame((roof - 4,), (_trunk(roof + 12),)), limbs + list(_head_spurs(recipe, heads))


def _other_canes(recipe: Recipe, wires: list[float]) -> tuple[Frame, list[Limb]]:
    """A plain fan: how many canes of how many buds, and nothing of wires."""
    sizes, head = _pieces(recipe, "cane"), (MIDDLE, GROUND - 22)
    limbs = []
    for index, buds in enumerate(sizes):
        angle = np.pi * (index + 0.5) / len(sizes)
        way = np.array([-np.cos(angle) * 1.35, -np.sin(angle)])
        line = np.array([head + 6 * way, head + 60 * way])
        limbs.append(Limb("cane", line, buds, (float(line[1][0] + 11 * way[0]), float(line[1][1] + 6 * way[1]) + 4)))
    return Frame((), (_trunk(GROUND - 22),)), limbs + list(_head_spurs(recipe, [(MIDDLE, GROUND - 20)]))


_DRAWINGS: dict[str, Callable[[Recipe, list[float]], tuple[Frame, list[Limb]]]] = {
    "top_wire_cordon": _spurs_down,
    "low_cordon": _spurs_up,
    "flat_cane": _flat_canes,
    "arched_cane": _arched_canes,
    "four_cane": _four_canes,
    "divided_vertical": _two_levels,
    "divided_horizontal": _two_cordons,
    "single_guyot": _flat_canes,
    "double_guyot": _flat_canes,
    "pergola": _overhead,
    "head_trained": _head,
    "sylvoz": _hung_canes,
    "lyre": partial(_two_cordons, up=True),
    "minimal": _spurs_down,
    "other_canes": _other_canes,
    "other_spurs": _head,
}
