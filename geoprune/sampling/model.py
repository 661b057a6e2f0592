"""What is believed of a block's vine size before anything is weighed: from last winter's results, or assumed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

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


def earlier_model(block: Mapping[str, Any]) -> VineModel | None:
    """The model of a block of an earlier `summary.json`; None where it holds no usable figures.

    Without a map there is only the variance: it is shared as where nothing is known.
    """
    try:
        mean, model = float(block["vine_size_kg"]), block["model"]
        variance = float(model["variance_kg2"])
        share = float(model["nugget_share"]) if model.get("range_m") else NUGGET_SHARE
        range_m = float(model.get("range_m") or RANGE_M)
    except (KeyError, TypeError, ValueError, AttributeError):
        return None
    if not (0 < mean < 100 and 0 < variance < 1e4 and 0 <= share <= 1 and 0 < range_m < 1e6):
        return None
    return VineModel(mean, (1 - share) * variance, share * variance, range_m, "earlier")
