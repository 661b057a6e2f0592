"""Prediction as linear and quadratic forms in the correlations with the samples.

Kriging with known parameters has mean x'b + c'w and variance s - c'A c + |T'[c, x]|^2, with c the correlations of a
target with the samples and x its drift. A weighted mixture over nugget shares of one range is again such a pair, so
that a whole mixture costs one exponential and one product for each range.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from geoprune.geostat.covariance import Floats, correlation, distances
from geoprune.threads import run_parts

CHUNK_DOUBLES = 2**17
FEWEST_ROWS = 256
BLOCK_COLUMNS = 128


@dataclass(frozen=True)
class Form:
    """Moments of a target for one range: mean and second moment.

    mean = linear'[c, x]; second = prior * own + row_prior * own_rows - |lower c|^2 + |low'[c, x]|^2, with c (n,)
    correlations, x (p,) drift, own the average correlation within the target and own_rows the share of its pairs that stand
    in one row (1 for a point); lower (n, n) triangular, low (n + p, q). With rows c also holds the target's share in each
    sampled row.
    """

    range_m: float
    prior: float
    lower: Floats
    low: Floats
    linear: Floats
    row_prior: float = 0.0

    @cached_property
    def _tail(self) -> Floats:
        """Columns (n + p, q + 1): low, then linear; one product serves both."""
        return np.ascontiguousarray(np.column_stack([self.low, self.linear]))

    def moments(
        self, cross: Floats, drift: Floats, own: Floats | float = 1.0, own_rows: Floats | float = 1.0
    ) -> tuple[Floats, Floats]:
        """Mean and second moment (m,) for correlations (m, n) and drift (m, p) or (1, p)."""
        n = len(self.lower)
        tail = cross @ self._tail[:n]
        tail += drift @ self._tail[n:]
        second = np.einsum("mq,mq->m", tail[:, :-1], tail[:, :-1])
        second += self.prior * own + self.row_prior * own_rows
        for part in _blocks(n):
            rotated = cross[:, : part.stop] @ self.lower[part, : part.stop].T
            second -= np.einsum("mq,mq->m", rotated, rotated)
        return tail[:, -1], second


def _blocks(n: int) -> list[slice]:
    """Row blocks of a triangle: none of the empty half is multiplied, in pieces large enough for BLAS."""
    step = n if n < 96 else -(-n // max(4, n // BLOCK_COLUMNS))
    return [slice(start, min(start + step, n)) for start in range(0, n, step)]


def _upper(matrix: Floats) -> Floats:
    return np.asarray(np.linalg.qr(matrix, mode="r"), dtype=float)


def compress(columns: Floats) -> Floats:
    """Fewest columns with the same sum of squared products: columns (k, q) to (k, min(k, q))."""
    if columns.shape[1] <= columns.shape[0]:
        return columns
    return _upper(columns.T).T


def lower_root(rows: Floats) -> Floats:
    """Lower triangle W with W'W = rows'rows, for rows (k, n)."""
    lacking = max(rows.shape[1] - rows.shape[0], 0)
    full = np.vstack([rows, np.zeros((lacking, rows.shape[1]))]) if lacking else rows
    return _upper(full[:, ::-1])[::-1, ::-1].copy()


def chunks(count: int, width: int) -> list[slice]:
    """Slices of 0..count with about CHUNK_DOUBLES / width rows each, 256 at least."""
    step = max(FEWEST_ROWS, CHUNK_DOUBLES // max(width, 1))
    return [slice(start, min(start + step, count)) for start in range(0, count, step)]


def mix_points(
    forms: Sequence[Form],
    samples: Floats,
    targets: Floats,
    drift: Floats,
    model: str,
    *,
    in_rows: Floats | None = None,
    threads: int | None = None,
) -> tuple[Floats, Floats]:
    """Summed mean and second moment (m,) of all forms at points (m, 2); drift (m, p) or (1, p), in_rows (m, q) shares in
    the sampled rows."""
    mean, second = np.zeros(len(targets)), np.zeros(len(targets))

    def work(part: slice) -> None:
        distance = distances(targets[part], samples)
        rows = drift if len(drift) == 1 else drift[part]
        for form in forms:
            cross = correlation(distance, form.range_m, model)
            m, s = form.moments(cross if in_rows is None else np.hstack([cross, in_rows[part]]), rows)
            mean[part] += m
            second[part] += s

    run_parts(work, chunks(len(targets), len(samples)), threads=threads)
    return mean, second
