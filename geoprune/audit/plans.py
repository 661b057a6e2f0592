"""How many vines to recount, and how many may be off: single sampling plans for normal inspection by attributes.

ISO 2859-1:1999, table 2-A (the same figures as MIL-STD-105E, table II-A, which is public): sample sizes by code letter, and
acceptance numbers that run along the table's diagonals. The code letter is chosen by the certainty that is wanted, not by
the lot size of table 1.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

#: Code letters and their sample sizes.
SIZES = {
    **{"A": 2, "B": 3, "C": 5, "D": 8, "E": 13, "F": 20, "G": 32, "H": 50},
    **{"J": 80, "K": 125, "L": 200, "M": 315, "N": 500, "P": 800, "Q": 1250},
}
LETTERS = tuple(SIZES)
#: Acceptance quality limits, percent of vines off, from the least that makes sense here; above 10 the standard's limits are
#: faults per hundred pieces and no longer shares of them.
AQLS = (0.65, 1.0, 1.5, 2.5, 4.0, 6.5, 10.0)
#: Down each diagonal: 0, then twice an arrow (up: the plan above, down: the plan below), then these, then arrows up.
_UP, _DOWN = -1, -2
_DIAGONAL = (0, _UP, _DOWN, 1, 2, 3, 5, 7, 10, 14, 21)
#: Where the diagonal's 0 stands: the place of its letter plus that of its limit in `AQLS` (F at 0.65, E at 1.0 ...).
_ZERO = LETTERS.index("F")
#: A lot as good as the limit is accepted so often where the table has no plan of that size (the usual producer's risk, 5 %).
ACCEPT_GOOD = 0.95


@dataclass(frozen=True)
class SamplingPlan:
    """Recount `size` vines; accept where at most `accept` are off. `letter` is "" where the plan is not of the table."""

    size: int
    accept: int
    aql: float
    letter: str = ""

    def chance(self, share_off: ArrayLike, lot: int | None = None) -> NDArray[np.float64]:
        """Chance that a lot with this share of vines off is accepted; see `chance_to_accept`."""
        return chance_to_accept(self.size, self.accept, share_off, lot=lot)


def single_plan(letter: str, aql: float) -> SamplingPlan:
    """Return the plan of the table for a code letter and a limit in percent, arrows followed.

    Raises
    ------
    ValueError
        For a letter or limit that the table (as far as it is held here) does not know.

    Examples
    --------
    >>> single_plan("J", 4.0)
    SamplingPlan(size=80, accept=7, aql=4.0, letter='J')
    >>> single_plan("G", 1.0)  # arrow down: the first plan below
    SamplingPlan(size=50, accept=1, aql=1.0, letter='H')
    """
    if letter not in SIZES or aql not in AQLS:
        raise ValueError(f"no plan for code letter {letter} and limit {aql:g} percent")
    place = LETTERS.index(letter)
    seen = _cell(place, aql)
    if seen in (_UP, _DOWN):
        way = -1 if seen == _UP else 1
        while seen < 0:
            place += way
            seen = _cell(place, aql)
    return SamplingPlan(SIZES[LETTERS[place]], seen, aql, LETTERS[place])


def _cell(place: int, aql: float) -> int:
    """What stands in the table: an acceptance number, or an arrow."""
    along = place - _ZERO + AQLS.index(aql)
    if along < 0:
        return _DOWN
    if along >= len(_DIAGONAL):
        return _UP
    seen = _DIAGONAL[along]
    return _DOWN if seen == _UP and place == 0 else seen  # nothing stands above the first letter


def chance_to_accept(size: int, accept: int, share_off: ArrayLike, *, lot: int | None = None) -> NDArray[np.float64]:
    """Return the operating characteristic: the chance that at most `accept` of `size` vines are off.

    Binomial, or hypergeometric in a lot of so many vines (shares are then rounded to whole vines): ISO 2859-1, 12.1 and
    annex on operating characteristics.

    Examples
    --------
    >>> chance_to_accept(125, 2, 0.1).round(9).item()
    0.000210835
    """
    share = np.asarray(share_off, dtype=float)
    if lot is None:
        from scipy.stats import binom  # loads for half a second, and a fault of the files is told before

        return np.asarray(binom.cdf(accept, size, share), dtype=float)
    from scipy.stats import hypergeom

    return np.asarray(hypergeom.cdf(accept, lot, np.rint(share * lot).astype(int), min(size, lot)), dtype=float)


@cache
def plan_by_size(size: int, aql: float) -> SamplingPlan:
    """Return the plan for so many vines: the table's, or where it has no such size, the one with the fewest off with which a
    lot as good as the limit is accepted 95 times in 100 (binomial); its letter is "".

    Examples
    --------
    >>> plan_by_size(50, 6.5)
    SamplingPlan(size=50, accept=7, aql=6.5, letter='H')
    >>> plan_by_size(40, 6.5)
    SamplingPlan(size=40, accept=5, aql=6.5, letter='')
    """
    letter = next((letter for letter, vines in SIZES.items() if vines == size), "")
    plan = single_plan(letter, aql) if letter else None
    if plan is not None and plan.letter == letter:
        return plan
    from scipy.stats import binom

    return SamplingPlan(size, int(binom.ppf(ACCEPT_GOOD, size, aql / 100)), aql)


def choose_plan(lot: int, *, aql: float, redo_from: float, certainty: float) -> SamplingPlan:
    """Return the smallest plan of the table that finds a bad lot with the wanted certainty.

    Parameters
    ----------
    lot : int
        Vines pruned to a number.
    aql : float
        Percent of vines off that is still good work; one of `AQLS`.
    redo_from, certainty : float
        A lot with this share of vines off (above the limit) must be found out with this chance.

    Returns
    -------
    SamplingPlan
        Of the whole lot, with as many off as the limit allows, where no plan of the table is smaller than the lot.

    Raises
    ------
    ValueError
        If `redo_from` is not above the limit, or there is no vine.
    """
    if lot < 1 or not aql / 100 < redo_from <= 1 or not 0 < certainty < 1:
        raise ValueError("a plan needs vines, a share to redo above the limit, and a certainty between 0 and 1")
    for letter in LETTERS:
        plan = single_plan(letter, aql)
        if plan.letter == letter and plan.size < lot and plan.chance(redo_from, lot) <= 1 - certainty:
            return plan
    return SamplingPlan(lot, int(lot * aql / 100), aql)
