"""How zones are drawn, and what a drawing of zones holds."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from geoprune.zones.saying import Message, tell

Floats = NDArray[np.float64]
Labels = NDArray[np.int64]
Need = Callable[[Floats], Floats]


@dataclass(frozen=True)
class ZoneOptions:
    """Choices of a drawing. Every default is a design choice of ours with its reason here, unless a source is named.

    max_zones : most zones. 3: small, middle, large is what a crew keeps in its head (common practice, no source).
    bud_step : bud counts are multiples of it. 5: people count in fives (common practice, no source).
    over_weight : one bud too many weighs this many buds too few. 1.25: over-cropping does lasting harm; when in
        doubt leave fewer (direction common practice; the size is ours).
    zones : ask for this many zones instead of choosing the number; None chooses.
    change_cost : price of a change of number along a row, in vines: it costs as much as telling this many vines
        a number that is wrong by the whole difference. 1: one change in four is overrun by a panel of four vines.
    neighbour_cost : the same where panels of neighbouring rows differ, per pair of panels. 0.2: nobody has to
        notice anything while walking there, but straight edges are easier to follow and to check.
    min_run_panels : shortest run of one number along a row. 3 panels: about ten vines, half an hour's work of one
        pruner at 3 minutes per vine. A row shorter than this is one run.
    max_changes_per_row : most changes of number along a row. 3.
    min_part_panels : smallest connected piece of a zone. 6: two rows of shortest runs; no islands.
    min_zone_panels, min_zone_ha : smallest zone (all its pieces together). 10 panels; 0 ha. A zone below either
        is not kept.
    min_saving_buds : less saved per vine, against one number, is not worth the tape. 1 bud.
    min_step_buds : what each zone beyond the second must save on top. 0.25 buds per vine.
    far_off_buds : "told more than this many buds off". 5.
    interval : content of the intervals. 0.9.
    seed : of the vines drawn for the merit.
    """

    max_zones: int = 3
    bud_step: int = 5
    over_weight: float = 1.25
    zones: int | None = None
    change_cost: float = 1.0
    neighbour_cost: float = 0.2
    min_run_panels: int = 3
    max_changes_per_row: int = 3
    min_part_panels: int = 6
    min_zone_panels: int = 10
    min_zone_ha: float = 0.0
    min_saving_buds: float = 1.0
    min_step_buds: float = 0.25
    far_off_buds: float = 5.0
    interval: float = 0.9
    seed: int = 0

    def __post_init__(self) -> None:
        wrong = [
            f"{name} must be at least {least}, not {getattr(self, name)}"
            for name, least in LEAST.items()
            if getattr(self, name) is not None and not getattr(self, name) >= least
        ]
        if not 0 < self.interval < 1:
            wrong.append(f"interval must lie between 0 and 1, not {self.interval}")
        if wrong:
            raise ValueError("; ".join(wrong))


LEAST: dict[str, float] = {
    "max_zones": 1,
    "zones": 1,
    "bud_step": 1,
    "over_weight": 0.1,
    "change_cost": 0,
    "neighbour_cost": 0,
    "min_run_panels": 1,
    "max_changes_per_row": 0,
    "min_part_panels": 1,
    "min_zone_panels": 1,
    "min_zone_ha": 0,
    "min_saving_buds": 0,
    "min_step_buds": 0,
    "far_off_buds": 0,
}


@dataclass(frozen=True)
class Zoning:
    """Zones of whole panels and what they are worth.

    panel_zone : (P,) zone of each panel, 1..k, 1 = smallest vines
    buds_per_vine : (k,) bud count of each zone
    verdict : "zone" or "one_number"; then there is one zone, and its count is `one_number_buds`
    reasons : why, in words that can be told in any language
    one_number_buds : the best single count for the block
    merit : see `geoprune.zones.merit.tell_merit`
    curve : one entry per number of zones tried (zones, buds_per_vine, misfit_buds, saving_buds, cost, lower_bound)
    cost : expected loss plus price of changes of this labelling, in buds (summed over vines)
    lower_bound : no labelling with this many zones can cost less, with or without the practical limits; NaN where
        labels were given
    given_labels : (k,) where labels were given, the label each zone had; else 1..k
    """

    panel_zone: Labels
    buds_per_vine: Labels
    verdict: str
    reasons: tuple[Message, ...]
    one_number_buds: int
    merit: dict[str, Any]
    curve: tuple[dict[str, Any], ...] = ()
    cost: float = float("nan")
    lower_bound: float = float("nan")
    given_labels: Labels = field(default_factory=lambda: np.array([1], dtype=np.int64))

    @property
    def buds(self) -> Labels:
        """Bud count of each zone: (k,); the same as `buds_per_vine`."""
        return self.buds_per_vine

    @property
    def one_number(self) -> int:
        """The best single count for the block; the same as `one_number_buds`."""
        return self.one_number_buds

    @property
    def reason(self) -> str:
        """The reasons in English, as one text."""
        return tell(self.reasons)

    @property
    def gap(self) -> float:
        """Share by which this labelling may cost more than the best possible one; NaN where not known."""
        return max(self.cost - self.lower_bound, 0.0) / self.cost if self.cost > 0 else 0.0
