"""Geostatistics on plain arrays: covariance, residual maximum likelihood, kriging. Knows no vines."""

from geoprune.geostat.averaging import AveragedKriging, fit_averaged
from geoprune.geostat.kriging import Kriging, correlation
from geoprune.geostat.reml import RemlSurface, null_ratios, reml_surface

__all__ = [
    "AveragedKriging",
    "Kriging",
    "RemlSurface",
    "correlation",
    "fit_averaged",
    "null_ratios",
    "reml_surface",
]
