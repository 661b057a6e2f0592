"""Winters beside each other: what lasts, what changed, how surely; tables and arrays only."""

from geoprune.seasons.compare import (
    BlockYears,
    Comparison,
    agreement,
    compare,
    crop_load,
    direction,
    load_class,
    size_classes,
)
from geoprune.seasons.model import (
    Estimate,
    SeasonModel,
    Target,
    TooFewWeights,
    Weights,
    fit_seasons,
    lasting_evidence,
    zone_target,
)
from geoprune.seasons.row_crops import COMING, EXPECTED, row_crops

__all__ = [
    "COMING",
    "EXPECTED",
    "BlockYears",
    "Comparison",
    "Estimate",
    "SeasonModel",
    "Target",
    "TooFewWeights",
    "Weights",
    "agreement",
    "compare",
    "crop_load",
    "direction",
    "fit_seasons",
    "lasting_evidence",
    "load_class",
    "row_crops",
    "size_classes",
    "zone_target",
]
