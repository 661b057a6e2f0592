"""What an earlier winter's weights are worth to this winter's map as `geoprune prescribe` draws it, beside 40 weights now.

    python benchmarks/winters_together.py run RESULTS.csv FIRST LAST     append vineyards FIRST..LAST-1 of four blocks each
    python benchmarks/winters_together.py tell RESULTS.csv               print the table of docs/seasons.md

The invented vineyards of benchmarks/season_change.py. "alone": each block hears its own weights; "together": of how much
lasts it also hears the vineyard's other blocks; "known": it is told how much lasts, which nobody knows.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import product
from typing import NamedTuple

import numpy as np
import pandas as pd
import season_change as winters
from studies import run_or_tell

from geoprune.geostat import fit_averaged
from geoprune.seasons import Weights
from geoprune.surface import PERSISTENT, Prior
from geoprune.surface.estate import say_lasting
from geoprune.surface.prior import SHARES, range_grid

SEED, COUNTS = 90_000, ((20, 20), (40, 20))
RANGES = range_grid(float(np.hypot(*np.ptp(winters.PANELS, axis=0))))
LOG_PRIOR = Prior().log_density(RANGES, SHARES)
PLACES = winters.PANELS[winters.PLACES]


class Fit(NamedTuple):
    """A fit under one share that lasts: its log likelihoods with prior, and mean and variance of the panels."""

    score: np.ndarray
    mean: np.ndarray
    variance: np.ndarray


def fit(weights: Weights, lasting: float) -> Fit:
    """Fit the engine of `prescribe` under one share that lasts."""
    years = np.unique(weights.season)
    drift = np.column_stack([np.ones(len(weights.season)), *(weights.season == year for year in years[:-1])])
    found = fit_averaged(
        weights.place,
        weights.size_kg,
        drift=drift,
        target_drift=np.eye(drift.shape[1])[0],
        ranges=RANGES,
        shares=SHARES,
        log_prior=LOG_PRIOR,
        season=weights.season,
        target_season=int(years[-1]),
        persistent_shares=(lasting,),
    )
    mean, variance = found.predict(PLACES)
    return Fit(found.surface.loglik + found.log_prior, mean, variance + found.nugget / winters.PER_PANEL)


def mixed(fits: Sequence[Fit], beside: np.ndarray | float) -> tuple[np.ndarray, np.ndarray]:
    """Mean and variance over the shares that may last, `beside` what others say of them (3,)."""
    score = np.array([np.logaddexp.reduce(one.score, axis=None) for one in fits]) + beside
    weight = np.exp(score - score.max())
    weight = (weight / weight.sum())[:, None]
    means, variances = (np.array([getattr(one, name) for one in fits]) for name in ("mean", "variance"))
    mean = (weight * means).sum(axis=0)
    return mean, (weight * (variances + np.square(means - mean))).sum(axis=0)


def judge(true: np.ndarray, mean: np.ndarray, variance: np.ndarray) -> tuple[float, float]:
    """Mean squared error, and share of panels that their 90 % range holds."""
    return float(np.mean((mean - true) ** 2)), float(np.mean(np.abs(mean - true) < winters.NINETY * np.sqrt(variance)))


def vineyard(number: int, counts: tuple[int, int], lasting: float) -> pd.DataFrame:
    """A line for each block."""
    generator = np.random.default_rng(SEED + number)
    blocks = []
    for _ in range(winters.BLOCKS):
        size = winters.winters(generator, lasting)
        both = winters.weighed(generator, size, counts, marked=False)
        forty = winters.weighed(generator, size, (1, 40), marked=False).only(2027)
        fits = [fit(both, share) for share in PERSISTENT]
        others = (fit(both, lasting), fit(both.only(2027), 1.0), fit(forty, 1.0))
        blocks.append((size.mean(axis=2)[1, winters.PLACES], fits, *others))
    return pd.DataFrame(tell_blocks(blocks)).assign(number=number, earlier=counts[0], now=counts[1], lasting=lasting)


def tell_blocks(blocks: Sequence[tuple[np.ndarray, Sequence[Fit], Fit, Fit, Fit]]) -> Iterator[dict[str, float]]:
    """Errors and cover of a vineyard's blocks, each in every way."""
    said = [say_lasting([one.score for one in fits]) for _, fits, *_ in blocks]
    for own, (true, fits, known, now, forty) in zip(said, blocks, strict=True):
        ways = {"alone": mixed(fits, 0.0), "together": mixed(fits, sum(said) - own)}
        ways |= {name: (one.mean, one.variance) for name, one in (("known", known), ("now", now), ("forty", forty))}
        line = {}
        for name, (mean, variance) in ways.items():
            line[f"mse_{name}"], line[f"cover_{name}"] = judge(true, mean, variance)
        yield line


def run(first: int, last: int) -> Iterator[pd.DataFrame]:
    """Give the lines of each vineyard, in every way."""
    for number in range(first, last):
        yield pd.concat([vineyard(number, *way) for way in product(COUNTS, winters.LASTS)], ignore_index=True)


def tell(lines: pd.DataFrame) -> None:
    """Print the table."""
    print("| weights | lasting | blocks | now alone | 40 now | both, alone | both, together | both, share known | held, % |")
    print("|---|---|---|---|---|---|---|---|---|")
    for (earlier, now, lasting), part in lines.groupby(["earlier", "now", "lasting"]):
        error = {name: np.sqrt(part[f"mse_{name}"].mean()) for name in ("now", "forty", "alone", "together", "known")}
        figures = " | ".join(f"{value:.3f}" for value in error.values())
        print(f"| {earlier} + {now} | {lasting:.1f} | {len(part)} | {figures} | {100 * part['cover_together'].mean():.0f} |")


if __name__ == "__main__":
    run_or_tell(run, tell)
