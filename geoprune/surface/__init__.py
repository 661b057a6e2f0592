"""From weighed vines to vine size everywhere, and how far to trust it."""

from geoprune.surface.fitting import FEWEST_FOR_MAP, Checked, check_evidence, fit_surface
from geoprune.surface.layers_at_vines import score_covariate
from geoprune.surface.next_vines import NextVines, next_vines
from geoprune.surface.prior import Prior
from geoprune.surface.result import Surface

__all__ = [
    "FEWEST_FOR_MAP",
    "Checked",
    "NextVines",
    "Prior",
    "Surface",
    "check_evidence",
    "fit_surface",
    "next_vines",
    "score_covariate",
]
