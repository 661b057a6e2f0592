"""Which places to weigh: spread over the block, some in close pairs, a spare for each."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from geoprune.sampling.pivotal import local_pivotal
from geoprune.sampling.sites import Sites

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]
#: One weight in ten stands beside another, so that the vine-to-vine part is seen: close companions of a tenth are advised
#: with coverage designs (Lark & Marchant 2018, from memory), and cost the block's mean little (docs/sampling.md).
PAIRED_SHARE = 0.1
#: With fewer weights every one is needed to cover the block, and no map is made (`surface.FEWEST_FOR_MAP`).
FEWEST_TO_PAIR = 15


@dataclass(frozen=True)
class Chosen:
    """Positions in `Sites`: spread (n,) by the random design, beside (p,) their close companions and which of `spread`
    each stands by, spare (n + p,) for spread and then beside (-1 where there is none left); chance: that a site had of
    being among `spread`."""

    spread: Integers
    beside: Integers
    companion_of: Integers
    spare: Integers
    chance: float

    @property
    def sites(self) -> Integers:
        """All places to weigh, spread ones first."""
        return np.concatenate([self.spread, self.beside])


def choose_sites(sites: Sites, count: int, *, further: Floats | None = None, rng: np.random.Generator) -> Chosen:
    """Choose `count` sites (all, where there are no more).

    Parameters
    ----------
    sites : Sites
    count : int
    further : (S, q), optional
        Columns to be spread in besides the ground, as `apart_by` and `beside_ground` give them.
    rng : Generator
    """
    count = min(count, len(sites))
    pairs = round(PAIRED_SHARE * count) if FEWEST_TO_PAIR <= count < len(sites) // 2 else 0
    chance = (count - pairs) / len(sites)
    space = sites.point if further is None else np.hstack([sites.point, further])
    spread = local_pivotal(space, np.full(len(sites), chance), rng=rng)
    beside, of = _companions(sites, spread, pairs, rng)
    return Chosen(spread, beside, of, _spares(sites, np.concatenate([spread, beside])), chance)


def _companions(sites: Sites, spread: Integers, pairs: int, rng: np.random.Generator) -> tuple[Integers, Integers]:
    """For some of the chosen, themselves spread, the nearest site of the same row that is free; and whose they are."""
    if not pairs:
        return np.empty(0, dtype=np.int64), np.empty(0, dtype=np.int64)
    of = local_pivotal(sites.point[spread], np.full(len(spread), pairs / len(spread)), rng=rng)
    taken = set(spread.tolist())
    found, whose = [], []
    for own in of:
        near = next(iter(_nearest_free(sites, int(spread[own]), taken, rng)), None)
        if near is not None:
            taken.add(near)
            found.append(near)
            whose.append(own)
    return np.array(found, dtype=np.int64), np.array(whose, dtype=np.int64)


def _nearest_free(sites: Sites, own: int, taken: set[int], rng: np.random.Generator) -> list[int]:
    """The free sites of a site's row, nearest first; of two as near the one that the draw says."""
    low, high = np.searchsorted(sites.row, [sites.row[own], sites.row[own] + 1])
    same = np.array([k for k in range(low, high) if k not in taken], dtype=np.int64)
    away = np.hypot(*(sites.point[same] - sites.point[own]).T) if len(same) else np.empty(0)
    return [int(k) for k in same[np.lexsort((rng.random(len(same)), np.round(away, 2)))]]


def _spares(sites: Sites, chosen: Integers) -> Integers:
    """For each chosen site the nearest free one of its row, else of the block; each serves once."""
    taken, spare = set(chosen.tolist()), []
    tree, still = cKDTree(sites.point), np.random.default_rng(0)
    for own in chosen.tolist():
        free = _nearest_free(sites, own, taken, still)
        if not free:
            near = np.atleast_1d(tree.query(sites.point[own], k=min(len(sites), len(taken) + 1))[1])
            free = [int(k) for k in near if int(k) not in taken]
        spare.append(free[0] if free else -1)
        taken.update(free[:1])
    return np.array(spare, dtype=np.int64)
