"""A block's proposal: areas, each with what comes back most, vines, plants and goods to order, limits in print."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import ceil
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
from numpy.typing import NDArray

from geoprune.areas import geodesic_area_ha
from geoprune.errors import Message
from geoprune.replanting.areas import Area, gather_areas, ground_table, layers, row_length_m
from geoprune.replanting.clustering import Clustering, find_clusterings
from geoprune.replanting.prices import Prices
from geoprune.replanting.stand import Stand
from geoprune.replanting.worth import Task, Worth, weigh_up
from geoprune.rules import loss_notes, missing_share, sick_notes

Integers = NDArray[np.int64]

#: What may be done with an area. "leave" comes to nothing and is the measure of the others.
LEAVE, LAYER, SINGLE, SECTION = "leave", "layer", "single", "section"
#: Kinds of vine to replace, as `Task` counts them.
KINDS = ("gone", "weak", "sick")
#: Fewest and most vines that a trip of its own is asked to have, whatever the prices, and how many where single replants
#: bring nothing at these prices, but a section may (design choices).
FEWEST_VINES, MOST_VINES, USUAL_VINES = 2, 20, 4


@dataclass(frozen=True, eq=False)
class Choice:
    """An area, what may be done with it, and what each comes to.

    layered : the gaps into which a sound neighbour in the row can be layered
    tasks, worths : by option, without "leave"; best : the option of the largest mean net present value, "leave" when none
    comes back
    """

    area: Area
    layered: Integers
    tasks: Mapping[str, Task]
    worths: Mapping[str, Worth]
    best: str

    @property
    def task(self) -> Task:
        """The task of the best option; for "leave" an empty one."""
        return self.tasks.get(self.best, Task())

    @property
    def worth(self) -> Worth:
        """What the best option comes to; for "leave" what the least bad of the others would."""
        least_bad = max(self.worths, key=lambda name: float(self.worths[name].npv[1]))
        return self.worths[self.best if self.best in self.worths else least_bad]


@dataclass(frozen=True, eq=False)
class Proposal:
    """What is proposed for one block.

    choices : areas in order of what comes back, the scattered vines among them
    whole : the whole block pulled and planted anew, beside `together`: the sum of the proposals above
    smallest : vines that make a trip of their own worth while
    areas : one line per choice, geometry the ground; vines : every vine that is replaced or looked at
    orders : goods to order
    messages : limits in print, clustering, and what else is to be said of the block
    """

    stand: Stand
    prices: Prices
    choices: tuple[Choice, ...]
    whole: Worth
    whole_pays_more: bool
    smallest: int
    clusterings: tuple[Clustering, ...]
    messages: tuple[Message, ...]
    areas: gpd.GeoDataFrame
    vines: gpd.GeoDataFrame
    orders: dict[str, Any]


def propose(stand: Stand, prices: Prices, *, seed: int = 0) -> Proposal:
    """Gather a block's vines into areas and propose what to do with each.

    Parameters
    ----------
    stand : Stand
    prices : Prices
        Those of the block.
    seed : int
        Of the simulation and the permutation test.
    """
    smallest, kinds = smallest_trip(prices, seed=seed), paying_kinds(prices, seed=seed)
    areas = gather_areas(stand, stand.gone | stand.weak | stand.sick, smallest=smallest)
    choices = [_choose(stand, area, prices, kinds, seed) for area in areas]
    choices.sort(key=lambda choice: (choice.best == LEAVE, -float(choice.worth.npv[1])))
    whole = weigh_up(_whole_task(stand), prices, seed=seed)
    together = sum(float(choice.worth.npv[1]) for choice in choices if choice.best != LEAVE)
    clusterings = find_clusterings(stand, seed=seed)
    more = float(whole.npv[1]) > max(together, 0.0)
    return Proposal(
        stand,
        prices,
        tuple(choices),
        whole,
        more,
        smallest,
        clusterings,
        (*block_messages(stand, clusterings), *left_messages(stand, kinds)),
        _areas_table(stand, choices, prices),
        _vines_table(stand, choices, kinds),
        _orders(stand, choices, prices),
    )


def smallest_trip(prices: Prices, *, seed: int = 0) -> int:
    """Fewest single replants whose return pays for the visit; `USUAL_VINES` where one replant alone brings nothing."""
    alone = weigh_up(Task(gone=100, trip=False), prices, seed=seed)
    each = float(alone.npv[1]) / 100
    visit = prices.likely("visit_hours") * prices.likely("hour")
    if each <= 0:
        return USUAL_VINES
    return int(np.clip(ceil(visit / each), FEWEST_VINES, MOST_VINES))


def paying_kinds(prices: Prices, *, seed: int = 0) -> frozenset[str]:
    """Kinds of vine that bring more when they are replaced one by one than they cost, the trip apart."""
    worths = {kind: weigh_up(_of_kind(kind), prices, seed=seed) for kind in KINDS}
    return frozenset(kind for kind, worth in worths.items() if worth.npv[1] > 0)


def _of_kind(kind: str) -> Task:
    """A hundred vines of a kind, replaced one by one on the way."""
    counts: dict[str, Any] = {kind: 100}
    return Task(**counts, trip=False)


def left_messages(stand: Stand, kinds: frozenset[str]) -> tuple[Message, ...]:
    """Which kinds of vine are left, since one by one they bring less than they cost."""
    there = {"gone": stand.gone.any(), "weak": stand.weak.any(), "sick": stand.sick.any()}
    return tuple(Message(f"replant.left_{kind}") for kind in KINDS if there[kind] and kind not in kinds)


def block_messages(stand: Stand, clusterings: tuple[Clustering, ...]) -> tuple[Message, ...]:
    """Limits in print, each under its own cause, and whether trouble may be spreading."""
    positions, gone = len(stand.vines), int(stand.gone.sum())
    notes = [*loss_notes(missing_share(gone, positions)), *sick_notes(int(stand.sick.sum()), positions)]
    return (*notes, *(message for one in clusterings for message in one.messages))


def _choose(stand: Stand, area: Area, prices: Prices, kinds: frozenset[str], seed: int) -> Choice:
    layered = layers(stand, area.members)
    tasks = _tasks(stand, area, len(layered), prices, kinds)
    worths = {name: weigh_up(task, prices, seed=seed) for name, task in tasks.items()}
    best = max(worths, key=lambda name: float(worths[name].npv[1]))
    return Choice(area, layered, tasks, worths, best if worths[best].npv[1] > 0 else LEAVE)


def _tasks(stand: Stand, area: Area, layered: int, prices: Prices, kinds: frozenset[str]) -> dict[str, Task]:
    """The ways open to an area, `layered` of whose gaps can be layered.

    One by one only kinds that pay are replaced, or all of them where none would be.
    """
    gone, weak, sick = (int(mark[area.members].sum()) for mark in (stand.gone, stand.weak, stand.sick))
    count: dict[str, Any] = {"gone": gone, "weak": weak, "sick": sick}
    one_by_one = {kind: number for kind, number in count.items() if kind in kinds and number} or count
    paying = {kind: number for kind, number in one_by_one.items() if kind in kinds}
    trip = area.number > 0
    tasks = {SINGLE: Task(**one_by_one, trip=trip)}
    if layered and prices.whole("layering"):
        filled = gone if "gone" in kinds else layered
        tasks[LAYER] = Task(**{**paying, "gone": filled}, layered=layered, trip=trip)
    sound = len(area.span) - len(area.members)
    if trip and len(area.span) >= stand.vines_per_panel:  # a section is a panel at least
        tasks[SECTION] = Task(
            gone,
            weak,
            sick,
            sound,
            together=True,
            row_length_m=row_length_m(stand, area.span),
            panels=_panels(stand, len(area.span)),
        )
    return tasks


def _whole_task(stand: Stand) -> Task:
    gone, weak, sick, positions = (*(int(m.sum()) for m in (stand.gone, stand.weak, stand.sick)), len(stand.vines))
    length = row_length_m(stand, np.arange(positions))
    sound = positions - gone - weak - sick
    return Task(gone, weak, sick, sound, together=True, row_length_m=length, panels=_panels(stand, positions))


def _panels(stand: Stand, positions: int) -> int:
    return ceil(positions / max(stand.vines_per_panel, 1))


def _areas_table(stand: Stand, choices: list[Choice], prices: Prices) -> gpd.GeoDataFrame:
    ground = ground_table(stand, [choice.area for choice in choices]).set_index("area").geometry
    lines = [_area_line(stand, choice, place) for place, choice in enumerate(choices, start=1)]
    table = pd.DataFrame(lines, columns=list(AREA_COLUMNS))
    shapes = [ground.get(choice.area.number) for choice in choices]
    found = gpd.GeoDataFrame(table, geometry=gpd.GeoSeries(shapes, crs=stand.vines.crs), crs=stand.vines.crs)
    located = found.geometry.notna()
    found.loc[located, "area_ha"] = geodesic_area_ha(found.geometry[located])
    found["currency"] = prices.text("currency")
    return found


AREA_COLUMNS = (
    *("block", "order", "area", "option", "first_row", "last_row", "missing_or_dead", "weak", "diseased"),
    *("replaced", "pulled_sound", "layers", "plants", "row_length_m", "cost"),
    *("npv", "npv_low", "npv_high"),
    *("pays_share", "payback_years", "payback_low", "payback_high"),
    *("npv_layer", "npv_single", "npv_section", "area_ha"),
)


def _area_line(stand: Stand, choice: Choice, place: int) -> dict[str, Any]:
    area, task, worth = choice.area, choice.task, choice.worth
    rows = stand.vines["row"].to_numpy()[area.members]
    marks = (int(mark[area.members].sum()) for mark in (stand.gone, stand.weak, stand.sick))
    line = dict(zip(("missing_or_dead", "weak", "diseased"), marks, strict=True))
    return {
        "block": stand.block,
        "order": place,
        "area": area.number,
        "option": choice.best,
        "first_row": str(rows[0]),
        "last_row": str(rows[-1]),
        **line,
        "replaced": task.replaced,
        "pulled_sound": task.sound,
        "layers": task.layered,
        "plants": task.planted,
        "row_length_m": row_length_m(stand, area.span),
        "cost": float(worth.cost[1]),
        **dict(zip(("npv_low", "npv", "npv_high"), worth.npv.tolist(), strict=True)),
        "pays_share": worth.pays,
        **dict(zip(("payback_low", "payback_years", "payback_high"), worth.payback_years.tolist(), strict=True)),
        **{
            f"npv_{name}": float(choice.worths[name].npv[1]) if name in choice.worths else np.nan
            for name in (LAYER, SINGLE, SECTION)
        },
        "area_ha": np.nan,
    }


def _vines_table(stand: Stand, choices: list[Choice], kinds: frozenset[str]) -> gpd.GeoDataFrame:
    """Every vine of an area, in order of rows: what it is, and what is done with it."""
    parts = []
    for choice in choices:
        area = choice.area
        places = area.span if choice.best == SECTION else area.members
        here = stand.vines.iloc[places][["row", "row_order", "vine", "status", "geometry"]].copy()
        here["status"] = np.where(stand.weak[places], "weak", here["status"])
        here.insert(0, "block", stand.block)
        here["area"] = area.number
        here["work"] = _work(stand, choice, places, kinds)
        parts.append(here)
    if not parts:
        columns = ["block", "row", "row_order", "vine", "status", "area", "work"]
        return gpd.GeoDataFrame({name: pd.Series(dtype=object) for name in columns}, geometry=[], crs=stand.vines.crs)
    table = pd.concat(parts).sort_values(["row_order", "vine"]).reset_index(drop=True)
    return gpd.GeoDataFrame(table, geometry="geometry", crs=stand.vines.crs)


def _work(stand: Stand, choice: Choice, places: Integers, kinds: frozenset[str]) -> NDArray[np.object_]:
    """What is done with each vine: "leave", "layer", "plant" (a gap), "replace" (pull, then plant)."""
    if choice.best == LEAVE:
        return np.full(len(places), LEAVE, dtype=object)
    work = np.where(stand.gone[places], "plant", "replace").astype(object)
    if choice.best != SECTION:
        for kind in set(KINDS) - kinds:
            work[getattr(stand, kind)[places]] = LEAVE
    if choice.best == LAYER:
        work[np.isin(places, choice.layered)] = LAYER
    return work


def _orders(stand: Stand, choices: list[Choice], prices: Prices) -> dict[str, Any]:
    tasks = [choice.task for choice in choices]
    planted = sum(task.planted for task in tasks)
    renewed = prices.likely("trellis_renewed")
    spare = ceil(planted * prices.likely("overage_percent") / 100 - 1e-9)
    posts = ceil(renewed * sum(task.panels for task in tasks) - 1e-9)
    wire = renewed * prices.whole("wires") * sum(task.row_length_m for task in tasks)
    return {
        "block": stand.block,
        "variety": stand.variety,
        "rootstock": prices.text("rootstock") or stand.rootstock,
        "plants": planted,
        "spare": spare,
        "to_order": planted + spare,
        "layers": sum(task.layered for task in tasks),
        "stakes": planted,
        "guards": planted,
        "posts": posts,
        "wire_m": float(ceil(wire)),
    }
