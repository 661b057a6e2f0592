"""Means of the vines of panels, zones and blocks: a finite number of vines, of which some were weighed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from geoprune.geostat import AveragedKriging, GroupDraws, LocalKriging
from geoprune.surface.shape import PLAIN, Shape

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]
FieldFit = AveragedKriging | LocalKriging


@dataclass(frozen=True)
class Support:
    """Vines to average over: points (V, 2) in m, drift (V, p), known_kg (V,) (NaN = not weighed this season), the shape of
    the model, and the rows (V,) they stand in, None where the model has no effect of rows."""

    points: Floats
    drift: Floats
    known_kg: Floats
    shape: Shape = PLAIN
    row: Integers | None = None

    def shares(self, groups: Integers, count: int) -> tuple[Floats, Floats, Floats]:
        """Vines of each group (count,), how many of them are known, and the sum of what these weigh."""
        inside = groups >= 0
        known = inside & np.isfinite(self.known_kg)
        size = np.bincount(groups[inside], minlength=count).astype(float)
        weighed = np.bincount(groups[known], minlength=count).astype(float)
        total = np.bincount(groups[known], self.known_kg[known], minlength=count).astype(float)
        return size, weighed, total

    def unknown(self, groups: Integers) -> Integers:
        """Groups of the vines that were not weighed; -1 for the others."""
        return np.where(np.isfinite(self.known_kg), -1, groups)


def field_means(fit: FieldFit, support: Support, groups: Integers, count: int) -> tuple[Floats, Floats]:
    """Mean of field and rows over the vines of each group, and its variance: (count,) each, on the scale of the model."""
    if isinstance(fit, AveragedKriging):
        return fit.group_means(support.points, groups, count, drift=support.drift, row=support.row)
    return fit.group_means(support.points, groups, count, drift=support.drift)


def _field_draws(fit: FieldFit, support: Support, groups: Integers, count: int, draws: int, *, seed: int) -> GroupDraws:
    """Joint draws of `field_means`."""
    if isinstance(fit, AveragedKriging):
        return fit.simulate_groups(support.points, groups, count, draws, seed=seed, drift=support.drift, row=support.row)
    return fit.simulate_groups(support.points, groups, count, draws, seed=seed, drift=support.drift)


def vine_means(fit: FieldFit, support: Support, groups: Integers, count: int) -> tuple[Floats, Floats]:
    """Mean size of the vines of each group, and its variance: (count,) each, NaN without vines.

    The mean of k vines of which w were weighed is w/k times their weight plus (1 - w/k) times the mean of the others,
    and that is the field's mean over them plus the mean of their own k - w parts. So the variance is (1 - w/k)^2 times
    (variance of the field's mean + nugget / (k - w)): what is left to know of *these* vines, not of a boundless soil.
    With a transform the field counts as even within a group, so groups should then be panels.
    """
    size, weighed, total = support.shares(groups, count)
    mean, variance = field_means(fit, support, support.unknown(groups), count)
    shape, rest = support.shape, size - weighed
    single = shape.variance(mean, variance + fit.nugget)
    field = shape.field_variance(mean, variance, fit.nugget)
    with np.errstate(invalid="ignore", divide="ignore"):
        left = rest / size
        spread = np.where(rest > 0, left**2 * (field + (single - field) / rest), 0.0)
        mean = total / size + np.where(rest > 0, left * shape.mean(mean, variance + fit.nugget), 0.0)
    return np.where(size > 0, mean, np.nan), np.where(size > 0, spread, np.nan)


def vine_draws(
    fit: FieldFit, support: Support, groups: Integers, count: int, draws: int, *, seed: int
) -> tuple[Floats, Floats]:
    """Equally likely states: (draws, count) joint means of the vines of each group, and the sd of a vine about it.

    The sd is (draws,), or (draws, count) with a transform, where large vines scatter more.
    """
    size, weighed, total = support.shares(groups, count)
    drawn = _field_draws(fit, support, support.unknown(groups), count, draws, seed=seed)
    rng, shape = np.random.default_rng([seed, 1]), support.shape
    rest, field = size - weighed, np.nan_to_num(drawn.mean)
    typical = np.maximum(np.median(size[size > 0]), 1.0)
    own = np.sqrt(1.0 - 1.0 / typical)
    if shape.is_plain:
        spread = np.sqrt(drawn.nugget[:, None] / np.maximum(rest, 1.0)[None, :])
        others = rest * (field + spread * rng.standard_normal((draws, count)))
        return (total + others) / np.maximum(size, 1.0), drawn.vine_sd * own
    others = np.zeros((draws, count))
    for k in range(int(rest.max(initial=0.0))):
        vine = shape.backward(field + drawn.vine_sd[:, None] * rng.standard_normal((draws, count)))
        others += np.where(k < rest, vine, 0.0)
    scatter = np.sqrt(shape.variance(field, np.square(drawn.vine_sd)[:, None]))
    return (total + others) / np.maximum(size, 1.0), scatter * own


def means_of(
    fit: FieldFit,
    support: Support,
    groups: Integers,
    count: int,
    panel_kg: Floats,
    draws: Floats,
    weight: Floats,
    panel: Integers,
) -> tuple[Floats, Floats]:
    """Mean and standard error (count,) of large groups of vines, each made of whole panels.

    groups (V,) label of each vine, panel (V,) its panel, -1 for none; panel_kg (P,) and draws (D, P) of the panels'
    means, weight (P,) their vines. By block kriging; with a transform sums of panels are not normal, and with the nearest
    samples only a zone is no single system: there the mean is that of the panels and the error comes from the draws.
    """
    if support.shape.is_plain and isinstance(fit, AveragedKriging):
        mean, variance = vine_means(fit, support, groups, count)
        return mean, np.sqrt(variance)
    label = np.full(len(weight), -1)
    inside = panel >= 0
    label[panel[inside]] = groups[inside]
    share = np.where(label[None, :] == np.arange(count)[:, None], weight[None, :], 0.0)
    share /= np.maximum(share.sum(axis=1, keepdims=True), 1e-12)
    return share @ np.nan_to_num(panel_kg), (draws @ share.T).std(axis=0, ddof=1)
