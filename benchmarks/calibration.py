"""Do the intervals hold, and how near is the estimate to the best one possible? On simulated vineyards.

    python benchmarks/calibration.py --vineyards 100 --seed 1 --out calibration.csv   # one part; repeat with other seeds
    python benchmarks/calibration.py --table calibration.csv                          # the table of docs/method.md

Truth: practical range 30-200 m (log-uniform), nugget share 0.3, 0.5, 0.7, 0.9, 1, CV 0.25-0.5, blocks of 1.0, 2.6 and
5.8 ha, n = 20, 30, 40, 80. Per vineyard 100 panels are drawn at random; the target is the mean of the three vines a
panel holds. "geoprune" is the estimator of the surface room; "plug-in" the same kriging at the REML peak without prior;
"truth" kriging with the true range, share and variance; "mean" the mean of the samples.
"""

from __future__ import annotations

import argparse
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
from vineyards import Simulated, draw_truths, make_vineyard

from geoprune.geostat import AveragedKriging, fit_averaged
from geoprune.surface.modelling import average
from geoprune.surface.observations import Observations, gather
from geoprune.surface.prior import Prior, range_grid
from geoprune.surface.shape import choose_shape
from geoprune.surface.support import Support, vine_means
from geoprune.units import NINETY

PANELS = 100


def one_node(observations: Observations, range_m: float, share: float) -> AveragedKriging:
    """Kriging at one range and nugget share."""
    return fit_averaged(
        observations.place,
        observations.values,
        noise=observations.noise,
        ranges=np.array([range_m]),
        shares=np.array([max(share, 1e-6)]),
    )


def judge(made: Simulated, *, seed: int) -> dict[str, float | str]:
    """Errors and covers of one vineyard."""
    observations = gather(made.trellis, made.samples)
    count = len(made.trellis.panels)
    picked = np.sort(np.random.default_rng(seed).choice(count, PANELS, replace=False))
    number = np.full(count, -1)
    number[picked] = np.arange(PANELS)
    groups = np.where(observations.member >= 0, number[observations.member], -1)
    flat = Support(observations.vines, np.ones((len(observations.vines), 1)), observations.known_kg)
    true, n = made.panel_means()[picked], len(observations.values)
    variance_kg2 = made.truth["variance_kg2"]

    shape = choose_shape(observations, bearing_deg=0.0)
    fit = average(observations, observations.levels, Prior(), shape)
    mean, variance = vine_means(fit, replace(flat, shape=shape), groups, PANELS)
    loo, loo_variance = fit.leave_one_out()
    said = shape.forward(observations.values)
    ranges = range_grid(observations.across_m)
    plain = fit_averaged(
        observations.place, observations.values, noise=observations.noise, ranges=ranges, shares=np.linspace(0.02, 1.0, 25)
    )
    i, j = plain.surface.peak
    plug = one_node(observations, float(plain.surface.ranges[i]), float(plain.surface.shares[j]))
    plug_mean, plug_variance = vine_means(plug, flat, groups, PANELS)
    plug_variance = plug_variance * (n - 3) / (n - 1)
    best = one_node(observations, made.truth["range_m"] / 3.0, made.truth["nugget_share"])
    best_mean, best_variance = vine_means(best, flat, groups, PANELS)
    best_variance = best_variance * variance_kg2 / (best.sill + best.nugget)
    plug_loo, plug_loo_variance = plug.leave_one_out(parameters="fixed")
    flat_se = np.sqrt(observations.values.var(ddof=1) * (1.0 / 3.0 + 1.0 / n))
    return {
        "cover": cover(true, mean, variance),
        "cover_plug": cover(true, plug_mean, plug_variance),
        "cover_truth": cover(true, best_mean, best_variance),
        "cover_mean": cover(true, np.full(PANELS, observations.values.mean()), np.full(PANELS, flat_se**2)),
        "mse": np.mean(np.square(true - mean)) / variance_kg2,
        "mse_plug": np.mean(np.square(true - plug_mean)) / variance_kg2,
        "mse_truth": np.mean(np.square(true - best_mean)) / variance_kg2,
        "mse_mean": np.mean(np.square(true - observations.values.mean())) / variance_kg2,
        "power": shape.transform.power,
        "family": shape.model,
        "loo_z2": np.mean(np.square(said - loo) / loo_variance),
        "loo_z2_plug": np.mean(np.square(observations.values - plug_loo) / (plug_loo_variance * (n - 3) / (n - 1))),
    }


def cover(true: np.ndarray, mean: np.ndarray, variance: np.ndarray) -> float:
    """Share of panels whose true mean lies within 1.6449 standard errors."""
    return float(np.mean(np.abs(true - mean) <= NINETY * np.sqrt(variance)))


def run(vineyards: int, seed: int, out: Path, *, skewed: bool = False, design: str = "spread") -> None:
    """Judge vineyards and append them to a CSV."""
    rows = []
    for truth in draw_truths(vineyards, seed=seed).itertuples():
        made = make_vineyard(
            seed=int(truth.seed),
            range_m=truth.range_m,
            nugget_share=truth.nugget_share,
            samples=int(truth.samples),
            cv=truth.cv,
            block=truth.block,
            design=design,
            skewed=skewed,
        )
        said = {"samples": truth.samples, "nugget_share": truth.nugget_share, "range_m": truth.range_m, "cv": truth.cv}
        rows.append(said | judge(made, seed=int(truth.seed)))
    pd.DataFrame(rows).to_csv(out, mode="a", header=not out.exists(), index=False)


def summarise(part: pd.DataFrame) -> pd.Series:
    """One line of the table."""
    return pd.Series(
        {
            "vineyards": len(part),
            "cover": part["cover"].mean(),
            "plug-in": part["cover_plug"].mean(),
            "truth": part["cover_truth"].mean(),
            "error": np.sqrt(part["mse"].mean() / part["mse_truth"].mean()),
            "plug-in error": np.sqrt(part["mse_plug"].mean() / part["mse_truth"].mean()),
            "mean error": np.sqrt(part["mse_mean"].mean() / part["mse_truth"].mean()),
            "loo z2": part["loo_z2"].mean(),
        }
    )


def table(path: Path) -> str:
    """The table of docs/method.md, in Markdown."""
    data = pd.read_csv(path)
    data["range"] = pd.cut(data["range_m"], [0, 60, 110, 201], labels=["30-60 m", "60-110 m", "110-200 m"])
    lines = ["| | vineyards | 90 % cover: geoprune | plug-in | truth | RMSE / truth: geoprune | plug-in | mean | LOO z² |"]
    lines.append("|---|---|---|---|---|---|---|---|---|")
    groups = [("n = 20-30", data["samples"] <= 30), ("n = 40-80", data["samples"] >= 40)]
    groups += [(f"n = {n}", data["samples"] == n) for n in sorted(data["samples"].unique())]
    groups += [(f"nugget share {s:g}", data["nugget_share"] == s) for s in sorted(data["nugget_share"].unique())]
    groups += [(f"range {r}", data["range"] == r) for r in data["range"].cat.categories]
    groups.append(("all", data["samples"] > 0))
    for name, chosen in groups:
        s = summarise(data[chosen])
        lines.append(
            f"| {name} | {s['vineyards']:.0f} | {100 * s['cover']:.1f} % | {100 * s['plug-in']:.1f} % "
            f"| {100 * s['truth']:.1f} % | {s['error']:.3f} | {s['plug-in error']:.3f} | {s['mean error']:.3f} "
            f"| {s['loo z2']:.2f} |"
        )
    return "\n".join(lines)


def main() -> None:
    """Run a part of the study, or write its table."""
    arguments = argparse.ArgumentParser(description=__doc__)
    arguments.add_argument("--vineyards", type=int, default=100)
    arguments.add_argument("--seed", type=int, default=1)
    arguments.add_argument("--out", type=Path)
    arguments.add_argument("--table", type=Path)
    arguments.add_argument("--skewed", action="store_true")
    arguments.add_argument("--design", default="spread", choices=("spread", "random", "pairs"))
    given = arguments.parse_args()
    if given.out:
        run(given.vineyards, given.seed, given.out, skewed=given.skewed, design=given.design)
    if given.table:
        print(table(given.table))


if __name__ == "__main__":
    main()
