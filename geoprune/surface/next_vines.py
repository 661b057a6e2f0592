"""Which further vines to weigh, and what more weighing would buy."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cho_factor, cho_solve
from scipy.spatial.distance import cdist

from geoprune.geostat import AveragedKriging, LocalKriging, correlation
from geoprune.geostat.covariance import distances
from geoprune.surface.result import MoreWeighed, Surface
from geoprune.trellis import Trellis

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]
Need = Callable[[Floats], Floats]
MORE = (10, 20, 40)
CANDIDATES, TARGETS, NODES = 300, 300, 6
MEAN_ABSOLUTE = np.sqrt(2.0 / np.pi)  # of a standard normal


@dataclass(frozen=True)
class NextVines:
    """vines : stop (walking order), row, vine, gain_buds, geometry; weigh_more : misfit after 0, 10, 20, 40 more."""

    vines: gpd.GeoDataFrame
    weigh_more: tuple[MoreWeighed, ...]


def next_vines(surface: Surface, trellis: Trellis, need: Need, *, count: int = 10) -> NextVines:
    """Choose the vines whose weights would lower the expected misfit most, one after the other.

    The misfit is that of the rule's number for a panel's estimated size against the rule's number for a vine that stands
    there: slope x sqrt(2/pi) x sqrt(variance of the panel's estimate + vine-to-vine variance), in buds per vine. A
    weight lowers the variance by kriging, whatever it reads; what it would teach about range and nugget is not counted.
    Where there is no map, for want of weights, each vine is the one farthest from all weighed and chosen; its gain is
    not known.

    Parameters
    ----------
    surface, trellis : of one block
    need : kg (P, k) -> buds
    count : vines proposed
    """
    vines = surface.support.points
    able = np.flatnonzero((surface.groups >= 0) & ~np.isin(np.arange(len(vines)), surface.weighed))
    candidates = spread_out(vines, able, CANDIDATES)
    if surface.kriging is None:
        pick = candidates[farthest(vines[candidates], vines[surface.weighed], count)]
        return NextVines(_stops(trellis, pick, np.full(len(pick), np.nan)), ())
    targets = spread_out(vines, np.flatnonzero(surface.groups >= 0), TARGETS)
    size = surface.panels["vine_size_kg"].to_numpy()
    slope = (_slope(need, size) * surface.support.shape.stretch(np.nan_to_num(size)))[surface.groups[targets]]
    chosen, misfit = design_more(surface, candidates, targets, slope, max(count, *MORE))
    gain = -np.diff(misfit)
    after_more = tuple(MoreWeighed(k, float(misfit[k])) for k in (0, *MORE) if k < len(misfit))
    return NextVines(_stops(trellis, candidates[chosen[:count]], gain[:count]), after_more)


def _stops(trellis: Trellis, pick: Integers, gain: Floats) -> gpd.GeoDataFrame:
    """The vines chosen as a table in walking order."""
    table = trellis.vines.iloc[pick][["row", "vine", "geometry"]].assign(gain_buds=gain)
    table = table.iloc[walking_order(trellis, pick)].reset_index(drop=True)
    table.insert(0, "stop", np.arange(1, len(table) + 1))
    return table[["stop", "row", "vine", "gain_buds", "geometry"]]


def farthest(points: Floats, taken: Floats, count: int) -> Integers:
    """Positions of up to `count` points, each the one farthest from those taken and chosen before it."""
    distance = cdist(points, taken).min(axis=1, initial=np.inf)
    chosen: list[int] = []
    for _ in range(min(count, len(points))):
        chosen.append(int(distance.argmax()))
        distance = np.minimum(distance, np.hypot(*(points - points[chosen[-1]]).T))
    return np.array(chosen, dtype=np.int64)


def spread_out(points: Floats, able: Integers, most: int) -> Integers:
    """At most about `most` of the `able` points, one near the middle of each cell of a square grid."""
    if len(able) <= most:
        return able
    place = points[able]
    low, high = place.min(axis=0), place.max(axis=0)
    cell = np.sqrt(np.prod(np.maximum(high - low, 1.0)) / most)
    at = np.floor((place - low) / cell)
    off = np.hypot(*((place - low) / cell - at - 0.5).T)
    key = (at[:, 0] * (at[:, 1].max() + 1) + at[:, 1]).astype(np.int64)
    order = np.lexsort((off, key))
    first = np.r_[True, np.diff(key[order]) > 0]
    return able[np.sort(order[first])]


def walking_order(trellis: Trellis, vine_ids: Integers) -> Integers:
    """Order in which to walk: row by row, to and fro."""
    rows = trellis.vines["row_order"].to_numpy()[vine_ids]
    along = trellis.vines["vine"].to_numpy()[vine_ids].astype(float)
    return np.lexsort((np.where(rows % 2 == 1, -along, along), rows))


def _slope(need: Need, size_kg: Floats) -> Floats:
    """Buds for each further kilogram at each panel's size."""
    size = np.nan_to_num(size_kg, nan=float(np.nanmean(size_kg)))
    step = 0.05 * max(float(size.mean()), 1e-3)
    sides = need(np.column_stack([np.maximum(size - step, 0.0), size + step]))
    return (sides[:, 1] - sides[:, 0]) / (2.0 * step)


def design_more(
    surface: Surface, candidates: Integers, targets: Integers, slope: Floats, count: int
) -> tuple[list[int], Floats]:
    """Greedy choice among candidates, and the misfit before the first and after each.

    candidates (c,), targets (t,) are vines, slope (t,) buds for a unit of the model at the targets. The most likely
    nodes of the mixture stand for all; with the nearest samples only there is one. Each weight is a rank-one change of
    the conditional covariances.
    """
    fit = surface.kriging
    assert fit is not None
    both = np.concatenate([targets, candidates])
    if isinstance(fit, LocalKriging):
        weight = np.ones(1)
        lefts = [(fit.error_covariance(surface.support.points[both]), fit.nugget)]
    else:
        order = np.argsort(fit.weights)[::-1][:NODES]
        weight = fit.weights[order] / fit.weights[order].sum()
        lefts = [(_left(fit, surface, int(k), both), fit.nodes[k].nugget) for k in order]
    parts = [Left.split(left, nugget, len(targets)) for left, nugget in lefts]
    chosen: list[int] = []
    misfit = [_misfit(weight, parts, slope)]
    buds = MEAN_ABSOLUTE * np.abs(slope) / len(slope)
    while len(chosen) < min(count, len(candidates)):
        some = _worth_a_look(weight, parts, buds, chosen)
        total = np.zeros(len(some))
        for w, part in zip(weight, parts, strict=True):
            total += w * (buds @ part.spread_after(some))
        chosen.append(int(some[total.argmin()]))
        for part in parts:
            part.weigh(chosen[-1])
        misfit.append(_misfit(weight, parts, slope))
    return chosen, np.array(misfit)


@dataclass
class Left:
    """Covariances that are left at one node, of targets (t,) and candidates (c,), as candidates are weighed.

    cross (t, c) targets with candidates; own (c,), variance (t,) their own; among (c, c) candidates with candidates before
    any of them was weighed; weighed: the covariances (c,) with each that was, and its variance as a reading.
    """

    cross: Floats
    own: Floats
    variance: Floats
    nugget: float
    among: Floats
    weighed: list[tuple[Floats, float]]

    @classmethod
    def split(cls, left: Floats, nugget: float, t: int) -> Left:
        """Of the covariances left of t targets, then candidates."""
        return cls(left[:t, t:].copy(), np.diag(left)[t:].copy(), np.diag(left)[:t].copy(), nugget, left[t:, t:], [])

    def spread_after(self, some: Integers) -> Floats:
        """Standard deviation (t, s) of a vine at each target once one of some candidates (s,) is weighed as well."""
        left = np.square(self.cross[:, some])
        left /= -(self.own[some] + self.nugget)
        left += self.variance[:, None]
        np.maximum(left, 0.0, out=left)
        left += self.nugget
        return np.sqrt(left, out=left)

    def gains(self, buds: Floats) -> tuple[Floats, float]:
        """Buds (c,) that no candidate saves more than, and the least share of them that each saves.

        With u the share of a target's variance that a weight takes away, 1 - sqrt(1 - u) lies between u / 2 and u times its
        value at the greatest u.
        """
        total = np.maximum(self.variance, 0.0) + self.nugget
        taken = np.square(self.cross)
        reading = self.own + self.nugget
        most = min(float((taken.max(axis=1) / total).max() / reading.min()), 1.0)
        steepest = 1.0 if most == 0.0 else (1.0 - np.sqrt(1.0 - most)) / most
        return steepest * (buds / np.sqrt(total)) @ taken / reading, 0.5 / steepest

    def weigh(self, best: int) -> None:
        """Weigh a candidate."""
        side = self.among[:, best].copy()  # only this column of what is left among candidates is ever needed
        for before, scale in self.weighed:
            side -= before * before[best] / scale
        down, scale = self.cross[:, best].copy(), float(self.own[best] + self.nugget)
        self.variance -= np.square(down) / scale
        taken = np.multiply.outer(down, side)
        taken /= scale
        self.cross -= taken
        self.own -= np.square(side) / scale
        self.weighed.append((side, scale))


def _worth_a_look(weight: Floats, parts: list[Left], buds: Floats, chosen: list[int]) -> Integers:
    """Candidates that may be the best: those that cannot save as much as another surely does are left out."""
    open_to = np.full(len(parts[0].own), True)
    open_to[chosen] = False
    if min(part.nugget for part in parts) <= 0.0:
        return np.flatnonzero(open_to)
    bounds = [part.gains(buds) for part in parts]
    most = np.sum([w * gain for w, (gain, _) in zip(weight, bounds, strict=True)], axis=0)
    least = np.sum([w * gain * share for w, (gain, share) in zip(weight, bounds, strict=True)], axis=0)
    return np.flatnonzero(open_to & (most >= least[open_to].max() * (1.0 - 1e-9)))


def _misfit(weight: Floats, parts: list[Left], slope: Floats) -> float:
    found = [np.mean(np.abs(slope) * np.sqrt(np.maximum(part.variance, 0.0) + part.nugget)) for part in parts]
    return float(MEAN_ABSOLUTE * (weight @ np.array(found)))


def _left(fit: AveragedKriging, surface: Surface, node: int, both: Integers) -> Floats:
    """Covariances of the field at vines `both` that are left after the samples, at one node."""
    design, chosen = fit.design, fit.nodes[node]
    place = design.locate(surface.support.points[both])
    reach = design.sharing_target(chosen.persistent_share)

    rows = np.full(len(both), -1) if surface.support.row is None else surface.support.row[both]

    def field(a: Floats, b: Floats, row_a: Integers, row_b: Integers) -> Floats:
        same = (row_a[:, None] == row_b[None, :]) & (row_a >= 0)[:, None]
        return chosen.sill * correlation(distances(a, b), chosen.range_m, design.model) + chosen.row_variance * same

    covariance = field(design.place, design.place, design.row, design.row) * design.sharing(chosen.persistent_share)
    covariance[np.diag_indices_from(covariance)] += chosen.nugget * design.noise + 1e-12 * (chosen.sill + chosen.nugget)
    factor = cho_factor(covariance, lower=True)
    cross = field(design.place, place, design.row, rows) * reach[:, None]
    solved, basis = cho_solve(factor, cross), cho_solve(factor, design.drift)
    lack = surface.support.drift[both] - cross.T @ basis
    normal = np.linalg.inv(design.drift.T @ basis)
    return np.asarray(field(place, place, rows, rows) - cross.T @ solved + lack @ normal @ lack.T)
