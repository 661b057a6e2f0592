"""More than 3,000 samples: kriging from the nearest of them, with one set of parameters.

Parameters come from the averaged REML surface of a subset that holds close pairs as well as far ones; each target is
predicted from its nearest samples, which screen off the others (Stein 2002, Ann. Stat. 30:298-323, on the screening
effect). Memory does not grow with the number of samples times targets.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from scipy.sparse import csr_matrix
from scipy.spatial import cKDTree

from geoprune.geostat.averaging import AveragedKriging, fit_averaged
from geoprune.geostat.covariance import Anisotropy, Floats, correlation, distances
from geoprune.geostat.design import Design, Integers, make_design, spread_subset
from geoprune.geostat.forms import chunks
from geoprune.geostat.groups import Groups, make_groups, within_averages
from geoprune.geostat.kriging import check_target, honour
from geoprune.geostat.simulation import GroupDraws, drift_spread, random_fields
from geoprune.threads import run_parts, single_blas

EXACT_SAMPLES = 3000
NEIGHBOURS = 48
SUBSET = 600
BATCH_DOUBLES = 2**19
#: A group of up to so many points is kriged at once when its centre's nearest samples cover it.
ONE_GROUP = 64


@dataclass(frozen=True)
class LocalKriging:
    """Kriging from the `neighbours` nearest samples, with a mean of their own.

    design : the readings; the first column of its drift is ones
    trend (p - 1,) : coefficients of the other columns, taken as known and subtracted
    sill, nugget, range_m, persistent : covariance, as in `AveragedKriging`
    neighbours : with several seasons half of them are of the target season, as far as there are any
    learned : the fit that the parameters come from, None where they were given
    """

    design: Design
    trend: Floats
    sill: float
    nugget: float
    range_m: float
    persistent: float = 1.0
    neighbours: int = NEIGHBOURS
    learned: AveragedKriging | None = None
    _trees: tuple[tuple[Integers, cKDTree], ...] = field(init=False, repr=False)
    _residual: Floats = field(init=False, repr=False)

    def __post_init__(self) -> None:
        now = self.design.season == self.design.target_season
        members = [np.flatnonzero(part) for part in (now, ~now) if part.any()]
        object.__setattr__(self, "_trees", tuple((m, cKDTree(self.design.place[m])) for m in members))
        object.__setattr__(self, "_residual", self.design.values - self.design.drift[:, 1:] @ self.trend)

    def _known(self, drift: Floats | None, count: int) -> Floats:
        return np.zeros(count) if drift is None else np.asarray(drift, dtype=float)[:, 1:] @ self.trend

    def _nearest(self, place: Floats, count: int) -> Integers:
        """Samples near each place (m, count): the nearest of the target season, then the nearest of the others."""
        sizes = [len(members) for members, _ in self._trees]
        first = min(sizes[0], count if len(sizes) == 1 else max(-(-count // 2), count - sizes[-1]))
        wanted = [first, min(count - first, sizes[-1])][: len(sizes)]
        found = [
            members[tree.query(place, k=k)[1].reshape(len(place), k)]
            for (members, tree), k in zip(self._trees, wanted, strict=True)
            if k
        ]
        return np.hstack(found)

    def _field(self, one: Floats, other: Floats) -> Floats:
        """Covariance (..., m) of the field between places (..., 2) that broadcast."""
        offset = one - other
        return self.sill * correlation(np.hypot(offset[..., 0], offset[..., 1]), self.range_m, self.design.model)

    def _sharing(self, one: Integers, other: Integers | int) -> Floats | float:
        return np.where(one == other, 1.0, self.persistent) if self.design.has_seasons else 1.0

    def _parts(self, count: int) -> list[slice]:
        step = max(1, BATCH_DOUBLES // min(self.neighbours, len(self.design.values)) ** 2)
        return [slice(start, min(start + step, count)) for start in range(0, count, step)]

    def _weigh(self, index: Integers, cross: Floats, own: Floats | float) -> tuple[Floats, Floats]:
        """Ordinary kriging weights (c, k) and variances (c,) of targets from samples index (c, k).

        cross (c, k) covariances with the samples, own the variance of the targets.
        """
        place, season = self.design.place[index], self.design.season[index]
        covariance = self._field(place[:, :, None, :], place[:, None, :, :])
        covariance *= self._sharing(season[:, :, None], season[:, None, :])
        diagonal = np.arange(index.shape[1])
        covariance[:, diagonal, diagonal] += self.nugget * self.design.noise[index]
        solved = np.linalg.solve(covariance, np.stack([cross, np.ones_like(cross)], axis=2))
        normal, lack = solved[:, :, 1].sum(axis=1), 1.0 - solved[:, :, 0].sum(axis=1)
        weights = solved[:, :, 0] + (lack / normal)[:, None] * solved[:, :, 1]
        variance = own - np.einsum("ck,ck->c", cross, solved[:, :, 0]) + lack**2 / normal
        return weights, np.maximum(variance, 0.0)

    def _near(self, place: Floats) -> tuple[Integers, Floats, Floats]:
        """Samples (m, k), their weights (m, k) and the field's variance (m,) at a few places (m, 2)."""
        index = self._nearest(place, self.neighbours)
        cross = self._field(place[:, None, :], self.design.place[index])
        cross *= self._sharing(self.design.season[index], self.design.target_season)
        return index, *self._weigh(index, cross, self.sill)

    def _at(self, place: Floats) -> tuple[Integers, Floats, Floats]:
        """`_near` of any number of places, in parts."""
        parts = run_parts(lambda part: self._near(place[part]), self._parts(len(place)))
        index, weights, variance = (np.concatenate([part[i] for part in parts]) for i in range(3))
        return index, weights, variance

    @single_blas()
    def predict(
        self, targets: Floats, drift: Floats | None = None, *, target: str = "signal", threads: int | None = None
    ) -> tuple[Floats, Floats]:
        """Mean and variance (m,) at points (m, 2); drift (m, p), needed when there is a trend; target as in `Kriging`."""
        check_target(target)
        place = self.design.locate(targets)
        mean, variance = self._known(drift, len(place)), np.full(len(place), 0.0 if target == "signal" else self.nugget)

        def work(part: slice) -> None:
            index, weights, left = self._near(place[part])
            mean[part] += np.einsum("mk,mk->m", weights, self._residual[index])
            variance[part] += left

        run_parts(work, self._parts(len(place)), threads=threads)
        if target == "exact":
            members, tree = self._trees[0]
            now = self.design.place[members]
            same = np.flatnonzero((now[tree.query(place)[1]] == place).all(axis=1))
            kept, none = mean[same], variance[same]
            honour(kept, none, place[same], now, self.design.values[members], self.design.noise[members])
            mean[same], variance[same] = kept, none
        return mean, variance

    @single_blas()
    def leave_one_out(self) -> tuple[Floats, Floats]:
        """Predictions and variances (n,) of each reading from its nearest other samples; parameters fixed."""
        design = self.design

        def work(part: slice) -> tuple[Floats, Floats]:
            own = np.arange(part.start, part.stop)
            index = self._nearest(design.place[part], self.neighbours + 1)
            itself = index == own[:, None]
            itself[~itself.any(axis=1), -1] = True
            index = index[~itself].reshape(len(own), -1)
            cross = self._field(design.place[part, None, :], design.place[index])
            cross *= self._sharing(design.season[index], design.season[part, None])
            weights, variance = self._weigh(index, cross, self.sill)
            return np.einsum("mk,mk->m", weights, self._residual[index]), variance

        parts = run_parts(work, self._parts(len(design.values)))
        mean, variance = (np.concatenate([part[i] for part in parts]) for i in range(2))
        return mean + design.values - self._residual, variance + self.nugget * design.noise

    def _group_weights(self, grouped: Groups) -> tuple[csr_matrix, Floats]:
        """Weights of the samples (count, n) for each group's mean, and its variance (count,), NaN for an empty group.

        A small group that its centre's nearest samples cover is kriged as a whole. A wider one is the mean of its
        points' predictions, so that a zone agrees with the map of it, and its variance is that of this mean's error.
        """
        count, n = len(grouped.sizes), len(self.design.values)
        filled = np.flatnonzero(grouped.sizes > 0)
        variance = np.full(count, np.nan)
        if not len(filled):
            return csr_matrix((count, n)), variance
        centre = grouped.average(grouped.place)[filled]
        label = np.repeat(np.arange(len(filled)), grouped.sizes[filled])
        radius = np.zeros(len(filled))
        np.maximum.at(radius, label, np.hypot(*(grouped.place - centre[label]).T))
        index = self._nearest(centre, self.neighbours)
        reach = np.hypot(*(self.design.place[index] - centre[:, None, :]).transpose(2, 0, 1)).max(axis=1)
        narrow = (grouped.sizes[filled] <= ONE_GROUP) & (radius <= reach) | (index.shape[1] == n)
        chosen, index = filled[narrow], index[narrow]
        within = self.sill * within_averages(grouped, np.array([self.range_m]), self.design.model)[0]

        def work(part: slice) -> tuple[Floats, Floats]:
            return self._weigh(index[part], self._cross(grouped, chosen[part], index[part]), within[chosen[part]])

        solved = run_parts(work, self._parts(len(chosen)))
        rows: list[Any] = [np.repeat(chosen, index.shape[1])]
        columns, weights = [index.ravel()], [part[0].ravel() for part in solved]
        variance[chosen] = np.concatenate([part[1] for part in solved]) if solved else 0.0
        for g in filled[~narrow]:
            members = grouped.members(int(g))
            near, weight, _ = self._at(members)
            used, place = np.unique(near, return_inverse=True)
            share = np.bincount(place.ravel(), weight.ravel() / len(members)).astype(float)
            variance[g] = self._error(members, used, share, float(within[g]))
            rows.append(np.full(len(used), g))
            columns.append(used)
            weights.append(share)
        entries = (np.concatenate(weights), (np.concatenate(rows), np.concatenate(columns)))
        return csr_matrix(entries, shape=(count, n)), variance

    def _cross(self, grouped: Groups, chosen: Integers, index: Integers) -> Floats:
        """Average covariances (c, k) of groups with their samples index (c, k)."""
        rows = np.empty(index.shape)
        for i, g in enumerate(chosen):
            rows[i] = self._field(grouped.members(int(g))[:, None, :], self.design.place[index[i]]).mean(axis=0)
        return rows * self._sharing(self.design.season[index], self.design.target_season)

    def _error(self, members: Floats, used: Integers, share: Floats, own: float) -> float:
        """Variance of a group's mean less the sum of its samples `used` with weights `share` (that sum to 1)."""
        place, total = self.design.place[used], own
        reach = share * self._sharing(self.design.season[used], self.design.target_season)
        for part in chunks(len(used), len(used)):
            total -= 2.0 * float(reach[part] @ self._covariance(place[part], members).mean(axis=1))
            total += float(share[part] @ (self._among(used, part) @ share))
        return max(total, 0.0)

    def _covariance(self, one: Floats, other: Floats) -> Floats:
        return self.sill * correlation(distances(one, other), self.range_m, self.design.model)

    def _among(self, used: Integers, part: slice) -> Floats:
        """Covariances of the samples `used[part]` with those `used`, nugget included."""
        place, season = self.design.place[used], self.design.season[used]
        covariance = self._covariance(place[part], place) * self._sharing(season[part, None], season[None, :])
        covariance[np.arange(len(covariance)), np.arange(part.start, part.stop)] += (
            self.nugget * self.design.noise[used[part]]
        )
        return covariance

    @single_blas()
    def group_means(
        self, points: Floats, groups: Integers, count: int, drift: Floats | None = None
    ) -> tuple[Floats, Floats]:
        """Mean and variance (count,) of the field's average over groups; arguments as in `AveragedKriging.group_means`."""
        grouped = make_groups(self.design.locate(points), groups, count)
        weights, variance = self._group_weights(grouped)
        return weights @ self._residual + self._group_known(grouped, drift), variance

    def _group_known(self, grouped: Groups, drift: Floats | None) -> Floats:
        """Trend of each group (count,); NaN for an empty one."""
        rows = np.zeros((len(grouped.place), 1)) if drift is None else self._known(drift, 0)[grouped.order, None]
        return grouped.average(rows)[:, 0]

    @single_blas()
    def error_covariance(self, points: Floats) -> Floats:
        """Joint covariance (m, m) of the errors of the field's predictions at points (m, 2)."""
        place = self.design.locate(points)
        index, weights, _ = self._at(place)
        used, position = np.unique(index, return_inverse=True)
        rows = np.repeat(np.arange(len(place)), index.shape[1])
        matrix = csr_matrix((weights.ravel(), (rows, position.ravel())), shape=(len(place), len(used)))
        reach = np.broadcast_to(self._sharing(self.design.season[used], self.design.target_season), len(used))
        spread = np.zeros((len(place), len(place)))
        for part in chunks(len(used), len(used)):
            spread += (matrix @ self._among(used, part).T) @ matrix[:, part].T
        shared = matrix @ (reach[:, None] * self._covariance(self.design.place[used], place))
        return self._covariance(place, place) - shared - shared.T + spread

    @single_blas()
    def simulate_groups(
        self, points: Floats, groups: Integers, count: int, draws: int, *, seed: int, drift: Floats | None = None
    ) -> GroupDraws:
        """Joint conditional draws of group means; arguments as in `AveragedKriging.group_means`.

        A random field of the same covariance, and the same kriging of what the samples lack, as in
        `geoprune.geostat.simulation`; the parameters are taken as known.
        """
        design, grouped = self.design, make_groups(self.design.locate(points), groups, count)
        weights, _ = self._group_weights(grouped)
        mean = np.repeat(self._group_known(grouped, drift)[None, :], draws, axis=0)
        rng, scale = np.random.default_rng(seed), np.sqrt(self.nugget * design.noise)[:, None]
        for fields in random_fields(design, self.persistent, self.sill, self.range_m, draws, rng):
            lack = self._residual[:, None] - fields.at_samples - scale * rng.standard_normal(fields.at_samples.shape)
            mean[fields.draws] += (fields.averages(grouped) + weights @ lack).T
        within = within_averages(grouped, np.array([self.range_m]), design.model)[0]
        inside = max(int(grouped.sizes.sum()), 1)
        variance = self.nugget + self.sill * float((1.0 - within) @ grouped.sizes) / inside
        if drift is not None:
            variance += float(self.trend @ drift_spread(grouped, drift)[1:, 1:] @ self.trend)
        return GroupDraws(mean, np.full(draws, self.nugget), np.full(draws, np.sqrt(variance)))


@single_blas()
def fit_local(
    points: Floats,
    values: Floats,
    *,
    drift: Floats | None = None,
    noise: Floats | None = None,
    season: Any = None,
    target_season: int | None = None,
    model: str = "exponential",
    anisotropy: Anisotropy | None = None,
    learned: AveragedKriging | None = None,
    neighbours: int = NEIGHBOURS,
) -> LocalKriging:
    """Local kriging with the parameters of the averaged REML surface of a part of the readings; for more than 3,000.

    The range is the mixture's geometric mean, the trend its coefficients, nugget and sill stand to each other as the
    mixture's means. Their size comes from all readings: mean squared standardised leave-one-out residuals are 1.

    Parameters
    ----------
    points, values, drift, noise, season, target_season, model, anisotropy : as in `fit_averaged`; the drift's first
        column is ones
    learned : the fit of a part of the readings; by default of 600 of them, close pairs and far ones (with seasons give it)

    Raises
    ------
    ValueError
        As `geoprune.geostat.design.make_design`, or when the drift's first column is not ones.
    """
    shape: dict[str, Any] = {"target_season": target_season, "model": model, "anisotropy": anisotropy}
    design = make_design(points, values, drift=drift, noise=noise, season=season, **shape)
    if not (design.drift[:, 0] == 1.0).all():
        raise ValueError("the first column of a local drift is ones")
    if learned is None:
        part = spread_subset(design.place, SUBSET)
        some: dict[str, Any] = {"drift": design.drift[part], "noise": design.noise[part], "season": design.season[part]}
        learned = fit_averaged(np.asarray(points, dtype=float)[part], design.values[part], **some, **shape)
    node, trend = learned.typical, learned.coefficients[1:]
    local = LocalKriging(
        design, trend, node.sill, node.nugget, node.range_m, node.persistent_share, neighbours, learned=learned
    )
    estimate, variance = local.leave_one_out()
    scale = float(np.mean(np.square(design.values - estimate) / np.maximum(variance, 1e-300)))
    return replace(local, sill=scale * node.sill, nugget=scale * node.nugget)
