"""Geostatistics on plain arrays: covariance, residual maximum likelihood, kriging, simulation. Knows no vines."""

from geoprune.geostat.averaging import AveragedKriging, fit_averaged
from geoprune.geostat.choice import choose_anisotropy, choose_model
from geoprune.geostat.covariance import MODELS, correlation
from geoprune.geostat.design import collinear_columns
from geoprune.geostat.kriging import Kriging
from geoprune.geostat.local import EXACT_SAMPLES, LocalKriging, fit_local
from geoprune.geostat.reml import RemlSurface, range_grid, reml_surface
from geoprune.geostat.simulation import GroupDraws
from geoprune.geostat.transform import Transform, choose_transform
from geoprune.geostat.variogram import Variogram, empirical_variogram

__all__ = [
    "EXACT_SAMPLES",
    "MODELS",
    "AveragedKriging",
    "GroupDraws",
    "Kriging",
    "LocalKriging",
    "RemlSurface",
    "Transform",
    "Variogram",
    "choose_anisotropy",
    "choose_model",
    "choose_transform",
    "collinear_columns",
    "correlation",
    "empirical_variogram",
    "fit_averaged",
    "fit_local",
    "range_grid",
    "reml_surface",
]
