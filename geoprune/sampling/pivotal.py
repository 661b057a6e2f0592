"""The local pivotal method: a random sample that is spread out, with the chances of being chosen held exactly."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]
#: Neighbours looked up at once; a unit that has outlived them all is looked up again.
NEIGHBOURS = 16
#: A probability this near to 0 or 1 is one.
SETTLED = 1e-9


def local_pivotal(points: Floats, chance: Floats, *, rng: np.random.Generator) -> Integers:
    """Draw a spatially balanced sample with given inclusion probabilities.

    A unit at random meets its nearest neighbour among the undecided: one of the two is decided, the other takes what is
    left of both chances, so that sums and each unit's own chance are kept (Grafstrom, Lundstrom & Schelin 2012,
    Biometrics 68:514-520, "local pivotal method 2"). Neighbours rarely are chosen both, and places empty of chosen units
    are rare.

    Parameters
    ----------
    points : (N, q)
        Coordinates to be spread in, m: easting and northing, and further columns for what is to be balanced besides.
    chance : (N,)
        Inclusion probabilities, 0 to 1; their sum is the size of the sample (a whole number gives that size always).
    rng : Generator

    Returns
    -------
    array of int, (n,)
        Positions of the chosen units, ascending.

    Raises
    ------
    ValueError
        If a chance is not between 0 and 1.

    Examples
    --------
    >>> line = np.column_stack([np.arange(10.0), np.zeros(10)])
    >>> len(local_pivotal(line, np.full(10, 0.3), rng=np.random.default_rng(0)))
    3
    """
    if not ((chance >= 0) & (chance <= 1)).all():
        raise ValueError("inclusion probabilities lie between 0 and 1")
    left: list[float] = chance.astype(float).tolist()
    open_ = (chance > SETTLED) & (chance < 1 - SETTLED)
    while open_.sum() > 1:
        _fight_out(points, left, open_, rng)
    if open_.any():
        last = int(np.flatnonzero(open_)[0])
        left[last] = float(rng.random() < left[last])
    return np.flatnonzero(np.asarray(left) > 0.5)


def _fight_out(points: Floats, left: list[float], open_: NDArray[np.bool_], rng: np.random.Generator) -> None:
    """Decide units until half of the undecided are left, and note them in `left` and `open_`."""
    ids = np.flatnonzero(open_)
    here = points[ids]
    near = cKDTree(here).query(here, k=min(NEIGHBOURS + 1, len(ids)))[1].tolist()
    alive, goal = list(range(len(ids))), max(1, len(ids) // 2)
    place = list(range(len(ids)))  # where each stands in `alive`; -1 when decided
    draws = rng.random(2 * len(ids)).tolist()
    while len(alive) > goal:
        own = alive[int(draws.pop() * len(alive))]
        other = next((k for k in near[own] if k != own and place[k] >= 0), -1)
        if other < 0:
            among = np.array([k for k in alive if k != own])
            other = int(among[np.square(here[among] - here[own]).sum(axis=1).argmin()])
        i, j = int(ids[own]), int(ids[other])
        left[i], left[j] = _meet(left[i], left[j], draws.pop())
        for k, unit in ((own, i), (other, j)):
            if left[unit] <= SETTLED or left[unit] >= 1 - SETTLED:
                left[unit], open_[unit] = float(round(left[unit])), False
                alive[place[k]] = alive[-1]
                place[alive[-1]] = place[k]
                alive.pop()
                place[k] = -1


def _meet(one: float, other: float, draw: float) -> tuple[float, float]:
    """The chances of two units after they met: one is 0 or 1, the sum is kept, and so is each unit's own on average."""
    total = one + other
    if total < 1:
        return (total, 0.0) if draw * total < one else (0.0, total)
    return (1.0, total - 1) if draw * (2 - total) < 1 - other else (total - 1, 1.0)
