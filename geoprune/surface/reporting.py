"""How good the surface is, as plain data and sentences."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.spatial.distance import pdist
from scipy.special import ndtri

from geoprune.errors import Message, Remark
from geoprune.geostat import AveragedKriging, correlation, empirical_variogram
from geoprune.geostat.covariance import EFFECTIVE
from geoprune.geostat.local import EXACT_SAMPLES, NEIGHBOURS
from geoprune.surface.covariate_choice import Choice
from geoprune.surface.observations import Observations
from geoprune.surface.row_effect import RowEffect
from geoprune.surface.shape import PLAIN, TRANSFORMS, Shape
from geoprune.surface.support import FieldFit
from geoprune.surface.verdict import Structure
from geoprune.trellis import Trellis
from geoprune.units import NINETY

Floats = NDArray[np.float64]
OUTLIER = 3.0
ROW_LEVEL = 0.05
LAGS = 12
MOST_LISTED = 12
MOST_SHOWN = 1000


def held_out_table(
    samples: gpd.GeoDataFrame, observations: Observations, loo: Floats, se: Floats, z: Floats
) -> pd.DataFrame:
    """Leave-one-out of each sample, aligned with the sample table; NaN for samples left out.

    z is the standardised residual on the scale of the model, where it is closest to normal. Weights of an earlier winter are
    given at that winter's strength, and a vine weighed twice has one residual in both its rows.
    """
    table = pd.DataFrame(np.nan, index=range(len(samples)), columns=["loo_kg", "loo_se_kg", "loo_z"])
    table.loc[observations.taken, "loo_kg"] = loo / observations.strength
    table.loc[observations.taken, "loo_se_kg"] = se / observations.strength
    table.loc[observations.taken, "loo_z"] = z
    table = table.iloc[observations.stands_for].reset_index(drop=True)
    table["outlier"] = table["loo_z"].abs() > outlying(len(observations.values))
    return table


def outlying(samples: int) -> float:
    """Standardised residual beyond which a sample is pointed at: 3, or what of so many one lot in ten reaches by chance."""
    return max(OUTLIER, float(ndtri(1.0 - 0.05 / samples)))


def describe_model(
    fit: FieldFit,
    learned: AveragedKriging,
    observations: Observations,
    shape: Shape,
    kept: Sequence[str],
    structure: Structure,
) -> dict[str, Any]:
    """The model in numbers: means over the mixture; the range is the middle of its law.

    `learned` is the fit that the parameters come from, `fit` itself unless there are very many samples.
    """
    fields = np.array([node.sill > 1e-9 * (node.sill + node.nugget) for node in learned.nodes])
    range_m = learned.typical.range_m
    total = fit.sill + fit.nugget
    unit = float(shape.stretch(observations.values[observations.now].mean())) ** 2
    trend = ["constant" if len(observations.seasons) < 2 else "one level per season", *kept]
    model: dict[str, Any] = {
        "covariance": f"{shape.model}, averaged over the REML surface under a weak prior",
        "range_m": range_m,
        "practical_range_m": EFFECTIVE[shape.model] * range_m,
        "anisotropy": None if shape.anisotropy is None else list(shape.anisotropy),
        "sill_kg2": unit * fit.sill,
        "nugget_kg2": unit * fit.nugget,
        "nugget_share": fit.nugget / total if total > 0 else 1.0,
        "variance_kg2": unit * total,
        "no_field": float(learned.weights[~fields].sum()),
        "nodes": len(learned.nodes),
        "likelihood_ratio": learned.surface.ratio,
        "p_value": structure.p_value,
        "trend": " + ".join(trend),
        "learned": learned.as_prior() if shape.model == PLAIN.model else None,
        "transform": TRANSFORMS[shape.transform.power],
        "seasons": observations.seasons,
        "samples_used": len(observations.values),
        "method": "exact" if fit is learned else f"nearest {NEIGHBOURS} samples",
    }
    if len(observations.seasons) > 1:
        model["persistent_share"] = learned.typical.persistent_share
    return model


def variogram(fit: AveragedKriging, observations: Observations, shape: Shape) -> dict[str, list[float]]:
    """Semivariance of this season's residuals by distance, and the fitted curve; up to half the longest distance.

    With a transform both are brought to kg2 at the mean weight, where the two scales touch.
    """
    now = observations.now
    unit = float(shape.stretch(observations.values[now].mean())) ** 2
    reach = max(float(pdist(observations.place[now]).max(initial=0.0)) / 2.0, 1.0)
    found = empirical_variogram(observations.place[now], fit.design.residual[now], cutoff_m=reach, bins=LAGS)
    along = np.linspace(0.0, reach, 61)[1:]
    curve = np.zeros(len(along))
    for node in fit.nodes:
        curve += node.weight * (node.nugget + node.sill * (1.0 - correlation(along, node.range_m, shape.model)))
    return {
        "distance_m": found.distance_m.tolist(),
        "gamma_kg2": (unit * found.gamma).tolist(),
        "pairs": found.pairs.tolist(),
        "model_distance_m": along.tolist(),
        "model_gamma_kg2": (unit * curve).tolist(),
    }


def diagnose(
    fit: AveragedKriging,
    few: Observations,
    observations: Observations,
    shape: Shape,
    loo: Floats,
    se: Floats,
    z: Floats,
    choices: Sequence[Choice],
    rows: RowEffect,
    trellis: Trellis,
) -> dict[str, Any]:
    """What the report page shows: variogram, leave-one-out (of 1,000 samples at most), covariates, row effect.

    `fit` is of the samples `few`, which are those of `observations` unless there are very many.
    """
    now = np.flatnonzero(observations.now & np.isfinite(loo))
    shown = now[np.linspace(0, len(now) - 1, min(len(now), MOST_SHOWN)).astype(int)]
    place = trellis.vines.iloc[observations.vine_id[shown]]
    return {
        "variogram": variogram(fit, few, shape),
        "loo": {
            "observed_kg": observations.values[shown].tolist(),
            "estimate_kg": loo[shown].tolist(),
            "se_kg": se[shown].tolist(),
            "row": place["row"].astype(str).tolist(),
            "vine": place["vine"].astype(int).tolist(),
        },
        "loo_coverage_90": float(np.mean(np.abs(z[now]) <= NINETY)),
        "loo_mean_squared_z": float(np.mean(np.square(z[now]))),
        "covariates": [
            {"name": c.name, "kept": c.kept, "reason": c.reason, "gain": _known(c.gain), "p_value": _known(c.p_value)}
            for c in choices
        ],
        "row_effect": {"testable": rows.testable, "p_value": _known(rows.p_value), "share": _known(rows.share)},
    }


def _known(value: float) -> float | None:
    """None for NaN, so that the data can be written as JSON."""
    return float(value) if np.isfinite(value) else None


def remark(
    observations: Observations,
    shape: Shape,
    table: pd.DataFrame,
    far: NDArray[np.bool_],
    choices: Sequence[Choice],
    rows: RowEffect,
    samples: gpd.GeoDataFrame,
) -> tuple[Remark, ...]:
    """Remarks on outliers, seasons, covariates, rows and ground beyond the samples' reach."""
    remarks: list[Remark] = []
    odd = table.index[table["outlier"]]
    worst = table.loc[odd, "loo_z"].abs().nlargest(MOST_LISTED).index
    for i in sorted(worst):
        sample, row = samples.iloc[int(i)], table.iloc[int(i)]
        fields = {
            "row": str(sample["row"]),
            "vine": int(sample["vine"]),
            "weight_kg": float(sample["vine_weight_kg"]),
            "expected_kg": max(float(row["loo_kg"]), 0.0),
        }
        remarks.append(Remark("warning", Message("surface.outlier", fields)))
    if len(odd) > len(worst):
        remarks.append(Remark("warning", Message("surface.more_outliers", {"samples": len(odd) - len(worst)})))
    if len(observations.values) > EXACT_SAMPLES:
        fields = {"limit": EXACT_SAMPLES, "neighbours": NEIGHBOURS, "samples": len(observations.values)}
        remarks.append(Remark("assumed", Message("surface.nearest_samples", fields)))
    if not shape.is_plain:
        remarks.append(Remark("warning", Message("surface.skewed_root" if shape.transform.power else "surface.skewed_log")))
    if shape.anisotropy is not None:
        fields = {"times": 1.0 / shape.anisotropy[1], "bearing": shape.anisotropy[0]}
        remarks.append(Remark("warning", Message("surface.longer_one_way", fields)))
    if len(observations.seasons) > 1:
        others = ", ".join(str(s) for s in observations.seasons if s != observations.target_season)
        remarks.append(
            Remark("assumed", Message("surface.seasons_used", {"season": observations.target_season, "others": others}))
        )
    remarks += [Remark("assumed", choice.reason) for choice in choices]
    if rows.testable and rows.p_value <= ROW_LEVEL:
        remarks.append(Remark("warning", Message("surface.row_effect", {"percent": 100.0 * rows.share, "p": rows.p_value})))
    if far.any():
        remarks.append(
            Remark("extrapolated", Message("surface.extrapolated", {"panels": int(far.sum()), "total": len(far)}))
        )
    return tuple(remarks)
