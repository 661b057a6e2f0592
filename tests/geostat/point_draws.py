"""Conditional draws at points and the joint covariance of a few groups: what draws and means are held against."""

from __future__ import annotations

import numpy as np

from geoprune.geostat import AveragedKriging
from geoprune.geostat.averaging import cross_averages
from geoprune.geostat.covariance import Floats
from geoprune.geostat.design import Integers
from geoprune.geostat.forms import CHUNK_DOUBLES, Form, chunks
from geoprune.geostat.groups import Groups, average_correlation, within_averages
from geoprune.geostat.simulation import WAVE_POINTS, coefficients_of, conditional_fields, draw_batches
from geoprune.threads import run_parts


def simulate_points(
    kriging: AveragedKriging, points: Floats, draws: int, *, seed: int, drift: Floats | None = None
) -> tuple[Floats, Floats]:
    """Joint conditional draws (draws, m) of the field at points (m, 2), and each draw's nugget variance (draws,)."""
    design, place = kriging.design, kriging.design.locate(points)
    batches = list(draw_batches(kriging, draws, seed))
    coefficients, result = coefficients_of(batches, draws), np.empty((draws, len(place)))
    rows = np.broadcast_to(kriging.drift_rows(drift), (len(place), len(coefficients)))

    def work(part: slice) -> None:
        field = conditional_fields(design, batches, draws, place[part])
        field += design.target_basis(rows[part]) @ coefficients + design.start_at(rows[part])[:, None]
        result[:, part] = field.T

    run_parts(work, chunks(len(place), CHUNK_DOUBLES // WAVE_POINTS))
    nugget = np.empty(draws)
    for batch in batches:
        nugget[batch.draws] = batch.nugget
    return result, nugget


def between_averages(groups: Groups, ranges: Floats, model: str) -> Floats:
    """Average correlations (R, count, count) between groups, the diagonal as `within_averages`; for few groups."""
    count = len(groups.sizes)
    result = np.full((len(ranges), count, count), np.nan)
    within = within_averages(groups, ranges, model)
    filled = np.flatnonzero(groups.sizes > 0)
    for a, g in enumerate(filled):
        result[:, g, g] = within[:, g]
        for h in filled[a + 1 :]:
            pair = average_correlation(groups.members(int(g)), groups.members(int(h)), ranges, model)
            result[:, g, h] = result[:, h, g] = pair
    return result


def joint(form: Form, cross: Floats, drift: Floats, between: Floats) -> tuple[Floats, Floats]:
    """Mean (m,) and second-moment matrix (m, m), `between` (m, m) the average correlations between targets."""
    n = len(form.lower)
    mean = cross @ form.linear[:n] + drift @ form.linear[n:]
    low = cross @ form.low[:n] + drift @ form.low[n:]
    rotated = cross @ form.lower.T
    return mean, form.prior * between - rotated @ rotated.T + low @ low.T


def covariance_of_groups(
    kriging: AveragedKriging, points: Floats, groups: Integers, count: int, drift: Floats | None = None
) -> tuple[Floats, Floats]:
    """Means (count,) and their joint covariance (count, count), for contrasts between a few groups.

    Arguments as in `group_means`; the diagonal equals its variances.
    """
    grouped = kriging.group(points, groups, count)
    rows = kriging.group_rows(grouped, drift)
    basis = kriging.design.target_basis(rows)
    cross = cross_averages(grouped, kriging.design.place, kriging.ranges, kriging.design.model)
    between = between_averages(grouped, kriging.ranges, kriging.design.model)
    parts = [joint(form, c, basis, b) for form, c, b in zip(kriging.forms, cross, between, strict=True)]
    mean, second = np.sum([p[0] for p in parts], axis=0), np.sum([p[1] for p in parts], axis=0)
    return mean + kriging.design.start_at(rows), second - np.outer(mean, mean)
