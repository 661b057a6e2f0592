"""From tables to arrays: what was weighed, where, in which season, and which vines it makes known."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import NamedTuple

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.spatial.distance import pdist

from geoprune.errors import DataError, Message, Problem, Remark
from geoprune.geostat.design import spread_subset
from geoprune.layers import FEWEST_SAMPLES
from geoprune.trellis import Trellis

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]
FEWEST_OF_A_SEASON = 2
HEAVIEST_KG, LEAST_KG = 50.0, 1e-6
MOST_LISTED = 12
#: How far winters of one block may lie apart in strength (standard deviation of the log of their means; design choice).
WINTERS_APART = 0.3
#: Likeness of a vine to itself in another winter, believed beforehand as strongly as so many pairs tell it (design choice).
LASTING, LASTING_PAIRS = 0.5, 10
#: How far a vine's weight is drawn to what earlier winters said of it: half the usual share of vine-to-vine variance, which
#: is best where field and own part last alike.
DRAWN = 0.25


@dataclass(frozen=True)
class Observations:
    """Samples and vines of a block as arrays, metres about `centre`.

    taken (m,) which rows of the sample table are a reading; stands_for (m,) the row of the reading that a row went into: a
    vine weighed twice in a winter is one vine; place (n, 2); values (n,) kg a vine, of an earlier winter brought to the
    strength of the one that is mapped: `strength` (n,) times what was weighed; noise (n,) 1 / vines weighed, less for a
    vine that earlier winters tell of too; season (n,) years (0 = not given), target_season the newest; vine_id (n,),
    row (n,); levels (n, p) a level for each season, target_levels (p,); vines (V, 2), vine_row (V,), panel (V,), member
    (V,) the panel whose mean a vine belongs to (-1: not counted), known_kg (V,) weights of this season's weighed vines, NaN
    elsewhere.
    """

    centre: Floats
    taken: NDArray[np.bool_]
    stands_for: Integers
    place: Floats
    values: Floats
    strength: Floats
    noise: Floats
    season: Integers
    target_season: int
    vine_id: Integers
    row: Integers
    levels: Floats
    target_levels: Floats
    vines: Floats
    vine_row: Integers
    panel: Integers
    member: Integers
    known_kg: Floats
    remarks: tuple[Remark, ...]

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
        columns = ("place", "values", "strength", "noise", "season", "vine_id", "row", "levels")
        return replace(self, taken=taken, **{name: getattr(self, name)[chosen] for name in columns})

    @property
    def across_m(self) -> float:
        """Longest distance between two vines of the block."""
        hull = shapely.get_coordinates(shapely.convex_hull(shapely.multipoints(self.vines)))
        return float(pdist(hull).max(initial=0.0))


class _Readings(NamedTuple):
    """The weights that count, each vine once.

    taken, stands_for, fresh (m,) of the rows of the sample table: which are a reading, see `Observations`; which were
    weighed in the season that is mapped. values, strength, noise, season (n,) as in `Observations`.
    """

    taken: NDArray[np.bool_]
    stands_for: Integers
    fresh: NDArray[np.bool_]
    values: Floats
    strength: Floats
    noise: Floats
    season: Integers
    target_season: int


def gather(trellis: Trellis, samples: gpd.GeoDataFrame, *, block: str = "") -> Observations:
    """Turn placed samples and the trellis into arrays.

    Raises
    ------
    DataError
        With fewer than 5 usable vines, or weights that are no possible vine.
    """
    remarks: list[Remark] = []
    weight = samples["vine_weight_kg"].to_numpy(float)
    vine_id = samples["vine_id"].to_numpy(np.int64)
    weighed = np.maximum(samples["vines_weighed"].to_numpy(float), 1.0)
    _check(samples, weight, block)
    read = _read(samples, weight, weighed, trellis, remarks, block=block)
    taken, fresh = read.taken, read.fresh
    vines = shapely.get_coordinates(trellis.vines.geometry.values)
    centre = vines.mean(axis=0)
    vines = vines - centre
    levels, target_levels = _levels(read.season, read.target_season)
    panel = trellis.vines["panel_id"].to_numpy(np.int64)
    counted = trellis.vines["counted"].to_numpy(bool)
    empty = np.bincount(panel[counted], minlength=len(trellis.panels)) == 0
    vine_row = trellis.vines["row_order"].to_numpy(np.int64)
    return Observations(
        centre=centre,
        taken=taken,
        stands_for=read.stands_for,
        place=shapely.get_coordinates(samples.geometry.values)[taken] - centre,
        values=read.values,
        strength=read.strength,
        noise=read.noise,
        season=read.season,
        target_season=read.target_season,
        vine_id=vine_id[taken],
        row=vine_row[vine_id[taken]],
        levels=levels,
        target_levels=target_levels,
        vines=vines,
        vine_row=vine_row,
        panel=panel,
        member=np.where(counted | empty[panel], panel, -1),
        known_kg=_known(trellis, vine_id[fresh], weight[fresh], weighed[fresh].astype(int)),
        remarks=tuple(remarks),
    )


def _read(
    samples: gpd.GeoDataFrame, weight: Floats, weighed: Floats, trellis: Trellis, remarks: list[Remark], *, block: str
) -> _Readings:
    """Make readings of the samples: one for a vine, in the strength of the season that is mapped; adds to `remarks`."""
    vine_id = samples["vine_id"].to_numpy(np.int64)
    season, counted_in = _seasons(samples, samples["used"].to_numpy(bool), remarks)
    target = int(season[counted_in].max())
    fresh = counted_in & (season == target)
    _report_coincident(vine_id, season, fresh, trellis, remarks)
    stands_for = _one_a_vine(vine_id, season, counted_in)
    taken = counted_in & (stands_for == np.arange(len(samples)))
    _check_count(int(taken.sum()), block)
    values, most = _joined(weight, weighed, stands_for, taken)
    strength = _strength(values, 1.0 / most, season[taken], target)
    values, factor, stay = _weighed_again(values * strength, vine_id[taken], season[taken])
    if not stay.all():
        remarks.append(Remark("assumed", Message("surface.weighed_again", {"vines": int((factor < 1.0).sum())})))
    for year in np.unique(season[taken][stay]):
        left = stay & (season[taken] == year)
        stay &= ~left | (left.sum() >= FEWEST_OF_A_SEASON) | (year == target)
    taken[np.flatnonzero(taken)[~stay]] = False
    return _Readings(taken, stands_for, fresh, values[stay], strength[stay], (factor / most)[stay], season[taken], target)


def _check(samples: gpd.GeoDataFrame, weight: Floats, block: str) -> None:
    taken = samples["used"].to_numpy(bool)
    _check_count(int(taken.sum()), block)
    wrong = taken & ~((weight > 0.0) & (weight <= HEAVIEST_KG))
    mend = f"Give more than 0, at most {HEAVIEST_KG:g} kg"
    problems = [
        Problem("", "samples", f"row {s.source_row}", f"{s.vine_weight_kg:g} kg a vine", mend)
        for s in samples[wrong].itertuples()
    ]
    if problems:
        raise DataError(problems)


def _check_count(vines: int, block: str) -> None:
    if vines < FEWEST_SAMPLES:
        what = f"{vines} usable samples"
        raise DataError([Problem("", "samples", f"block '{block}'", what, f"Weigh at least {FEWEST_SAMPLES} vines")])


def _one_a_vine(vine_id: Integers, season: Integers, taken: NDArray[np.bool_]) -> Integers:
    """Row (m,) of the first weight of the same vine in the same winter; a row that does not count stands for itself."""
    key = np.where(taken, np.unique(np.stack([vine_id, season]), axis=1, return_inverse=True)[1].ravel(), -1)
    first = {int(k): i for i, k in reversed(list(enumerate(key))) if k >= 0}
    return np.array([first.get(int(k), i) for i, k in enumerate(key)], dtype=np.int64)


def _joined(weight: Floats, weighed: Floats, stands_for: Integers, taken: NDArray[np.bool_]) -> tuple[Floats, Floats]:
    """Mean weight (n,) of all that went into each reading, and the vines it is the mean of: those of its largest sample."""
    mine, most = stands_for, np.zeros_like(weighed)
    total = np.bincount(mine, weight * weighed, minlength=len(weight))
    np.maximum.at(most, mine, weighed)
    return (total / np.maximum(np.bincount(mine, weighed, minlength=len(weight)), 1.0))[taken], most[taken]


def _strength(values: Floats, noise: Floats, season: Integers, target: int) -> Floats:
    """Factor (n,) that brings the weights of an earlier winter to the strength of the one that is mapped.

    In a weaker winter vines are smaller and differ by less in proportion; a level alone would leave the differences of two
    winters unlike. The log of the ratio of means is drawn to 0 by how little it is known beside `WINTERS_APART`.
    """
    factor = np.ones(len(values))
    many = 1.0 / noise

    def mean_of(here: NDArray[np.bool_]) -> tuple[float, float]:
        mean = float(many[here] @ values[here] / many[here].sum())
        spread = float(many[here] @ np.square(values[here] - mean) / max(int(here.sum()) - 1, 1))
        return mean, spread / float(many[here].sum()) / mean**2

    now, unsure_now = mean_of(season == target)
    for year in np.unique(season[season != target]):
        then, unsure = mean_of(season == year)
        known = WINTERS_APART**2 / (WINTERS_APART**2 + unsure + unsure_now)
        factor[season == year] = np.exp(known * np.log(now / then))
    return factor


def _weighed_again(values: Floats, vine_id: Integers, season: Integers) -> tuple[Floats, Floats, NDArray[np.bool_]]:
    """Values (n,), factors of their noise, and which readings stay, where a vine was weighed in several winters.

    A vine's own part lasts in part, so its readings are not told apart as those of other vines are, and at one place they
    would pass for a short field. One reading stays for each vine, its newest, drawn by `DRAWN` to the mean of what earlier
    winters said of the vine beside their other vines. With likeness L between winters that leaves 1 - 2 w (1 - w) (1 - L)
    of the own part's variance, w = `DRAWN`. L is the correlation of the pairs, drawn to `LASTING`.
    """
    order = np.lexsort((season, vine_id))
    vine = vine_id[order]
    newest = np.append(vine[1:] != vine[:-1], True)
    older = np.flatnonzero(~newest)
    factor, stay, drawn = np.ones(len(values)), np.ones(len(values), dtype=bool), values.copy()
    if not len(older):
        return drawn, factor, stay
    level = values.copy()
    for year in np.unique(season):
        level[season == year] -= values[season == year].mean()
    before, after = level[order[older]], level[order[older + 1]]
    size = float(np.sqrt((before @ before) * (after @ after)))
    found = float(before @ after) / size if size > 0.0 else LASTING
    likeness = (len(older) * found + LASTING_PAIRS * LASTING) / (len(older) + LASTING_PAIRS)
    last = order[np.flatnonzero(newest)[np.searchsorted(np.flatnonzero(newest), older)]]  # the newest of each older's vine
    times, total = np.bincount(last, minlength=len(values)), np.bincount(last, before, minlength=len(values))
    again = times > 0
    drawn[again] += DRAWN * (total[again] / times[again] - level[again])
    factor[again] = 1.0 - 2.0 * DRAWN * (1.0 - DRAWN) * (1.0 - float(np.clip(likeness, 0.0, 1.0)))
    stay[order[older]] = False
    return np.maximum(drawn, LEAST_KG), factor, stay


def _seasons(
    samples: gpd.GeoDataFrame, used: NDArray[np.bool_], remarks: list[Remark]
) -> tuple[Integers, NDArray[np.bool_]]:
    """Season of each sample, one without a season the newest; which count: a season with a single sample says nothing."""
    taken = used.copy()
    dated = samples["season"].to_numpy(float) if "season" in samples else np.full(len(samples), np.nan)
    without = taken & ~np.isfinite(dated)
    newest = int(np.nanmax(dated[taken])) if np.isfinite(dated[taken]).any() else 0
    season = np.where(np.isfinite(dated), dated, newest).astype(np.int64)
    if newest and without.any():
        remarks.append(
            Remark("assumed", Message("surface.season_assumed", {"samples": int(without.sum()), "season": newest}))
        )
    for year in np.unique(season[taken]):
        alone = taken & (season == year)
        if alone.sum() < FEWEST_OF_A_SEASON and taken.sum() - alone.sum() >= FEWEST_SAMPLES:
            taken &= ~alone
            remarks.append(Remark("dropped", Message("surface.season_alone", {"season": int(year)})))
    return season, taken


def _report_coincident(
    vine_id: Integers, season: Integers, fresh: NDArray[np.bool_], trellis: Trellis, remarks: list[Remark]
) -> None:
    vines, times = np.unique(vine_id[fresh], return_counts=True)
    twice = vines[times > 1]
    if len(twice) > MOST_LISTED:
        remarks.append(Remark("assumed", Message("surface.many_weighed_twice", {"vines": len(twice)})))
        return
    for vine in twice:
        place = trellis.vines.iloc[int(vine)]
        remarks.append(
            Remark("assumed", Message("surface.weighed_twice", {"row": str(place["row"]), "vine": int(place["vine"])}))
        )


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
