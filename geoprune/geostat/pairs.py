"""Average correlation among many points, from how many pairs lie how far apart.

All pairs of 10,000 vines are 100 million distances for each range. Counted on a fine lattice by a fast Fourier transform
they are a few thousand distances with their shares, the same for every range.
"""

from __future__ import annotations

import numpy as np
from scipy.fft import irfft2, next_fast_len, rfft2

from geoprune.geostat.covariance import Floats, correlation, distances

DIRECT_POINTS = 400
CELLS = 384
CLASSES = 4096


def average_correlation(one: Floats, other: Floats | None, ranges: Floats, model: str) -> Floats:
    """Average correlation (R,) between points (m, 2) and (k, 2), or among (m, 2) when `other` is None.

    Among themselves a point with itself counts, correlation 1. Up to 400 points a side every pair is taken; beyond, pairs
    are counted between cells of 1/384 of the longer side, whose rounding averages out (its effect on the average is of
    the second order in the cell over the range).
    """
    if max(len(one), len(one) if other is None else len(other)) <= DIRECT_POINTS:
        distance = distances(one, one if other is None else other)
        return np.array([correlation(distance, float(r), model).mean() for r in ranges])
    distance_m, share = pair_shares(one, other)
    averages = np.array([correlation(distance_m, float(r), model) @ share for r in ranges])
    return averages if other is not None else 1.0 / len(one) + (1.0 - 1.0 / len(one)) * averages


def pair_shares(one: Floats, other: Floats | None) -> tuple[Floats, Floats]:
    """Distances (B,) in m and the share of pairs (B,) at each; pairs of different points when `other` is None."""
    both = one if other is None else np.vstack([one, other])
    low = both.min(axis=0)
    cell = max(float(np.ptp(both, axis=0).max()) / CELLS, 1e-9)
    shape = [int(np.ptp(both[:, k]) / cell) + 1 for k in (0, 1)]
    padded = [next_fast_len(2 * size, real=True) for size in shape]
    first = rfft2(_counts(one, low, cell, shape), padded)
    second = first if other is None else rfft2(_counts(other, low, cell, shape), padded)
    pairs = np.rint(irfft2(np.conj(first) * second, padded))
    if other is None:
        pairs[0, 0] -= len(one)
    steps = [np.minimum(np.arange(size), size - np.arange(size)) * cell for size in padded]
    distance = np.hypot(steps[0][:, None], steps[1][None, :])
    distance[0, 0] = 0.5214 * cell  # mean distance of two points in a unit square
    filled = pairs > 0.0
    return _classes(distance[filled], pairs[filled])


def _counts(points: Floats, low: Floats, cell: float, shape: list[int]) -> Floats:
    index = np.minimum(((points - low) / cell).astype(np.int64), np.array(shape) - 1)
    return np.bincount(index[:, 0] * shape[1] + index[:, 1], minlength=shape[0] * shape[1]).reshape(shape).astype(float)


def _classes(distance: Floats, pairs: Floats) -> tuple[Floats, Floats]:
    """Mean distance and share of the pairs in each of CLASSES classes."""
    label = np.minimum((distance * (CLASSES / max(float(distance.max()), 1e-12))).astype(np.int64), CLASSES - 1)
    count = np.bincount(label, pairs, minlength=CLASSES)
    total = np.bincount(label, pairs * distance, minlength=CLASSES)
    filled = count > 0.0
    return total[filled] / count[filled], count[filled] / count.sum()
