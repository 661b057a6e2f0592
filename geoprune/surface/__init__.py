"""From weighed vines to vine size everywhere, and how far to trust it."""

from geoprune.surface.estate import PERSISTENT, together
from geoprune.surface.fitting import Checked, Spoken, check_observations, fit_surface, said_earlier, speak
from geoprune.surface.layers_at_vines import score_covariate
from geoprune.surface.next_vines import NextVines, next_vines
from geoprune.surface.observations import row_bearing
from geoprune.surface.prior import Prior
from geoprune.surface.result import Diagnostics, MapBenefit, Model, Surface
from geoprune.surface.without_map import FEWEST_FOR_MAP

__all__ = [
    "FEWEST_FOR_MAP",
    "PERSISTENT",
    "Checked",
    "Diagnostics",
    "MapBenefit",
    "Model",
    "NextVines",
    "Prior",
    "Spoken",
    "Surface",
    "check_observations",
    "fit_surface",
    "next_vines",
    "row_bearing",
    "said_earlier",
    "score_covariate",
    "speak",
    "together",
]
