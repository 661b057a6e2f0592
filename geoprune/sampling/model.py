"""What is believed of a block's vine size before anything is weighed: from last winter's results, or assumed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

#: Coefficient of variation of single vines where nothing is known. The only single-vine trial read has 0.43 (yield,
#: Strickland 1932, J. Agriculture, Victoria 30:584-593); blocks are said to have 0.25-0.50 of pruning weight (from memory).
CV = 0.40
#: Share of the variance from vine to vine, and range parameter (m; a third of the practical range): the middle of
#: `surface.Prior`.
NUGGET_SHARE, RANGE_M = 0.67, 25.0
#: Pruning weight per metre of row, kg: 0.3 lb per foot, the middle of 0.2-0.4 that eastern growers aim at (from memory).
WEIGHT_KG_M = 0.446


@dataclass(frozen=True)
class VineModel:
    """Mean vine size (kg), variance of the field and of each vine's own part (kg^2), range parameter (m).

    `source` is "assumed", "given" (mean or CV given by the user) or "earlier" (an earlier winter's model).
    """

    mean_kg: float
    sill_kg2: float
    nugget_kg2: float
    range_m: float
    source: str = "assumed"

    def cv(self, vines: int = 1) -> float:
        """Coefficient of variation of the mean weight of `vines` neighbours weighed together."""
        return float(np.sqrt(self.sill_kg2 + self.nugget_kg2 / vines)) / self.mean_kg


def assumed_model(vine_spacing_m: float, *, cv: float | None = None, mean_kg: float | None = None) -> VineModel:
    """The model where no earlier winter is known; CV and mean vine size as given, else as assumed."""
    mean = WEIGHT_KG_M * vine_spacing_m if mean_kg is None else mean_kg
    variance = ((CV if cv is None else cv) * mean) ** 2
    source = "assumed" if cv is None and mean_kg is None else "given"
    return VineModel(mean, (1 - NUGGET_SHARE) * variance, NUGGET_SHARE * variance, RANGE_M, source)


def earlier_model(
    mean_kg: float | None, variance_kg2: float | None, *, nugget_share: float | None, range_m: float | None
) -> VineModel | None:
    """The model of a block that was planned before; None where its figures are not there, or cannot be.

    Without a map (`range_m` None) there is only the variance: it is shared as where nothing is known.
    """
    if range_m is None:
        nugget_share, range_m = NUGGET_SHARE, RANGE_M
    if mean_kg is None or variance_kg2 is None or nugget_share is None:
        return None
    if not (0 < mean_kg < 100 and 0 < variance_kg2 < 1e4 and 0 <= nugget_share <= 1 and 0 < range_m < 1e6):
        return None
    return VineModel(mean_kg, (1 - nugget_share) * variance_kg2, nugget_share * variance_kg2, range_m, "earlier")
