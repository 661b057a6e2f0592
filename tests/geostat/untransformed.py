"""Group means of weights whose root or logarithm was kriged: averages of back-transformed fields, never the other way."""

from __future__ import annotations

import numpy as np

from geoprune.geostat.averaging import AveragedKriging
from geoprune.geostat.covariance import Floats
from geoprune.geostat.design import Integers
from geoprune.geostat.forms import CHUNK_DOUBLES
from geoprune.geostat.simulation import WAVE_POINTS, GroupDraws, coefficients_of, conditional_fields, draw_batches
from geoprune.geostat.transform import Transform
from geoprune.threads import run_parts, single_blas


@single_blas()
def simulate_untransformed(
    kriging: AveragedKriging,
    transform: Transform,
    points: Floats,
    groups: Integers,
    count: int,
    draws: int,
    *,
    seed: int,
    drift: Floats | None = None,
) -> GroupDraws:
    """Joint draws of group means of the untransformed quantity; `kriging` was fitted to transformed values.

    In each draw a vine's expected weight is the mean of the back-transformed normal law with the drawn field as mean
    and the draw's nugget as variance; these are averaged over each group. So the means over draws are unbiased, which
    the back-transformed mean of logarithms is not. Arguments as in `AveragedKriging.group_means`; the result's nugget is
    the mean variance of a vine about its expected weight, vine_sd adds how expected weights vary within a group. For
    logarithms the total variance is held at its mean in each draw, because a mean over its heavy-tailed law is infinite.

    Returns NaN for a group without points.
    """
    design = kriging.design
    grouped = kriging.group(points, groups, count)
    batches = list(draw_batches(kriging, draws, seed, draw_variance=transform.power != 0.0))
    coefficients = coefficients_of(batches, draws)
    rows = kriging.drift_rows(drift)
    rows = rows if drift is None else rows[grouped.order]
    nugget = np.empty(draws)
    for batch in batches:
        nugget[batch.draws] = batch.nugget

    def work(item: tuple[slice, slice]) -> tuple[Floats, Floats, Floats]:
        part, own = item[0], rows if drift is None else rows[item[0]]
        field = conditional_fields(design, batches, draws, grouped.place[part])
        field += design.target_basis(own) @ coefficients + design.start_at(own)[:, None]
        expected = transform.mean(field, nugget)
        scatter = transform.variance(field, nugget)
        return grouped.matrix(part) @ expected, np.square(expected).sum(axis=0), scatter.sum(axis=0)

    items = grouped.parts(CHUNK_DOUBLES // WAVE_POINTS)
    mean, squares, scatter = np.zeros((count, draws)), np.zeros(draws), np.zeros(draws)
    for (_, touched), (average, square, own) in zip(items, run_parts(work, items), strict=True):
        mean[touched] += average
        squares += square
        scatter += own
    total = max(int(grouped.sizes.sum()), 1)
    within = np.maximum(squares - grouped.sizes @ np.square(mean), 0.0) / total
    mean[grouped.sizes == 0] = np.nan
    return GroupDraws(mean.T, scatter / total, np.sqrt(within + scatter / total))
