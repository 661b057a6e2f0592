"""How zones are drawn."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Labels = NDArray[np.int64]
#: Vine size (kg) to buds. It may carry `floor` and `cap`, as `rules.BudNeed` does: then counts prescribed keep them.
Need = Callable[[Floats], Floats]


@dataclass(frozen=True)
class ZoneOptions:
    """Choices of a drawing. Every default is a design choice of ours with its reason here, unless a source is named.

    Attributes
    ----------
    max_zones : int
        Most zones. 3: small, middle, large is what a crew keeps in its head (common practice, no source).
    bud_step : int or None
        Bud counts are multiples of it. None: `counts`, and where these are not given either, a step that follows from
        the block's usual number (`geoprune.zones.counts.usual_step`).
    counts : tuple of int
        Bud counts a crew can be given, rising, such as `rules.countable_counts` gives for a training. A `bud_step` goes
        before them.
    over_weight : float
        One bud too many weighs this many buds too few. 1.25: over-cropping does lasting harm; when in doubt leave
        fewer (direction common practice; the size is ours).
    change_cost : float
        Price of a change of number along a row, in vines: as much as giving this many vines a number that is wrong
        by the whole difference. 0.25: on simulated vineyards zones then fit best for about one change a row
        (docs/method-zones.md); a crew short of tape asks for more.
    neighbour_share : float
        Price where panels of neighbouring rows differ, per pair of panels, as a share of `change_cost`. 0.2: nobody ties
        tape there, but straight edges are easier to follow and to check.
    shortest_run : int
        Shortest run of one number along a row, in panels. 3: some ten vines, half an hour of one pruner. A row
        shorter than this is one run.
    most_changes : int
        Most changes of number along a row.
    smallest_piece : int
        Smallest connected piece of a zone, in panels: two rows of shortest runs, so there are no islands.
    smallest_share, smallest_ha : float
        Smallest zone, all its pieces together, as a share of the block's panels and in hectares. Both hold.
    worth : float
        What a vine pruned nearer its own number is worth: so many per cent of the minutes of its pruning for each per cent
        of the number. 5: half of a wrong number is made good by the vine itself, which sets more on fewer shoots, and a
        crop is worth some ten times its pruning, less for juice and more for wine (common practice, no source; the
        product is ours).
        0: zones are never worth their marks.
    minutes_per_vine : float
        Of pruning; what marks and walking are weighed against. 3, as in `rules.plan_labour`.
    minutes_per_mark : float
        To find a post, mark it and check the number. 0.3: some twenty seconds. Walking comes on top, see
        `geoprune.zones.worth.marking_minutes`.

    Raises
    ------
    ValueError
        Listing every choice below its least value.
    """

    max_zones: int = 3
    bud_step: int | None = None
    counts: tuple[int, ...] = ()
    over_weight: float = 1.25
    change_cost: float = 0.25
    neighbour_share: float = 0.2
    shortest_run: int = 3
    most_changes: int = 3
    smallest_piece: int = 6
    smallest_share: float = 0.05
    smallest_ha: float = 0.0
    worth: float = 5.0
    minutes_per_vine: float = 3.0
    minutes_per_mark: float = 0.3

    def __post_init__(self) -> None:
        wrong = [
            f"{name} must be at least {least}, not {getattr(self, name)}"
            for name, least in LEAST.items()
            if getattr(self, name) is not None and not getattr(self, name) >= least
        ]
        if not self.smallest_share < 0.5:
            wrong.append(f"smallest_share must be below 0.5, not {self.smallest_share}")
        if list(self.counts) != sorted({count for count in self.counts if count >= 1}):
            wrong.append(f"counts must rise from 1 or more, not {self.counts}")
        if wrong:
            raise ValueError("; ".join(wrong))

    @property
    def neighbour_cost(self) -> float:
        """Price where panels of neighbouring rows differ, in vines, per pair of panels."""
        return self.neighbour_share * self.change_cost


LEAST: dict[str, float] = {
    "max_zones": 1,
    "bud_step": 1,
    "over_weight": 0.1,
    "change_cost": 0,
    "neighbour_share": 0,
    "shortest_run": 1,
    "most_changes": 0,
    "smallest_piece": 1,
    "smallest_share": 0,
    "smallest_ha": 0,
    "worth": 0,
    "minutes_per_vine": 0.01,
    "minutes_per_mark": 0,
}


def within_limits(counts: Floats | Labels, need: Need) -> Floats:
    """Counts held to 1 and the need's floor and cap: one beyond becomes the whole number next to it that keeps them."""
    floor, cap = getattr(need, "floor", None), getattr(need, "cap", None)
    least, most = np.ceil(floor or 1.0), np.inf if cap is None else max(np.floor(cap), 1.0)
    return np.clip(np.asarray(counts, dtype=float), min(max(least, 1.0), most), most)
