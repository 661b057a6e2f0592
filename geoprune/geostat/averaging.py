"""Kriging averaged over the REML surface instead of plugging in its peak.

With 20-60 samples the parameters are barely known; plugging in the best ones makes intervals too narrow.
Every node of the surface predicts, and the predictions are mixed with weights exp(log likelihood + log prior).
Where rows are told, a part of the nodes has an effect of whole rows beside the field, each row's own, with the same law.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import groupby, product
from typing import Any

import numpy as np

from geoprune.geostat.covariance import Anisotropy, Floats
from geoprune.geostat.design import Design, Integers, make_design, spread_subset
from geoprune.geostat.forms import Form, mix_points
from geoprune.geostat.groups import (
    Groups,
    cross_averages,
    make_groups,
    row_shares,
    shares_in,
    within_averages,
    within_rows,
)
from geoprune.geostat.kriging import check_target, honour
from geoprune.geostat.nodes import Node, NodeFamily, range_form
from geoprune.geostat.priors import likelihood_of, log_prior_on
from geoprune.geostat.reml import (
    DEFAULT_SHARES,
    PERSISTENT_SHARES,
    ROW_SHARES,
    RemlSurface,
    Spectrum,
    decompose,
    decompose_all,
    range_grid,
    scan_design,
)
from geoprune.geostat.simulation import GroupDraws, simulate_groups
from geoprune.threads import run_parts, single_blas

KEPT_WEIGHT = 0.999
ALL_NODES_SAMPLES = 400
SCANNED_SAMPLES = 1000
SPECTRA_SAMPLES = 600
#: The same where rows are told, which is as many surfaces more.
SPECTRA_WITH_ROWS = 400
KEPT_DOUBLES = 2**22


@dataclass(frozen=True)
class AveragedKriging:
    """A mixture of kriging predictors, one per node of the REML surface that carries weight.

    surfaces : one REML surface for each persistent share (one, 1.0, without seasons) and row share (one, 0.0, without rows)
    families : kept nodes by range, persistent and row share; `nodes` and `weights` list them one by one
    target_drift : (p,) drift of a target for which none is given
    log_prior : (R, S) as it was added to the log likelihoods
    beliefs : (K,) log beliefs in the surfaces (persistent and row shares), added too
    spectra : up to 600 readings (400 with rows) the decompositions of every surface and range, for who needs them again
    """

    design: Design
    surfaces: tuple[RemlSurface, ...]
    families: tuple[NodeFamily, ...]
    target_drift: Floats
    log_prior: Floats
    beliefs: Floats
    spectra: tuple[tuple[Spectrum, ...], ...] = ()

    @property
    def surface(self) -> RemlSurface:
        """REML surface at the likeliest persistent share."""
        return max(self.surfaces, key=lambda surface: float(surface.loglik.max()))

    @property
    def likelihood(self) -> Floats:
        """What the readings say of range and nugget share (R, S), whatever the prior; summing to 1."""
        return likelihood_of(self.surfaces, self.beliefs)

    @cached_property
    def nodes(self) -> tuple[Node, ...]:
        """Kept nodes, in the order of `weights`."""
        return tuple(node for family in self.families for node in family.nodes)

    @property
    def weights(self) -> Floats:
        """Weights of the kept nodes, summing to 1."""
        return np.array([node.weight for node in self.nodes])

    @property
    def nugget(self) -> float:
        """Mixture mean of the nugget variance (one vine)."""
        return float(sum(node.weight * node.nugget for node in self.nodes))

    @property
    def sill(self) -> float:
        """Mixture mean of the field's variance."""
        return float(sum(node.weight * node.sill for node in self.nodes))

    @property
    def row_variance(self) -> float:
        """Mixture mean of the variance of whole rows; 0 where no rows are told."""
        return float(sum(node.weight * node.row_variance for node in self.nodes))

    @property
    def row_belief(self) -> float:
        """Belief in an effect of whole rows, after the readings."""
        score = np.array([surface.loglik + self.log_prior for surface in self.surfaces]) + self.beliefs[:, None, None]
        by_surface = np.exp(score - score.max()).sum(axis=(1, 2))
        with_rows = np.array([surface.row_share > 0.0 for surface in self.surfaces])
        return float(by_surface[with_rows].sum() / by_surface.sum())

    @cached_property
    def typical(self) -> Node:
        """One node for all: means of variances and persistent share, the geometric mean of the ranges of the fields."""
        total = np.array([node.sill + node.nugget for node in self.nodes])
        field = np.array([node.sill for node in self.nodes]) > 1e-9 * total
        weight = self.weights * field if field.any() else self.weights
        log_range = float(weight @ np.log([node.range_m for node in self.nodes]) / weight.sum())
        persistent = float(self.weights @ np.array([node.persistent_share for node in self.nodes]))
        return Node(float(np.exp(log_range)), self.sill, self.nugget, persistent, 1.0, self.row_variance)

    @cached_property
    def coefficients(self) -> Floats:
        """Mixture mean of the drift's coefficients (p,)."""
        step = sum(family.solve_readings()[0] @ family.weights for family in self.families)
        return self.design.start + self.design.turn @ step

    @cached_property
    def ranges(self) -> Floats:
        """Ranges that carry weight, in m."""
        return np.array([form.range_m for form in self.forms])

    @cached_property
    def forms(self) -> tuple[Form, ...]:
        """One linear and one quadratic form for each range that carries weight."""
        by_range = groupby(self.families, key=lambda family: family.spectrum.range_m)
        return tuple(run_parts(range_form, [list(same) for _, same in by_range]))

    def drift_rows(self, drift: Floats | None) -> Floats:
        """Drift rows (m, p) as given, or `target_drift` as one row."""
        return self.target_drift[None, :] if drift is None else np.atleast_2d(np.asarray(drift, dtype=float))

    @single_blas()
    def predict(
        self,
        targets: Floats,
        drift: Floats | None = None,
        *,
        row: Integers | None = None,
        target: str = "signal",
        threads: int | None = None,
    ) -> tuple[Floats, Floats]:
        """Mean and variance (m,) at points (m, 2), drift (m, p) or None for `target_drift`, row (m,) labels or None.

        `target`: "signal" field and row without the vine-to-vine part; "new" one new reading (nugget added); "exact" as
        new, but where readings of the target season were taken their own mean with no variance. In a row without
        readings, or where none is told (-1), the row's part is as little known as before the readings.

        Raises
        ------
        ValueError
            For another target.
        """
        check_target(target)
        place, rows = self.design.locate(targets), self.drift_rows(drift)
        basis, sampled = self.design.target_basis(rows), self.design.sampled_rows
        label = np.full(len(place), -1) if row is None else np.asarray(row)
        in_rows = (label[:, None] == sampled[None, :]).astype(float) if len(sampled) else None
        mean, second = mix_points(
            self.forms, self.design.place, place, basis, self.design.model, in_rows=in_rows, threads=threads
        )
        variance = np.maximum(second - np.square(mean), 0.0) + (0.0 if target == "signal" else self.nugget)
        mean = mean + self.design.start_at(rows)
        if target == "exact":
            now = self.design.season == self.design.target_season
            honour(mean, variance, place, self.design.place[now], self.design.values[now], self.design.noise[now])
        return mean, variance

    def group(self, points: Floats, groups: Integers, count: int) -> Groups:
        """Points of the ground (m, 2) sorted by group, in the design's coordinates."""
        return make_groups(self.design.locate(points), groups, count)

    def group_rows(self, grouped: Groups, drift: Floats | None) -> Floats:
        """Average drift (count, p) of each group; drift (m, p) per point, or None for `target_drift`."""
        if drift is None:
            return np.repeat(self.target_drift[None, :], len(grouped.sizes), axis=0)
        return grouped.average(np.asarray(drift, dtype=float)[grouped.order])

    @single_blas()
    def group_means(
        self, points: Floats, groups: Integers, count: int, drift: Floats | None = None, *, row: Integers | None = None
    ) -> tuple[Floats, Floats]:
        """Mean and variance of the average of field and rows over groups of points (block kriging).

        points (m, 2), groups (m,) in 0..count-1 (-1 = in none), drift (m, p) per point or None for `target_drift`, row (m,)
        labels as in `predict`. Covariances with the samples and within a group are averaged without the nugget (Journel &
        Huijbregts 1978, Mining Geostatistics, ch. V). Returns (count,), (count,), NaN for a group without points.
        """
        grouped, sampled = self.group(points, groups, count), self.design.sampled_rows
        rows = self.group_rows(grouped, drift)
        basis = self.design.target_basis(rows)
        within = within_averages(grouped, self.ranges, self.design.model)
        shares = row_shares(np.full(len(groups), -1) if row is None else np.asarray(row), grouped)
        within_row, in_rows = within_rows(shares), shares_in(shares, sampled)
        mean, second = np.zeros(count), np.zeros(count)
        for part in grouped.batches(len(self.ranges) * (len(self.design.place) + len(sampled))):
            cross = cross_averages(grouped.batch(part), self.design.place, self.ranges, self.design.model)
            for form, of_range, own in zip(self.forms, cross, within[:, part], strict=True):
                with_rows = np.hstack([of_range, in_rows[part]]) if len(sampled) else of_range
                m, s = form.moments(with_rows, basis[part], own, within_row[part])
                mean[part] += m
                second[part] += s
        empty = np.where(grouped.sizes > 0, 0.0, np.nan)
        return mean + self.design.start_at(rows) + empty, np.maximum(second - np.square(mean), 0.0) + empty

    @single_blas()
    def leave_one_out(self, *, parameters: str = "again") -> tuple[Floats, Floats]:
        """Leave-one-out mean and variance (n,) of each reading, in closed form.

        parameters : "again" weighs the nodes anew without the reading (its REML likelihood follows exactly from Q_ii
        and Qz, with K and X'K^-1 X of the others), so nothing of the held-out reading is used; "fixed" keeps the
        weights of all samples (Dubrule 1983). Up to 400 readings every node takes part, so that "again" equals a new
        fit to the others on the same grid; beyond, the kept nodes do. NaN where a reading alone carries a coefficient
        of the mean.

        Raises
        ------
        ValueError
            For another word.
        """
        if parameters not in ("again", "fixed"):
            raise ValueError("parameters is 'again' or 'fixed'")
        families = self.families
        if len(self.design.values) <= ALL_NODES_SAMPLES:
            degrees = families[0].degrees
            families = _families(self.design, self.surfaces, self.log_prior, self.beliefs, degrees, self.spectra, kept=1.0)
        parts = run_parts(NodeFamily.leave_one_out, families)
        error, unit, squares = (np.vstack([part[i] for part in parts]) for i in range(3))
        weight = np.repeat(np.concatenate([family.weights for family in families])[:, None], error.shape[1], axis=1)
        total = np.concatenate([family.totals for family in families])[:, None]
        n, p = self.design.drift.shape
        if parameters == "again" and total.max() > 0.0:
            left = np.maximum(squares - np.square(error) / unit, 1e-300)
            score = np.log(weight) + 0.5 * (n - p) * np.log(squares) - 0.5 * (n - p - 1) * np.log(left) + 0.5 * np.log(unit)
            weight = np.exp(score - score.max(axis=0))
            weight /= weight.sum(axis=0)
            total = left / max(n - p - 3, 1)
        mean = self.design.values - error
        middle = (weight * mean).sum(axis=0)
        return middle, (weight * (total * unit + np.square(mean - middle))).sum(axis=0)

    def simulate_groups(
        self,
        points: Floats,
        groups: Integers,
        count: int,
        draws: int,
        *,
        seed: int,
        drift: Floats | None = None,
        row: Integers | None = None,
    ) -> GroupDraws:
        """Joint conditional draws of group means, and how single vines scatter about them.

        Arguments as in `group_means`. See `geoprune.geostat.simulation`.
        """
        return simulate_groups(self, points, groups, count, draws, seed=seed, drift=drift, row=row)


@single_blas()
def fit_averaged(
    points: Floats,
    values: Floats,
    *,
    drift: Floats | None = None,
    noise: Floats | None = None,
    target_drift: Floats | None = None,
    model: str = "exponential",
    ranges: Floats | None = None,
    shares: Floats | None = None,
    log_prior: Floats | None = None,
    season: Any = None,
    target_season: int | None = None,
    persistent_shares: Sequence[float] = PERSISTENT_SHARES,
    persistent_log_prior: Floats | None = None,
    row: Any = None,
    row_shares: Mapping[float, float] = ROW_SHARES,
    anisotropy: Anisotropy | None = None,
) -> AveragedKriging:
    """Scan the REML surface and keep the nodes that carry 99.9 % of the weight.

    The profiled variance is inflated by (n-p)/(n-p-2), the mean of its scaled inverse chi-square law. Nodes count
    alike unless a prior says otherwise: the prior is even over the grid (log range, nugget share, persistent share).
    With more than 1000 readings the surface is that of 1000 of them, and with n > 600 readings no more than 2^22 / n^2
    ranges are kept (with seasons or rows so many less): parameters are then well known, and predictions still use every
    reading.

    Parameters
    ----------
    points, values : (n, 2) in m and (n,)
    drift, noise : (n, p) mean's columns, ones by default; (n,) factor of the nugget (1 / vines weighed), ones by default
    target_drift : (p,) drift of a target for which none is given; by default 1 for a constant, 0 for the other columns
    model : one of `geoprune.geostat.MODELS`
    ranges, shares : grid; by default `range_grid` and `DEFAULT_SHARES`
    log_prior : (R, S) array; None for an even prior
    season, target_season : (n,) integer labels and the one to predict (the newest by default). Covariance of two
        readings = persistent share x rho + (1 - persistent share) x rho in the same season only
    persistent_shares, persistent_log_prior : grid (K,) of persistent shares and log prior of each, even where None; used
        with several seasons only
    row, row_shares : (n,) labels from 0 on of the rows that readings stand in (-1 = none), None for no effect of rows; and
        the beliefs, which sum to 1, in each share of rows in the variance that is not nugget
    anisotropy : (bearing_deg, ratio) of `geoprune.geostat.covariance.isotropic`

    Raises
    ------
    ValueError
        For numbers that are not finite, collinear drift, too few readings, an unknown model.
    """
    design = make_design(
        points,
        values,
        drift=drift,
        noise=noise,
        season=season,
        target_season=target_season,
        row=row,
        model=model,
        anisotropy=anisotropy,
    )
    grid = range_grid(design.place, model=model) if ranges is None else np.asarray(ranges, dtype=float)
    shares = DEFAULT_SHARES if shares is None else np.asarray(shares, dtype=float)
    flat = bool(np.abs(design.residual).max() <= 1e-12 * np.abs(design.values).max())
    of_rows = dict(row_shares) if len(design.sampled_rows) else {0.0: 1.0}
    kept = list(product(persistent_shares if design.has_seasons else (1.0,), of_rows))
    beliefs = np.log([of_rows[share] for _, share in kept])
    if persistent_log_prior is not None and design.has_seasons:
        beliefs = beliefs + np.repeat(persistent_log_prior, len(of_rows))
    scanned = _scanned(design)
    few = len(design.values) <= (SPECTRA_WITH_ROWS if len(of_rows) > 1 else SPECTRA_SAMPLES)
    spectra = tuple(decompose_all(design, grid, *of) if few else () for of in kept)
    surfaces = tuple(
        scan_design(scanned, ranges=grid, shares=shares, persistent=lasting, row_share=share, flat=flat, spectra=own)
        for (lasting, share), own in zip(kept, spectra, strict=True)
    )
    prior = log_prior_on(log_prior, grid, shares)
    p = design.drift.shape[1]
    target = np.eye(p)[0] if target_drift is None else np.asarray(target_drift, dtype=float)
    families = _families(design, surfaces, prior, beliefs, len(scanned.values) - p, spectra if few else ())
    return AveragedKriging(design, surfaces, families, target, prior, beliefs, spectra if few else ())


def _scanned(design: Design) -> Design:
    """The design, or for more than 1000 readings that of 1000 of them: the likelihood needs no more."""
    part = spread_subset(design.place, SCANNED_SAMPLES)
    if len(part) == len(design.values):
        return design
    return make_design(
        design.place[part],
        design.values[part],
        drift=design.drift[part],
        noise=design.noise[part],
        season=design.season[part],
        target_season=design.target_season,
        row=design.row[part],
        model=design.model,
    )


def _kept_weights(surfaces: tuple[RemlSurface, ...], prior: Floats, beliefs: Floats, ranges: int, share: float) -> Floats:
    """Weights (K, R, S) of the nodes that carry `share` of the mixture, on the likeliest `ranges` ranges."""
    score = np.array([surface.loglik + prior for surface in surfaces]) + beliefs[:, None, None]
    weight = np.exp(score - score.max())
    by_range = weight.sum(axis=(0, 2))
    weight[:, np.argsort(by_range, kind="stable")[:-ranges]] = 0.0
    weight /= weight.sum()
    order = np.argsort(weight, axis=None, kind="stable")[::-1]
    fewest = int(np.searchsorted(np.cumsum(weight.ravel()[order]), share)) + 1
    kept = np.zeros(weight.size, dtype=bool)
    kept[order[:fewest]] = True
    weight = np.where(kept.reshape(weight.shape), weight, 0.0)
    return weight / weight.sum()


def _families(
    design: Design,
    surfaces: tuple[RemlSurface, ...],
    prior: Floats,
    beliefs: Floats,
    degrees: int,
    spectra: tuple[tuple[Spectrum, ...], ...],
    *,
    kept: float = KEPT_WEIGHT,
) -> tuple[NodeFamily, ...]:
    """Families of the kept nodes, sorted by range; as many ranges as hold 32 MB of eigenvectors, one at least."""
    room = len(surfaces[0].ranges) if spectra else max(1, KEPT_DOUBLES // (len(design.values) ** 2 * len(surfaces)))
    weight = _kept_weights(surfaces, prior, beliefs, room, kept)
    distance = np.empty((0, 0)) if spectra else design.distance()

    def work(item: tuple[int, int]) -> NodeFamily:
        i, k = item
        shares = np.flatnonzero(weight[k, i] > 0.0)
        surface = surfaces[k]
        spectrum = (
            spectra[k][i]
            if spectra
            else decompose(design, distance, float(surface.ranges[i]), surface.persistent_share, surface.row_share)
        )
        totals = surface.total_variance[i, shares] * degrees / max(degrees - 2, 1)
        return NodeFamily(design, spectrum, surface.shares[shares], totals, weight[k, i, shares], degrees)

    items = [(i, k) for i in range(weight.shape[1]) for k in range(len(surfaces)) if weight[k, i].any()]
    return tuple(run_parts(work, items))
