"""How good the surface is, in figures and sentences."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
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
from geoprune.learned import Learned
from geoprune.surface.modelling import Fitted
from geoprune.surface.observations import Observations
from geoprune.surface.result import Diagnostics, Model, Variogram
from geoprune.surface.shape import PLAIN, TRANSFORMS, Shape
from geoprune.units import NINETY

Floats = NDArray[np.float64]
OUTLIER = 3.0
ROW_LEVEL = 0.05
#: From this belief on it is said that rows differ: likelier than not.
LIKELY_ROWS = 0.5
LAGS = 12
MOST_LISTED = 12


@dataclass(frozen=True)
class HeldOut:
    """Readings (n,) as the others tell them: mean and standard error in kg, and the standardised residual on the scale of
    the model, where it is closest to normal."""

    kg: Floats
    se_kg: Floats
    z: Floats


def held_out_table(samples: gpd.GeoDataFrame, observations: Observations, held_out: HeldOut) -> pd.DataFrame:
    """Leave-one-out of each sample, aligned with the sample table; NaN for samples left out.

    Weights of an earlier winter are given at that winter's strength, and a vine weighed twice has one residual in both its
    rows.
    """
    table = pd.DataFrame(np.nan, index=range(len(samples)), columns=["loo_kg", "loo_se_kg", "loo_z"])
    table.loc[observations.taken, "loo_kg"] = held_out.kg / observations.strength
    table.loc[observations.taken, "loo_se_kg"] = held_out.se_kg / observations.strength
    table.loc[observations.taken, "loo_z"] = held_out.z
    table = table.iloc[observations.stands_for].reset_index(drop=True)
    table["outlier"] = table["loo_z"].abs() > outlying(len(observations.values))
    return table


def leave_out_errors(observations: Observations, loo_kg: Floats) -> tuple[float, float]:
    """RMSE of this season's samples predicted by the others: by the map, and by the mean of the others."""
    now = observations.now & np.isfinite(loo_kg)
    values = observations.values[now]
    others = (values.sum() - values) / max(len(values) - 1, 1)
    return float(np.sqrt(np.mean(np.square(values - loo_kg[now])))), float(np.sqrt(np.mean(np.square(values - others))))


def outlying(samples: int) -> float:
    """Standardised residual beyond which a sample is pointed at: 3, or what of so many one lot in ten reaches by chance."""
    return max(OUTLIER, float(ndtri(1.0 - 0.05 / samples)))


def describe_model(fitted: Fitted, observations: Observations, worth: Mapping[int, float]) -> Model:
    """The model in numbers: means over the mixture; the range is the middle of its law."""
    fit, learned, shape = fitted.fit, fitted.learned, fitted.shape
    fields = np.array([node.sill > 1e-9 * (node.sill + node.nugget) for node in learned.nodes])
    range_m = learned.typical.range_m
    of_rows = fit.row_variance if isinstance(fit, AveragedKriging) else 0.0
    total = fit.sill + of_rows + fit.nugget
    unit = float(shape.stretch(observations.values[observations.now].mean())) ** 2
    several, rows = len(observations.seasons) > 1, fitted.rows
    return Model(
        covariance=f"{shape.model}, averaged over the REML surface under a weak prior",
        range_m=range_m,
        practical_range_m=EFFECTIVE[shape.model] * range_m,
        anisotropy=shape.anisotropy,
        sill_kg2=unit * fit.sill,
        nugget_kg2=unit * fit.nugget,
        nugget_share=fit.nugget / total if total > 0 else 1.0,
        variance_kg2=unit * total,
        no_field=float(learned.weights[~fields].sum()),
        nodes=len(learned.nodes),
        likelihood_ratio=learned.surface.ratio,
        p_value=fitted.structure.p_value,
        trend=" + ".join(["one level per season" if several else "constant", *fitted.kept]),
        learned=learned_of(learned) if shape.model == PLAIN.model else None,
        transform=TRANSFORMS[shape.transform.power],
        seasons=tuple(observations.seasons),
        samples_used=len(observations.values),
        method="exact" if fit is learned else f"nearest {NEIGHBOURS} samples",
        persistent_share=learned.typical.persistent_share if several else None,
        row_belief=rows.belief if rows.mapped else None,
        row_share=of_rows / total if rows.mapped else None,
        row_sd_kg=float(np.sqrt(unit * of_rows)) if rows.mapped else None,
        earlier_winters_lower_error={str(year): share for year, share in worth.items()} if several else None,
    )


def learned_of(fit: AveragedKriging) -> Learned:
    """What a fit's readings say of range and nugget share; its covariance is exponential."""
    ranges, shares = fit.surface.ranges.tolist(), fit.surface.shares.tolist()
    return Learned(tuple(ranges), tuple(shares), tuple(map(tuple, fit.likelihood.tolist())))


def variogram(fit: AveragedKriging, observations: Observations, shape: Shape) -> Variogram:
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
        other = node.nugget + node.row_variance  # of two vines in different rows, as nearly all pairs are
        curve += node.weight * (other + node.sill * (1.0 - correlation(along, node.range_m, shape.model)))
    drawn = (found.distance_m, unit * found.gamma, found.pairs, along, unit * curve)
    return Variogram(*(tuple(values.tolist()) for values in drawn))


def diagnose(fitted: Fitted, observations: Observations, held_out: HeldOut) -> Diagnostics:
    """What the report page shows: variogram of the readings that were learned from, coverage, covariates, row effect."""
    now = observations.now & np.isfinite(held_out.kg)
    return Diagnostics(
        variogram=variogram(fitted.learned, fitted.few, fitted.shape),
        loo_coverage_90=float(np.mean(np.abs(held_out.z[now]) <= NINETY)),
        covariates=fitted.choices,
        row_effect=fitted.rows,
    )


def remark(
    fitted: Fitted,
    model: Model,
    observations: Observations,
    table: pd.DataFrame,
    far: NDArray[np.bool_],
    samples: gpd.GeoDataFrame,
) -> tuple[Remark, ...]:
    """Remarks on outliers, seasons, covariates, rows and ground beyond the samples' reach."""
    shape, rows, remarks = fitted.shape, fitted.rows, _outlier_remarks(table, samples)
    if len(observations.values) > EXACT_SAMPLES:
        fields = {"limit": EXACT_SAMPLES, "neighbours": NEIGHBOURS, "samples": len(observations.values)}
        remarks.append(Remark("assumed", Message("surface.nearest_samples", fields)))
    if not shape.is_plain:
        remarks.append(Remark("warning", Message("surface.skewed_root" if shape.transform.power else "surface.skewed_log")))
    if shape.anisotropy is not None:
        bearing, ratio = shape.anisotropy
        remarks.append(Remark("warning", Message("surface.longer_one_way", {"times": 1.0 / ratio, "bearing": bearing})))
    if len(observations.seasons) > 1:
        worth = model.earlier_winters_lower_error or {}
        told: dict[str, Any] = {
            "season": observations.target_season,
            "others": ", ".join(f"{year}: {round(100 * share)} %" for year, share in worth.items()),
            "percent": 100 * (model.persistent_share or 0.0),
        }
        remarks.append(Remark("assumed", Message("surface.seasons_used", told)))
    remarks += [Remark("assumed", choice.reason) for choice in fitted.choices]
    if rows.mapped and rows.belief >= LIKELY_ROWS:
        share = 100.0 * (model.row_share or 0.0)
        found = {"vine_size_kg": model.row_sd_kg, "percent": share, "belief": rows.belief}
        remarks.append(Remark("warning", Message("surface.rows_mapped", found)))
    elif rows.testable and rows.p_value <= ROW_LEVEL:
        remarks.append(Remark("warning", Message("surface.row_effect", {"percent": 100.0 * rows.share, "p": rows.p_value})))
    if far.any():
        remarks.append(
            Remark("extrapolated", Message("surface.extrapolated", {"panels": int(far.sum()), "total": len(far)}))
        )
    return tuple(remarks)


def _outlier_remarks(table: pd.DataFrame, samples: gpd.GeoDataFrame) -> list[Remark]:
    """The samples that lie farthest from what the others say, and how many more there are."""
    odd = table.index[table["outlier"]]
    worst = table.loc[odd, "loo_z"].abs().nlargest(MOST_LISTED).index
    remarks = []
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
    return remarks
