"""More than 3,000 samples: kriging from the nearest of them, with one set of parameters.

Parameters come from the peak of the REML likelihood of a subset that holds close pairs as well as far ones; each target
is predicted from its nearest samples, which screen off the others (Stein 2002, Ann. Stat. 30:298-323, on the screening
effect). Memory does not grow with the number of samples times targets.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from scipy.spatial import cKDTree

from geoprune.geostat.covariance import Anisotropy, Floats, correlation, distances, isotropic
from geoprune.geostat.design import Integers
from geoprune.geostat.groups import Groups, make_groups, within_averages
from geoprune.geostat.kriging import check_target, honour
from geoprune.geostat.likelihood import maximise_likelihood
from geoprune.geostat.threads import run_parts, single_blas

EXACT_SAMPLES = 3000
NEIGHBOURS = 48
SUBSET = 600
BATCH_DOUBLES = 2**19
WIDE_SAMPLES = 800


@dataclass(frozen=True)
class LocalKriging:
    """Kriging from the `neighbours` nearest samples, with a mean of their own.

    points (n, 2) in m; values (n,); noise (n,); trend (p - 1,) coefficients of the drift's columns after the first, taken
    as known and subtracted (drift (n, p), first column ones); other fields as in `Kriging`.
    """

    points: Floats
    values: Floats
    drift: Floats
    noise: Floats
    trend: Floats
    sill: float
    nugget: float
    range_m: float
    model: str = "exponential"
    neighbours: int = NEIGHBOURS
    anisotropy: Anisotropy | None = None
    _place: Floats = field(init=False, repr=False)
    _tree: cKDTree = field(init=False, repr=False)
    _residual: Floats = field(init=False, repr=False)

    def __post_init__(self) -> None:
        place = isotropic(self.points - self.points.mean(axis=0), self.anisotropy)
        object.__setattr__(self, "_place", place)
        object.__setattr__(self, "_tree", cKDTree(place))
        object.__setattr__(self, "_residual", self.values - self.drift[:, 1:] @ self.trend)

    def _locate(self, points: Floats) -> Floats:
        ground = np.asarray(points, dtype=float).reshape(-1, 2)
        return isotropic(ground - self.points.mean(axis=0), self.anisotropy)

    def _known(self, drift: Floats | None, count: int) -> Floats:
        return np.zeros(count) if drift is None else np.asarray(drift, dtype=float)[:, 1:] @ self.trend

    def _nearest(self, place: Floats, count: int) -> Integers:
        count = min(count, len(self.values))
        return self._tree.query(place, k=count)[1].reshape(len(place), count)

    def predict(
        self, targets: Floats, drift: Floats | None = None, *, target: str = "signal", threads: int | None = None
    ) -> tuple[Floats, Floats]:
        """Mean and variance (m,) at points (m, 2); drift (m, p), needed when there is a trend; target as in `Kriging`."""
        check_target(target)
        place = self._locate(targets)

        def work(part: slice) -> tuple[Floats, Floats]:
            index = self._nearest(place[part], self.neighbours)
            offset = self._place[index] - place[part, None, :]
            cross = correlation(np.hypot(offset[..., 0], offset[..., 1]), self.range_m, self.model)
            return self._solve(index, cross, 1.0)

        mean, variance = _joined(run_parts(work, self._parts(len(place)), threads=threads))
        variance = variance + (0.0 if target == "signal" else self.nugget)
        mean = mean + self._known(drift, len(place))
        if target == "exact":
            near = self._nearest(place, 1)[:, 0]
            same = np.flatnonzero((self._place[near] == place).all(axis=1))
            kept, none = mean[same], variance[same]
            honour(kept, none, place[same], self._place, self.values, self.noise)
            mean[same], variance[same] = kept, none
        return mean, variance

    def _parts(self, count: int) -> list[slice]:
        step = max(1, BATCH_DOUBLES // min(self.neighbours, len(self.values)) ** 2)
        return [slice(start, min(start + step, count)) for start in range(0, count, step)]

    def _solve(self, index: Integers, cross: Floats, own: Floats | float) -> tuple[Floats, Floats]:
        """Ordinary kriging of c targets from samples index (c, k), correlations cross (c, k), own average correlation."""
        place = self._place[index]
        difference = place[:, :, None, :] - place[:, None, :, :]
        covariance = self.sill * correlation(np.hypot(difference[..., 0], difference[..., 1]), self.range_m, self.model)
        diagonal = np.arange(index.shape[1])
        covariance[:, diagonal, diagonal] += self.nugget * self.noise[index]
        cross = self.sill * cross
        right = np.stack([cross, np.ones_like(cross), self._residual[index]], axis=2)
        solved = np.linalg.solve(covariance, right)
        normal = solved[:, :, 1].sum(axis=1)
        level = solved[:, :, 2].sum(axis=1) / normal
        lack = 1.0 - solved[:, :, 0].sum(axis=1)
        mean = lack * level + np.einsum("ck,ck->c", cross, solved[:, :, 2])
        variance = self.sill * own - np.einsum("ck,ck->c", cross, solved[:, :, 0]) + lack**2 / normal
        return mean, np.maximum(variance, 0.0)

    def leave_one_out(self) -> tuple[Floats, Floats]:
        """Predictions and variances (n,) of each reading from its nearest other samples; parameters fixed."""

        def work(part: slice) -> tuple[Floats, Floats]:
            own = np.arange(part.start, part.stop)
            index = self._nearest(self._place[part], self.neighbours + 1)
            itself = index == own[:, None]
            itself[~itself.any(axis=1), -1] = True
            index = index[~itself].reshape(len(own), -1)
            offset = self._place[index] - self._place[part, None, :]
            cross = correlation(np.hypot(offset[..., 0], offset[..., 1]), self.range_m, self.model)
            return self._solve(index, cross, 1.0)

        mean, variance = _joined(run_parts(work, self._parts(len(self.values))))
        return mean + self.values - self._residual, variance + self.nugget * self.noise

    @single_blas()
    def group_means(
        self, points: Floats, groups: Integers, count: int, drift: Floats | None = None
    ) -> tuple[Floats, Floats]:
        """Mean and variance (count,) of the field's average over groups; arguments as in `AveragedKriging.group_means`.

        A group that its centre's nearest samples cover is kriged from those. A wider one is kriged from samples near
        each of its points, at most 800 of them, evenly thinned.
        """
        grouped = make_groups(self._locate(points), groups, count)
        filled = np.flatnonzero(grouped.sizes > 0)
        mean, variance = np.full(count, np.nan), np.full(count, np.nan)
        if not len(filled):
            return mean, variance
        centre = grouped.average(grouped.place)[filled]
        label = np.repeat(np.arange(len(filled)), grouped.sizes[filled])
        radius = np.zeros(len(filled))
        np.maximum.at(radius, label, np.hypot(*(grouped.place - centre[label]).T))
        index = self._nearest(centre, self.neighbours)
        reach = np.hypot(*(self._place[index[:, -1]] - centre).T)
        narrow = (radius <= reach) | (index.shape[1] == len(self.values))
        within = within_averages(grouped, np.array([self.range_m]), self.model)[0]
        for part in self._parts(int(narrow.sum())):
            rows = np.flatnonzero(narrow)[part]
            cross = self._cross(grouped, filled[rows], index[rows])
            mean[filled[rows]], variance[filled[rows]] = self._solve(index[rows], cross, within[filled[rows]])
        for g in filled[~narrow]:
            members = grouped.members(int(g))
            chosen = self._around(members)[None, :]
            cross = self._cross(grouped, np.array([g]), chosen)
            mean[g], variance[g] = (float(a[0]) for a in self._solve(chosen, cross, within[g]))
        known = 0.0 if drift is None else grouped.average(self._known(drift, len(points))[grouped.order, None])[:, 0]
        return mean + known, variance

    def _cross(self, grouped: Groups, chosen: Integers, index: Integers) -> Floats:
        """Average correlations (c, k) of groups with their samples index (c, k)."""
        rows = []
        for g, samples in zip(chosen, index, strict=True):
            members = grouped.members(int(g))
            rows.append(correlation(distances(members, self._place[samples]), self.range_m, self.model).mean(axis=0))
        return np.array(rows)

    def _around(self, members: Floats) -> Integers:
        """Up to WIDE_SAMPLES samples near the points of a group, evenly thinned in space-filling order."""
        each = max(1, -(-self.neighbours // len(members)))
        found = np.unique(self._nearest(members, each))
        if len(found) <= WIDE_SAMPLES:
            return found
        found = found[np.lexsort((self._place[found, 1], np.floor(self._place[found, 0] / self.range_m)))]
        return found[np.linspace(0, len(found) - 1, WIDE_SAMPLES).astype(np.int64)]


def _joined(parts: list[tuple[Floats, Floats]]) -> tuple[Floats, Floats]:
    if not parts:
        return np.empty(0), np.empty(0)
    return np.concatenate([p[0] for p in parts]), np.concatenate([p[1] for p in parts])


def spread_subset(points: Floats, size: int, *, seed: int = 0) -> Integers:
    """Positions of `size` samples for a likelihood: half at random, half their nearest neighbours.

    So that close pairs tell of the nugget and far ones of the range. points (n, 2); all of them when n <= size.
    """
    if len(points) <= size:
        return np.arange(len(points))
    rng = np.random.default_rng(seed)
    chosen = rng.choice(len(points), size=size // 2, replace=False)
    companions = cKDTree(points).query(points[chosen], k=2)[1][:, 1]
    both = np.unique(np.concatenate([chosen, companions]))
    rest = np.setdiff1d(np.arange(len(points)), both)
    return np.sort(np.concatenate([both, rng.choice(rest, size=size - len(both), replace=False)]))


@single_blas()
def fit_local(
    points: Floats,
    values: Floats,
    *,
    drift: Floats | None = None,
    noise: Floats | None = None,
    model: str = "exponential",
    neighbours: int = NEIGHBOURS,
    anisotropy: Anisotropy | None = None,
    seed: int = 0,
) -> LocalKriging:
    """Local kriging with the parameters at the REML peak of 600 samples; for more than 3,000 of them.

    points (n, 2) in m, values (n,), drift (n, p) with a first column of ones, noise (n,).

    Raises
    ------
    ValueError
        As `geoprune.geostat.design.make_design`, or when the drift's first column is not constant.
    """
    points, values = np.asarray(points, dtype=float), np.asarray(values, dtype=float)
    drift = np.ones((len(values), 1)) if drift is None else np.asarray(drift, dtype=float)
    noise = np.ones(len(values)) if noise is None else np.asarray(noise, dtype=float)
    if not (drift[:, 0] == 1.0).all():
        raise ValueError("the first column of a local drift is ones")
    part = spread_subset(isotropic(points, anisotropy), SUBSET, seed=seed)
    peak = maximise_likelihood(
        points[part], values[part], drift=drift[part], noise=noise[part], model=model, anisotropy=anisotropy
    )
    return LocalKriging(
        points,
        values,
        drift,
        noise,
        peak.beta[1:],
        peak.sill,
        peak.nugget,
        peak.range_m,
        model,
        neighbours,
        anisotropy,
    )
