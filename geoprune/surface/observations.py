"""From tables to arrays: what was weighed, where, in which season, and which vines it makes known."""

from __future__ import annotations

from dataclasses import dataclass, replace

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.spatial.distance import pdist

from geoprune.errors import DataError, Message, Problem
from geoprune.geostat.design import spread_subset
from geoprune.layers import FEWEST_SAMPLES
from geoprune.trellis import Trellis

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]
FEWEST_OF_A_SEASON = 2
HEAVIEST_KG = 50.0
MOST_LISTED = 12


@dataclass(frozen=True)
class Observations:
    """Samples and vines of a block as arrays, metres about `centre`.

    taken (m,) which rows of the sample table count; place (n, 2), values (n,) kg a vine, noise (n,) 1 / vines weighed,
    season (n,) years (0 = not given), target_season the newest, vine_id (n,), row (n,);
    levels (n, p) a level for each season, target_levels (p,); vines (V, 2), panel (V,), member (V,) the panel whose
    mean a vine belongs to (-1: not counted), known_kg (V,) weights of this season's weighed vines, NaN elsewhere.
    """

    centre: Floats
    taken: NDArray[np.bool_]
    place: Floats
    values: Floats
    noise: Floats
    season: Integers
    target_season: int
    vine_id: Integers
    row: Integers
    levels: Floats
    target_levels: Floats
    vines: Floats
    panel: Integers
    member: Integers
    known_kg: Floats
    remarks: tuple[Message, ...]

    @property
    def seasons(self) -> list[int]:
        """Seasons with samples, oldest first; none where none was given."""
        return [int(s) for s in np.unique(self.season) if s]

    @property
    def now(self) -> NDArray[np.bool_]:
        """Which samples are of the season that is mapped (n,)."""
        return self.season == self.target_season

    def thinned(self, most: int) -> Integers:
        """Positions of at most `most` samples: seasons alike as far as they go, close pairs and far ones of each."""
        if len(self.values) <= most:
            return np.arange(len(self.values))
        order = np.lexsort((self.values, self.vine_id))  # so that the table's order does not matter
        seasons, sizes = np.unique(self.season, return_counts=True)
        chosen: list[Integers] = []
        for k, season in enumerate(seasons[np.argsort(sizes, kind="stable")]):
            room = (most - sum(map(len, chosen))) // (len(seasons) - k)
            members = order[self.season[order] == season]
            chosen.append(members[spread_subset(self.place[members], room)])
        return np.sort(np.concatenate(chosen))

    def part(self, chosen: Integers) -> Observations:
        """The same block with the samples at some positions only."""
        taken = np.zeros_like(self.taken)
        taken[np.flatnonzero(self.taken)[chosen]] = True
        columns = ("place", "values", "noise", "season", "vine_id", "row", "levels")
        return replace(self, taken=taken, **{name: getattr(self, name)[chosen] for name in columns})

    @property
    def across_m(self) -> float:
        """Longest distance between two vines of the block."""
        hull = shapely.get_coordinates(shapely.convex_hull(shapely.multipoints(self.vines)))
        return float(pdist(hull).max(initial=0.0))


def gather(trellis: Trellis, samples: gpd.GeoDataFrame, *, block: str = "") -> Observations:
    """Turn placed samples and the trellis into arrays.

    Raises
    ------
    DataError
        With fewer than 5 usable samples, or weights that are no possible vine.
    """
    remarks: list[Message] = []
    used = samples["used"].to_numpy(bool)
    weight = samples["vine_weight_kg"].to_numpy(float)
    _check(samples, used, weight, block)
    season, taken = _seasons(samples, used, remarks)
    vine_id = samples["vine_id"].to_numpy(np.int64)
    target = int(season[taken].max())
    _report_coincident(vine_id, season, taken & (season == target), trellis, remarks)
    vines = shapely.get_coordinates(trellis.vines.geometry.values)
    centre = vines.mean(axis=0)
    vines = vines - centre
    levels, target_levels = _levels(season[taken], target)
    panel = trellis.vines["panel_id"].to_numpy(np.int64)
    counted = trellis.vines["counted"].to_numpy(bool)
    empty = np.bincount(panel[counted], minlength=len(trellis.panels)) == 0
    weighed = np.maximum(samples["vines_weighed"].to_numpy(float), 1.0)
    fresh = taken & (season == target)
    return Observations(
        centre=centre,
        taken=taken,
        place=shapely.get_coordinates(samples.geometry.values)[taken] - centre,
        values=weight[taken],
        noise=1.0 / weighed[taken],
        season=season[taken],
        target_season=target,
        vine_id=vine_id[taken],
        row=trellis.vines["row_order"].to_numpy(np.int64)[vine_id[taken]],
        levels=levels,
        target_levels=target_levels,
        vines=vines,
        panel=panel,
        member=np.where(counted | empty[panel], panel, -1),
        known_kg=_known(trellis, vine_id[fresh], weight[fresh], weighed[fresh].astype(int)),
        remarks=tuple(remarks),
    )


def _check(samples: gpd.GeoDataFrame, taken: NDArray[np.bool_], weight: Floats, block: str) -> None:
    if taken.sum() < FEWEST_SAMPLES:
        what = f"{int(taken.sum())} usable samples"
        raise DataError([Problem("", "samples", f"block '{block}'", what, f"Weigh at least {FEWEST_SAMPLES} vines")])
    wrong = taken & ~((weight > 0.0) & (weight <= HEAVIEST_KG))
    mend = f"Give more than 0, at most {HEAVIEST_KG:g} kg"
    problems = [
        Problem("", "samples", f"row {s.source_row}", f"{s.vine_weight_kg:g} kg a vine", mend)
        for s in samples[wrong].itertuples()
    ]
    if problems:
        raise DataError(problems)


def _seasons(
    samples: gpd.GeoDataFrame, used: NDArray[np.bool_], remarks: list[Message]
) -> tuple[Integers, NDArray[np.bool_]]:
    """Season of each sample, one without a season the newest; which count: a season with a single sample says nothing."""
    taken = used.copy()
    dated = samples["season"].to_numpy(float) if "season" in samples else np.full(len(samples), np.nan)
    without = taken & ~np.isfinite(dated)
    newest = int(np.nanmax(dated[taken])) if np.isfinite(dated[taken]).any() else 0
    season = np.where(np.isfinite(dated), dated, newest).astype(np.int64)
    if newest and without.any():
        remarks.append(Message("surface.season_assumed", {"samples": int(without.sum()), "season": newest}))
    for year in np.unique(season[taken]):
        alone = taken & (season == year)
        if alone.sum() < FEWEST_OF_A_SEASON and taken.sum() - alone.sum() >= FEWEST_SAMPLES:
            taken &= ~alone
            remarks.append(Message("surface.season_alone", {"season": int(year)}))
    return season, taken


def _report_coincident(
    vine_id: Integers, season: Integers, fresh: NDArray[np.bool_], trellis: Trellis, remarks: list[Message]
) -> None:
    vines, times = np.unique(vine_id[fresh], return_counts=True)
    twice = vines[times > 1]
    if len(twice) > MOST_LISTED:
        remarks.append(Message("surface.many_weighed_twice", {"vines": len(twice)}))
        return
    for vine in twice:
        place = trellis.vines.iloc[int(vine)]
        remarks.append(Message("surface.weighed_twice", {"row": str(place["row"]), "vine": int(place["vine"])}))


def _levels(season: Integers, target: int) -> tuple[Floats, Floats]:
    """A level for the season that is mapped, and for each other season how far it stands from that."""
    others = [year for year in np.unique(season) if year != target]
    columns = [np.ones(len(season)), *[(season == year).astype(float) for year in others]]
    return np.column_stack(columns), np.eye(len(columns))[0]


def _known(trellis: Trellis, vine_id: Integers, weight: Floats, weighed: Integers) -> Floats:
    """Weight of every vine that was weighed (V,), NaN elsewhere; a sample of several vines gives each their mean."""
    order = trellis.vines["row_order"].to_numpy()
    first_of_row = np.searchsorted(order, order[vine_id], side="left")
    last_of_row = np.searchsorted(order, order[vine_id], side="right") - 1
    start = np.clip(vine_id - weighed // 2, first_of_row, np.maximum(last_of_row - weighed + 1, first_of_row))
    total, times = np.zeros(len(order)), np.zeros(len(order))
    for k in range(int(weighed.max(initial=0))):
        here = (k < weighed) & (start + k <= last_of_row)
        np.add.at(total, start[here] + k, weight[here])
        np.add.at(times, start[here] + k, 1.0)
    return np.where(times > 0, total / np.maximum(times, 1.0), np.nan)


def row_bearing(trellis: Trellis) -> float:
    """Direction of the rows, degrees clockwise from north in 0-180, longer rows counting more."""
    lines = trellis.rows.geometry.values
    ends = shapely.get_coordinates(
        shapely.line_interpolate_point(np.repeat(lines, 2), np.tile([0.0, 1.0], len(lines)), normalized=True)
    )
    along = ends[1::2] - ends[::2]
    doubled = np.sum((along[:, 1] + 1j * along[:, 0]) ** 2 / np.maximum(np.hypot(*along.T), 1e-9))
    return float(np.rad2deg(np.angle(doubled) / 2.0) % 180.0)
