"""Conditional simulation: equally likely fields that agree with the samples, at points or averaged over groups.

Each draw takes a node by its weight and a total variance from its scaled inverse chi-square law (the posterior of the
variance given the node), then an unconditional field of random waves, and adds the kriging of what the samples lack
(Journel & Huijbregts 1978, Mining Geostatistics, ch. VII). Draws of one range share frequencies in batches of at
most a twentieth of the draws, so that the law of the frequencies is seen through at least 20 sets of them.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import groupby
from typing import Protocol

import numpy as np

from geoprune.geostat.covariance import Floats, correlation, distances
from geoprune.geostat.design import Design, Integers
from geoprune.geostat.forms import CHUNK_DOUBLES
from geoprune.geostat.groups import Groups, row_shares, within_averages, within_rows
from geoprune.geostat.nodes import Node, NodeFamily
from geoprune.geostat.spectral import frequencies, waves
from geoprune.threads import run_parts, single_blas

WAVES = 128
FEWEST_BATCHES = 20
WAVE_POINTS = 2048


class Mixture(Protocol):
    """What draws are made from: nodes with weights, by range and share, and where they are predicted.

    `geoprune.geostat.averaging.AveragedKriging` is one.
    """

    @property
    def design(self) -> Design:
        """The samples."""

    @property
    def families(self) -> tuple[NodeFamily, ...]:
        """Nodes by range and persistent share."""

    @property
    def nodes(self) -> tuple[Node, ...]:
        """The nodes, one by one."""

    @property
    def weights(self) -> Floats:
        """Their weights, in the same order."""

    @property
    def ranges(self) -> Floats:
        """Ranges of the nodes."""

    def group(self, points: Floats, groups: Integers, count: int) -> Groups:
        """Gather points in groups."""

    def group_rows(self, grouped: Groups, drift: Floats | None) -> Floats:
        """Drift of the groups' means."""


@dataclass(frozen=True)
class GroupDraws:
    """D joint draws of the means of `count` groups.

    mean (D, count): the average of field and rows over each group's points; nugget (D,): vine-to-vine variance; vine_sd
    (D,): standard deviation of one vine about its group's mean (field, rows and drift within the group, and the nugget),
    over the points of all groups.
    """

    mean: Floats
    nugget: Floats
    vine_sd: Floats


@dataclass(frozen=True)
class Batch:
    """Draws that share a range and frequencies.

    draws (k,) their numbers; amplitude (2 W, k) of the target's field; weights (n, k) for correlations with the
    samples; row (L + 1, k) conditional effects of whole rows by label, the last one of places in no row; coefficients (p, k)
    in the design's basis; field, rows, nugget (k,) variances.
    """

    draws: Integers
    range_m: float
    frequency: Floats
    amplitude: Floats
    weights: Floats
    row: Floats
    coefficients: Floats
    field: Floats
    rows: Floats
    nugget: Floats


def draw_batches(kriging: Mixture, draws: int, seed: int, *, labels: int = 0) -> Iterator[Batch]:
    """Choose a node for each draw and solve it; range by range.

    labels : rows of targets are numbered below it
    """
    rng = np.random.default_rng(seed)
    chosen = np.sort(rng.choice(len(kriging.nodes), size=draws, p=kriging.weights))
    number = rng.permutation(draws)
    first = np.cumsum([0] + [len(family.shares) for family in kriging.families])
    step = max(1, draws // FEWEST_BATCHES)
    for k, family in enumerate(kriging.families):
        mine = np.flatnonzero((chosen >= first[k]) & (chosen < first[k + 1]))
        for start in range(0, len(mine), step):
            part = mine[start : start + step]
            yield _batch(family, number[part], chosen[part] - first[k], rng, labels)


def _batch(
    family: NodeFamily,
    draws: Integers,
    member: Integers,
    rng: np.random.Generator,
    labels: int,
) -> Batch:
    design, count = family.design, len(draws)
    n = len(family.design.values)
    share = family.shares[member]
    degrees = family.degrees
    total = family.totals[member] * max(degrees - 2, 1) / rng.chisquare(degrees, size=count)
    of_rows, nugget = family.spectrum.row_share, total * share
    field, rows = total * (1.0 - share) * (1.0 - of_rows), total * (1.0 - share) * of_rows
    frequency = frequencies(design.model, WAVES, rng) / family.spectrum.range_m
    amplitude, at_samples = _fields(design, family.spectrum.persistent, frequency, np.sqrt(field), rng)
    row, in_rows = _row_effects(design, family.spectrum.persistent, np.sqrt(rows), labels, rng)
    at_samples = at_samples + in_rows
    noisy = at_samples + rng.standard_normal((n, count)) * np.sqrt(nugget) * family.root[:, None]
    coefficients, residual = family.solve(design.residual[:, None] - noisy, member)
    reach = design.sharing_target(family.spectrum.persistent)[:, None]
    weights = (1.0 - share) * reach * residual
    told = design.row >= 0
    np.add.at(row, design.row[told], of_rows * weights[told])
    weights = (1.0 - of_rows) * weights
    return Batch(draws, family.spectrum.range_m, frequency, amplitude, weights, row, coefficients, field, rows, nugget)


def _row_effects(
    design: Design, persistent: float, scale: Floats, labels: int, rng: np.random.Generator
) -> tuple[Floats, Floats]:
    """Effects (L + 1, k) of whole rows in the target season, and those (n, k) in which each reading stands in its season.

    The last row stands for places in no row; readings in no row each have an effect of their own.
    """
    count = max(labels, int(design.row.max()) + 1) + 1
    if not scale.any():
        return np.zeros((count, len(scale))), np.zeros((len(design.row), len(scale)))
    common = np.sqrt(persistent) * rng.standard_normal((count, len(scale)))
    own = np.sqrt(1.0 - persistent)
    target = scale * (common + own * rng.standard_normal((count, len(scale))))
    at_samples = target[design.row]
    for label in np.unique(design.season[design.season != design.target_season]):
        same = design.season == label
        at_samples[same] = (scale * (common + own * rng.standard_normal((count, len(scale)))))[design.row[same]]
    alone = design.row < 0
    at_samples[alone] = scale * rng.standard_normal((int(alone.sum()), len(scale)))
    return target, at_samples


def _fields(
    design: Design, persistent: float, frequency: Floats, scale: Floats, rng: np.random.Generator
) -> tuple[Floats, Floats]:
    """Amplitudes (2 W, k) of the target season's field, and each reading's own season's field (n, k)."""
    shape = (2 * len(frequency), len(scale))
    at_samples = waves(design.place, frequency).astype(float)
    if not design.has_seasons:
        amplitude = scale * rng.standard_normal(shape)
        return amplitude, at_samples @ amplitude
    common = np.sqrt(persistent) * rng.standard_normal(shape)
    own = np.sqrt(1.0 - persistent)
    target = scale * (common + own * rng.standard_normal(shape))
    field = np.empty((len(design.values), len(scale)))
    for label in np.unique(design.season):
        same = design.season == label
        amplitude = target if label == design.target_season else scale * (common + own * rng.standard_normal(shape))
        field[same] = at_samples[same] @ amplitude
    return target, field


@dataclass(frozen=True)
class RandomFields:
    """Unconditional fields that share frequencies: draws (k,) their numbers, at_samples (n, k) in each reading's season."""

    draws: Integers
    at_samples: Floats
    frequency: Floats
    amplitude: Floats

    def averages(self, groups: Groups) -> Floats:
        """Means (count, k) of the target season's field over groups; 0 for an empty one."""

        def work(item: tuple[slice, slice]) -> Floats:
            points, _ = item
            field = waves(groups.place[points], self.frequency) @ self.amplitude.astype(np.float32)
            return np.asarray(groups.matrix(points) @ field, dtype=float)

        items = groups.parts(CHUNK_DOUBLES // WAVE_POINTS)
        mean = np.zeros((len(groups.sizes), len(self.draws)))
        for (_, touched), field in zip(items, run_parts(work, items), strict=True):
            mean[touched] += field
        return mean


def random_fields(
    design: Design, persistent: float, sill: float, range_m: float, draws: int, rng: np.random.Generator
) -> Iterator[RandomFields]:
    """Unconditional fields of known parameters, in sets of at most a twentieth of the draws."""
    step = max(1, draws // FEWEST_BATCHES)
    for start in range(0, draws, step):
        number = np.arange(start, min(start + step, draws))
        frequency = frequencies(design.model, WAVES, rng) / range_m
        amplitude, at_samples = _fields(design, persistent, frequency, np.full(len(number), np.sqrt(sill)), rng)
        yield RandomFields(number, at_samples, frequency, amplitude)


def conditional_fields(
    design: Design, batches: list[Batch], draws: int, place: Floats, row: Integers | None = None
) -> Floats:
    """Fields (m, draws) at points (m, 2) in the design's coordinates that stand in rows (m,), without the drift's part."""
    distance = distances(place, design.place)
    field = np.empty((len(place), draws))
    for range_m, same in groupby(batches, key=lambda batch: batch.range_m):
        cross = correlation(distance, range_m, design.model)
        for batch in same:
            random = waves(place, batch.frequency) @ batch.amplitude.astype(np.float32)
            field[:, batch.draws] = random + cross @ batch.weights
            if row is not None:
                field[:, batch.draws] += batch.row[row]
    return field


def coefficients_of(batches: list[Batch], draws: int) -> Floats:
    """Coefficients of the drift (p, draws), in the design's basis, beyond the least-squares start."""
    result = np.empty((len(batches[0].coefficients), draws))
    for batch in batches:
        result[:, batch.draws] = batch.coefficients
    return result


@single_blas()
def simulate_groups(
    kriging: Mixture,
    points: Floats,
    groups: Integers,
    count: int,
    draws: int,
    *,
    seed: int,
    drift: Floats | None = None,
    row: Integers | None = None,
) -> GroupDraws:
    """Joint conditional draws of group means; arguments as in `AveragedKriging.group_means`.

    Returns NaN for a group without points.
    """
    design = kriging.design
    grouped = kriging.group(points, groups, count)
    rows = kriging.group_rows(grouped, drift)
    label = np.full(len(groups), -1) if row is None else np.asarray(row)
    batches = list(draw_batches(kriging, draws, seed, labels=int(label.max(initial=-1)) + 1))
    with_rows = len(design.sampled_rows) > 0
    mean = design.target_basis(rows) @ coefficients_of(batches, draws) + design.start_at(rows)[:, None]
    items = grouped.parts(CHUNK_DOUBLES // WAVE_POINTS)

    def work(item: tuple[slice, slice]) -> Floats:
        own = label[grouped.order[item[0]]] if with_rows else None
        return grouped.matrix(item[0]) @ conditional_fields(design, batches, draws, grouped.place[item[0]], own)

    for (_, touched), field in zip(items, run_parts(work, items), strict=True):
        mean[touched] += field
    mean[grouped.sizes == 0] = np.nan
    spread = np.zeros((rows.shape[1],) * 2) if drift is None else drift_spread(grouped, drift)
    nugget, vine_sd = _vine_scatter(kriging, batches, grouped, spread, draws, label)
    return GroupDraws(mean.T, nugget, vine_sd)


def _vine_scatter(
    kriging: Mixture, batches: list[Batch], grouped: Groups, spread: Floats, draws: int, label: Integers
) -> tuple[Floats, Floats]:
    """Each draw's nugget variance, and standard deviation of a vine about its group's mean (draws,)."""
    design, ranges = kriging.design, kriging.ranges
    within = within_averages(grouped, ranges, design.model)
    points = max(int(grouped.sizes.sum()), 1)
    share = (1.0 - within) @ grouped.sizes / points
    across_rows = float((1.0 - within_rows(row_shares(label, grouped))) @ grouped.sizes) / points
    nugget, variance = np.empty(draws), np.empty(draws)
    for batch in batches:
        beta = design.start[:, None] + design.turn @ batch.coefficients
        nugget[batch.draws] = batch.nugget
        variance[batch.draws] = batch.nugget + batch.field * share[np.searchsorted(ranges, batch.range_m)]
        variance[batch.draws] += batch.rows * across_rows
        variance[batch.draws] += np.einsum("pk,pq,qk->k", beta, spread, beta)
    return nugget, np.sqrt(variance)


def drift_spread(groups: Groups, drift: Floats) -> Floats:
    """Covariance (p, p) of the drift within groups, over the points of all groups."""
    rows = np.asarray(drift, dtype=float)[groups.order]
    rest = rows - np.repeat(groups.average(rows), groups.sizes, axis=0)
    return rest.T @ rest / max(len(rest), 1)
