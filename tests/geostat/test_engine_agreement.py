"""The same covariance in GSTools and PyKrige gives the same mean and variance, on generated cases."""

import gstools
import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from kriging_reference import Kriging
from pykrige.ok import OrdinaryKriging
from pykrige.uk import UniversalKriging

from geoprune.geostat import LocalKriging
from geoprune.geostat.design import make_design

CASES = settings(max_examples=25, deadline=None, suppress_health_check=list(HealthCheck), derandomize=True)
# GSTools' Matern has sqrt(nu) h / len_scale where ours has sqrt(2 nu) h / range
MODELS = {
    "exponential": (gstools.Exponential, {}, 1.0),
    "matern32": (gstools.Matern, {"nu": 1.5}, np.sqrt(0.5)),
    "matern52": (gstools.Matern, {"nu": 2.5}, np.sqrt(0.5)),
    "spherical": (gstools.Spherical, {}, 1.0),
}


@st.composite
def cases(draw):
    """Samples in a block of 300 m, targets, and parameters with a nugget share of 0.02 or more."""
    rng = np.random.default_rng(draw(st.integers(0, 10**6)))
    count = draw(st.integers(8, 45))
    return {
        "points": rng.uniform(0, 300, (count, 2)),
        "values": rng.normal(1.0, 0.3, count),
        "targets": rng.uniform(-30, 330, (12, 2)),
        "sill": draw(st.floats(0.02, 0.2)),
        "nugget": draw(st.floats(0.004, 0.2)),
        "range_m": draw(st.floats(15.0, 250.0)),
        "bearing": draw(st.floats(0.0, 180.0)),
        "ratio": draw(st.floats(0.25, 1.0)),
        "elevation": rng.normal(120.0, 5.0, count),
        "elevation_there": rng.normal(120.0, 5.0, 12),
    }


def theirs(case, model, *, anisotropic=False):
    kind, extra, stretch = MODELS[model]
    turn = {"angles": np.deg2rad(90.0 - case["bearing"]), "anis": case["ratio"]} if anisotropic else {}
    scale = case["range_m"] * stretch
    return kind(dim=2, var=case["sill"], len_scale=scale, nugget=case["nugget"], **extra, **turn)


def ours(case, model, drift=None, anisotropy=None):
    count = len(case["values"])
    drift = np.ones((count, 1)) if drift is None else drift
    return Kriging(
        case["points"],
        case["values"],
        drift,
        np.ones(count),
        case["sill"],
        case["nugget"],
        case["range_m"],
        model,
        anisotropy,
    )


def close(answer, mean, variance):
    assert answer[0] == pytest.approx(np.asarray(mean), rel=1e-8)
    assert answer[1] == pytest.approx(np.asarray(variance), rel=1e-8)


@CASES
@given(cases(), st.sampled_from(list(MODELS)))
def test_ordinary_kriging_equals_gstools(case, model):
    krige = gstools.krige.Ordinary(theirs(case, model), case["points"].T, case["values"])
    close(ours(case, model).predict(case["targets"], target="new"), *krige(case["targets"].T, return_var=True))


@CASES
@given(cases(), st.sampled_from(list(MODELS)))
def test_anisotropy_equals_gstools(case, model):
    krige = gstools.krige.Ordinary(theirs(case, model, anisotropic=True), case["points"].T, case["values"])
    answer = ours(case, model, anisotropy=(case["bearing"], case["ratio"])).predict(case["targets"], target="new")
    close(answer, *krige(case["targets"].T, return_var=True))


@CASES
@given(cases(), st.sampled_from(list(MODELS)))
def test_external_drift_equals_gstools(case, model):
    krige = gstools.krige.ExtDrift(
        theirs(case, model), case["points"].T, case["values"], ext_drift=case["elevation"] - 120.0
    )
    drift = np.column_stack([np.ones_like(case["elevation"]), case["elevation"]])
    there = np.column_stack([np.ones(12), case["elevation_there"]])
    answer = ours(case, model, drift).predict(case["targets"], there, target="new")
    close(answer, *krige(case["targets"].T, ext_drift=case["elevation_there"] - 120.0, return_var=True))


def pykrige_settings(case, model):
    if model == "spherical":
        return {
            "variogram_model": "spherical",
            "variogram_parameters": [case["sill"] + case["nugget"], case["range_m"], case["nugget"]],
        }
    return {
        "variogram_model": "exponential",
        "variogram_parameters": [case["sill"] + case["nugget"], 3.0 * case["range_m"], case["nugget"]],
    }


@CASES
@given(cases(), st.sampled_from(["exponential", "spherical"]))
def test_ordinary_kriging_equals_pykrige(case, model):
    krige = OrdinaryKriging(*case["points"].T, case["values"], **pykrige_settings(case, model))
    close(ours(case, model).predict(case["targets"], target="new"), *krige.execute("points", *case["targets"].T))


@CASES
@given(cases(), st.sampled_from(["exponential", "spherical"]))
def test_anisotropy_equals_pykrige(case, model):
    # PyKrige measures its angle counter-clockwise from east and multiplies distances across it by the scaling
    krige = OrdinaryKriging(
        *case["points"].T,
        case["values"],
        anisotropy_scaling=1.0 / case["ratio"],
        anisotropy_angle=90.0 - case["bearing"],
        **pykrige_settings(case, model),
    )
    answer = ours(case, model, anisotropy=(case["bearing"], case["ratio"])).predict(case["targets"], target="new")
    close(answer, *krige.execute("points", *case["targets"].T))


@CASES
@given(cases(), st.sampled_from(["exponential", "spherical"]))
def test_linear_trend_equals_pykrige(case, model):
    krige = UniversalKriging(
        *case["points"].T, case["values"], drift_terms=["regional_linear"], **pykrige_settings(case, model)
    )
    drift = np.column_stack([np.ones(len(case["values"])), case["points"]])
    there = np.column_stack([np.ones(12), case["targets"]])
    answer = ours(case, model, drift).predict(case["targets"], there, target="new")
    close(answer, *krige.execute("points", *case["targets"].T))


@CASES
@given(cases())
def test_nearest_samples_equal_pykrige(case):
    krige = OrdinaryKriging(*case["points"].T, case["values"], **pykrige_settings(case, "exponential"))
    design = make_design(case["points"], case["values"])
    local = LocalKriging(design, np.empty(0), case["sill"], case["nugget"], case["range_m"], neighbours=6)
    near = krige.execute("points", *case["targets"].T, backend="loop", n_closest_points=6)
    close(local.predict(case["targets"], target="new"), *near)
