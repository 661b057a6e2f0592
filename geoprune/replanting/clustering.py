"""Do gaps, or sick vines, stand together more than chance? Join counts over neighbouring planting positions.

Cliff & Ord 1981, Spatial Processes, Pion, chapter 1: moments under non-free sampling. The p value is that of a permutation
test (Besag & Diggle 1977, Applied Statistics 26:327-333): which positions are marked is dealt out anew, their number kept.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from geoprune.errors import Message
from geoprune.replanting.stand import Stand

Bools = NDArray[np.bool_]
Integers = NDArray[np.int64]

#: The smallest p value is then 1 in 1000.
PERMUTATIONS = 999
#: With fewer marked vines the test can hardly show anything (design choice).
FEWEST = 5
#: Below this p value vines are said to stand together (usual practice).
SURE = 0.05


@dataclass(frozen=True)
class JoinCount:
    """Pairs of neighbours that are both marked, beside what chance alone would give.

    joins : pairs of neighbours; marked : marked positions; positions : all; both : pairs with both marked
    expected, variance : of `both` when the marks are dealt out by chance; p_value : chance of so many or more
    """

    joins: int
    marked: int
    positions: int
    both: int
    expected: float
    variance: float
    p_value: float

    @property
    def together(self) -> bool:
        """Whether the marked stand together more than chance."""
        return self.marked >= FEWEST and self.p_value < SURE


@dataclass(frozen=True)
class Clustering:
    """Join counts of one kind of vine ("gone" or "sick"): of all neighbours, along rows, and across rows."""

    kind: str
    all: JoinCount
    along: JoinCount
    across: JoinCount

    @property
    def messages(self) -> tuple[Message, ...]:
        """What is said of it: the figures, and to have it tested; never a diagnosis."""
        count, name = self.all, Message(f"replant.{self.kind}_vines")
        if count.marked < FEWEST:
            return ()
        fields = {"kind": name, "both": count.both, "expected": count.expected, "p": count.p_value, "marked": count.marked}
        if not count.together:
            return (Message("replant.scattered", fields),)
        sentences = [Message("replant.clustered", fields)]
        if self.along.together != self.across.together:
            sentences.append(Message("replant.along" if self.along.together else "replant.across"))
        return (*sentences, Message("replant.have_tested"))


def find_clusterings(stand: Stand, *, seed: int = 0) -> tuple[Clustering, ...]:
    """Join counts of gaps, and of vines marked diseased, of one block."""
    joins = {"all": np.concatenate([stand.along, stand.across]), "along": stand.along, "across": stand.across}
    found = []
    for kind, marked in (("gone", stand.gone), ("sick", stand.sick)):
        many = PERMUTATIONS if marked.sum() >= FEWEST else 0
        counts = {name: count_joins(pairs, marked, permutations=many, seed=seed) for name, pairs in joins.items()}
        found.append(Clustering(kind, **counts))
    return tuple(found)


def count_joins(joins: Integers, marked: Bools, *, permutations: int = PERMUTATIONS, seed: int = 0) -> JoinCount:
    """Count neighbours that are both marked, and hold the count against chance.

    Parameters
    ----------
    joins : (J, 2)
        Pairs of neighbours, each pair once.
    marked : (V,)
    permutations : int
    seed : int

    Returns
    -------
    JoinCount
        With J joins, n positions, m marked and L_i joins at a position: ``E = J p2``,
        ``E[both^2] = J p2 + A p3 + (J^2 - J - A) p4``, ``A = sum L_i (L_i - 1)``,
        ``pk = m (m - 1) ... / (n (n - 1) ...)`` with k factors each.
    """
    joins, marked = np.asarray(joins, dtype=np.int64).reshape(-1, 2), np.asarray(marked, dtype=bool)
    both = int((marked[joins[:, 0]] & marked[joins[:, 1]]).sum())
    mean, variance = expected_joins(joins, len(marked), int(marked.sum()))
    reached = 0
    generator = np.random.default_rng(seed)
    if 1 < marked.sum() < len(marked) and len(joins):
        for _ in range(permutations):
            dealt = np.zeros(len(marked), dtype=bool)
            dealt[generator.choice(len(marked), int(marked.sum()), replace=False)] = True
            reached += int((dealt[joins[:, 0]] & dealt[joins[:, 1]]).sum()) >= both
        p_value = (reached + 1) / (permutations + 1)
    else:
        p_value = 1.0
    return JoinCount(len(joins), int(marked.sum()), len(marked), both, mean, variance, p_value)


def expected_joins(joins: Integers, positions: int, marked: int) -> tuple[float, float]:
    """Mean and variance of the joins with both ends marked when marks are dealt out by chance."""
    count = float(len(joins))
    ends = np.bincount(joins.ravel(), minlength=positions).astype(float)
    sharing = float((ends * (ends - 1)).sum())
    p2, p3, p4 = (_falling(marked, k) / max(_falling(positions, k), 1.0) for k in (2, 3, 4))
    mean = count * p2
    square = count * p2 + sharing * p3 + (count**2 - count - sharing) * p4
    return mean, max(square - mean**2, 0.0)


def _falling(number: int, factors: int) -> float:
    return float(np.prod([max(number - k, 0) for k in range(factors)], dtype=float))
