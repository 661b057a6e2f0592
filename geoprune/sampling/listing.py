"""The weighing list of one block: how many places, which, in what order, and what that buys."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from geoprune.errors import DataError, Message, Problem
from geoprune.sampling.choosing import Chosen, choose_sites
from geoprune.sampling.counting import vines_for_error
from geoprune.sampling.model import VineModel
from geoprune.sampling.sites import Sites, apart_by, beside_ground, single_vines, whole_panels
from geoprune.sampling.walking import Walk, plan_walk
from geoprune.sampling.worth import MINUTES_PER_VINE, TARGETS, Effort, Work, Worth, effort_of, stops_within, weigh_worth
from geoprune.trellis import Trellis

Floats = NDArray[np.float64]
#: With fewer there is no map (`surface.FEWEST_FOR_MAP`): no list is shorter unless it is asked for.
FEWEST_STOPS = 15
#: A tenth of the mean, nine times in ten: what the usual 20-50 vines reach at a CV of 0.3-0.4 (design choice).
WITHIN = 0.10
#: More vines than these between two posts are no stop of one weighing (design choice: a bundle to lift and hang).
MOST_TOGETHER = 5
KINDS = ("auto", "vine", "panel")


@dataclass(frozen=True)
class SampleOptions:
    """Choices of a weighing list.

    within : wanted half-width of the 90 % interval of the block's mean vine size, as a share of it
    stops : places to weigh, whatever the error; None to find them from `within`
    together : "vine" single vines, "panel" all vines from post to post, "auto" whichever takes fewer hours
    minutes_per_vine : to cut, bundle and weigh
    seed : of the random design
    """

    within: float = WITHIN
    stops: int | None = None
    together: str = "auto"
    minutes_per_vine: float = MINUTES_PER_VINE
    seed: int = 0

    def __post_init__(self) -> None:
        if self.together not in KINDS:
            raise ValueError(f"together is one of {', '.join(KINDS)}")


@dataclass(frozen=True, eq=False)
class WeighList:
    """What is to be weighed in one block.

    Attributes
    ----------
    name : str
    table : GeoDataFrame
        A line for each place and each spare: order (of the walk; of a spare that of the place it stands for), row, vine,
        vines_weighed, first_vine, last_vine, spare_of (order, missing for a place itself), pair_with (order of the place
        it stands close to on purpose, missing otherwise), inclusion_probability (of a spread place, else NaN), geometry.
    together : str
        "vine" or "panel".
    needed : int
        Stops that the wanted error asks for of places at random.
    model, effort, worth, walk
        What was believed, what the list takes and buys, the curve around it, the round.
    rows : array of LineString
        All rows in their order, for a picture.
    remarks : tuple of Message
    """

    name: str
    table: gpd.GeoDataFrame
    together: str
    needed: int
    model: VineModel
    effort: Effort
    worth: Worth
    walk: Walk
    rows: NDArray[np.object_]
    remarks: tuple[Message, ...] = ()

    @property
    def stops(self) -> gpd.GeoDataFrame:
        """The places to weigh, in walking order."""
        return self.table[self.table["spare_of"].isna()]


def make_weigh_list(
    trellis: Trellis,
    model: VineModel,
    slope: float,
    *,
    block: str = "",
    options: SampleOptions | None = None,
    zones: NDArray[np.object_] | None = None,
    covariates: Mapping[str, NDArray] | None = None,
) -> WeighList:
    """Choose the places to weigh in one block.

    Parameters
    ----------
    trellis : Trellis
    model : VineModel
        What is believed of vine size.
    slope : float
        Buds per kilogram of vine size.
    block : str
        Name, for messages.
    options : SampleOptions, optional
    zones : (V,), optional
        A zone's name for every vine of the trellis: each zone gets its share of the places.
    covariates : mapping, optional
        Name -> values (V,) of a layer at every vine, numbers or words: its range is covered evenly.

    Raises
    ------
    DataError
        When fewer vines bear than a list needs.
    """
    chosen = options or SampleOptions()
    rng = np.random.default_rng(chosen.seed)
    ways = _ways(trellis, chosen.together, block)
    planned = []
    for name, sites in ways.items():
        further = _further(sites, zones, covariates)
        needed = vines_for_error(model.cv(round(float(sites.vines.mean()))), chosen.within, vines=len(sites))
        work = _work(trellis, sites, model, slope, chosen)
        spread = None
        if model.source == "earlier" and chosen.stops is None:  # a pattern that was seen may be counted on
            worth = weigh_worth(work, sites, further=further, seed=chosen.seed)
            spread = stops_within(worth, chosen.within * model.mean_kg * slope)
        stops = chosen.stops or max(min(needed, spread or needed), FEWEST_STOPS)
        picked = choose_sites(sites, stops, further=further, rng=rng)
        planned.append((effort_of(work, sites, picked.sites), name, sites, needed, picked, further, work))
    effort, name, sites, needed, picked, further, work = min(planned, key=lambda way: way[0].hours)
    walk = plan_walk(work.rows, sites.row[picked.sites], sites.point[picked.sites])
    worth = weigh_worth(work, sites, further=further, seed=chosen.seed)
    table = _table(trellis, sites, picked, walk)
    said = []
    if len(picked.sites) == len(sites) < FEWEST_STOPS and chosen.stops is None:
        said.append(Message("sampling.few_vines", {"stops": len(picked.sites), "needed": needed}))
    if chosen.stops and chosen.stops < FEWEST_STOPS:
        said.append(Message("sampling.no_map", {"stops": chosen.stops, "fewest": FEWEST_STOPS}))
    return WeighList(block, table, name, needed, model, effort, worth, walk, work.rows, tuple(said))


def _ways(trellis: Trellis, together: str, block: str) -> dict[str, Sites]:
    """What may be weighed at a stop, by the word for it."""
    ways = {}
    if together != "panel":
        ways["vine"] = single_vines(trellis)
    if together != "vine":
        panels = whole_panels(trellis)
        fit = len(panels) > 0 and int(panels.vines.max()) <= MOST_TOGETHER
        if fit and (together == "panel" or len(panels) >= 4 * FEWEST_STOPS):
            ways["panel"] = panels
    if not ways or not any(len(sites) >= 2 for sites in ways.values()):
        what = "fewer than two places can be weighed"
        raise DataError([Problem("", "vines", f"block '{block}'", what, "Check status, or weigh single vines")])
    return {name: sites for name, sites in ways.items() if len(sites) >= 2}


def _further(sites: Sites, zones: NDArray[np.object_] | None, covariates: Mapping[str, NDArray] | None) -> Floats | None:
    """Columns to spread the sample in besides the ground."""
    span = float(np.hypot(*np.ptp(sites.point, axis=0)))
    columns = [] if zones is None else [apart_by(zones[sites.vine_id], span)]
    for values in (covariates or {}).values():
        here = values[sites.vine_id]
        columns.append(apart_by(here, span) if here.dtype == object else beside_ground(here.astype(float), span))
    return np.hstack(columns) if columns else None


def _work(trellis: Trellis, sites: Sites, model: VineModel, slope: float, options: SampleOptions) -> Work:
    panels = trellis.panels
    held = panels["counted"].to_numpy()
    return Work(
        rows=np.asarray(trellis.rows.geometry.values),
        model=model,
        slope=slope,
        panel_vines=max(1.0, float(held[held > 0].mean())),
        population=float(sites.vines.sum()),
        targets=sites.point[:: max(1, len(sites) // TARGETS)],
        minutes_per_vine=options.minutes_per_vine,
    )


def _table(trellis: Trellis, sites: Sites, picked: Chosen, walk: Walk) -> gpd.GeoDataFrame:
    """Places in walking order, each followed by its spare."""
    count = len(picked.sites)
    order = np.empty(count, dtype=np.int64)
    order[walk.order] = np.arange(1, count + 1)
    pair = np.full(count, np.nan)
    pair[len(picked.spread) :] = order[picked.companion_of]
    chance = np.where(np.arange(count) < len(picked.spread), picked.chance, np.nan)
    spare = np.flatnonzero(picked.spare >= 0)
    site = np.concatenate([picked.sites, picked.spare[spare]])
    table = _lines(trellis, sites, site).assign(
        order=np.concatenate([order, order[spare]]),
        spare_of=pd.array([None] * count + order[spare].tolist(), dtype="Int64"),
        pair_with=pd.array([*pair, *np.full(len(spare), np.nan)], dtype="Float64").astype("Int64"),
        inclusion_probability=np.concatenate([chance, np.full(len(spare), np.nan)]),
    )
    table = table.assign(last=table["spare_of"].notna()).sort_values(["order", "last"], kind="stable")
    first = ["order", "row", "vine", "vines_weighed", "first_vine", "last_vine", "spare_of", "pair_with"]
    return table[[*first, "inclusion_probability", "geometry"]].reset_index(drop=True)


def _lines(trellis: Trellis, sites: Sites, site: NDArray[np.int64]) -> gpd.GeoDataFrame:
    vines = trellis.vines.iloc[sites.vine_id[site]]
    number, weighed = vines["vine"].to_numpy(), sites.vines[site]
    first = number - (weighed - 1) // 2
    plain = {"row": vines["row"].to_numpy(), "vine": number, "vines_weighed": weighed}
    plain |= {"first_vine": first, "last_vine": first + weighed - 1}
    return gpd.GeoDataFrame(plain, geometry=shapely.points(sites.point[site]), crs=trellis.vines.crs)
