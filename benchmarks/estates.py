"""What blocks of one estate tell each other is worth, on simulated estates whose every vine is known (all invented).

    python benchmarks/estates.py run RESULTS.csv FIRST LAST     append estates FIRST..LAST-1
    python benchmarks/estates.py tell RESULTS.csv               print the tables of docs/method-zones.md

An estate has eight blocks of 32 rows of 54 vines, 20 weights each. What its blocks have in common is drawn first:
practical range 40-200 m, nugget share 0.3, 0.5, 0.7, 0.9 or 1, CV 0.25-0.5; then each block's own, log(range) within
0.25, share within 0.07, log(CV) within 0.15 (standard deviations). In two of three estates the first block is unlike the
rest: one without a pattern, or with nugget share 0.2 over 30 m or 250 m.

Errors are those of panel means (three vines). "alone": as a file of this block only; "together": with the other seven;
"truth": kriging with the block's own true range and share; "30": alone with 30 weights; "mean": of the weights.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np
import pandas as pd
import vineyards
from calibration import cover, one_node
from studies import run_or_tell
from vineyards import Simulated, make_vineyard

from geoprune.plan.estate import Heard, Voice, hear
from geoprune.surface import Prior, check_observations
from geoprune.surface.modelling import average, nodes_of
from geoprune.surface.observations import Observations
from geoprune.surface.shape import PLAIN, Shape, choose_shape
from geoprune.surface.support import FieldFit, Support, vine_means
from geoprune.surface.verdict import ALPHA, find_structure

vineyards.BLOCKS["study"] = (32, 54)
SEED, BLOCKS = 23_000_000, 8
SHARES = (0.3, 0.5, 0.7, 0.9, 1.0)
#: Nugget share and practical range of a first block that is unlike the rest.
ODD = {1: (1.0, 100.0), 4: (0.2, 30.0), 7: (0.2, 250.0)}
WAYS = ("alone", "together", "truth", "30")


def truths(estate: int) -> list[dict[str, float]]:
    """Nugget share, range and CV of each block of an estate."""
    rng = np.random.default_rng(SEED + estate)
    range_m, cv = np.exp(rng.uniform(np.log(40.0), np.log(200.0))), rng.uniform(0.25, 0.5)
    share = SHARES[estate // 3 % 5] if estate % 3 == 0 else SHARES[estate // 3 % 3]
    found = []
    for _ in range(BLOCKS):
        own = share if share == 1.0 else float(np.clip(rng.normal(share, 0.07), 0.05, 1.0))
        wide, varied = np.exp(rng.normal(0.0, [0.25, 0.15]))
        found.append({"nugget_share": own, "range_m": float(range_m * wide), "cv": float(cv * varied)})
    if odd := ODD.get(estate % 9):
        found[0] |= dict(zip(("nugget_share", "range_m"), odd, strict=True))
    return found


def errors(fit: FieldFit, observations: Observations, shape: Shape, made: Simulated) -> tuple[float, float]:
    """Mean squared error of the panels over the variance of a vine, and the share that 90 % intervals hold."""
    flat = Support(observations.vines, np.ones((len(observations.vines), 1)), observations.known_kg, shape)
    mean, variance = vine_means(fit, flat, observations.member, len(made.trellis.panels))
    true = made.panel_means()
    return float(np.mean(np.square(mean - true)) / made.truth["variance_kg2"]), cover(true, mean, variance)


def judge(made: Simulated, more: Simulated, observations: Observations, heard: Heard, *, seed: int) -> dict[str, float]:
    """One block in every way; `more` is the same block with 30 weights."""
    shape = heard.shape or PLAIN
    wide = check_observations(more.trellis, more.samples).observations
    wide_shape = choose_shape(wide, bearing_deg=0.0)
    fits = {
        "alone": (average(observations, observations.levels, Prior(), shape), observations, shape),
        "together": (average(observations, observations.levels, heard.prior, shape), observations, shape),
        "truth": (one_node(observations, made.truth["range_m"] / 3.0, made.truth["nugget_share"]), observations, PLAIN),
        "30": (average(wide, wide.levels, Prior(), wide_shape), wide, wide_shape),
    }
    figures: dict[str, float] = {}
    for name, (fit, seen, how) in fits.items():
        figures[f"mse_{name}"], figures[f"cover_{name}"] = errors(fit, seen, how, made)
    figures["mse_mean"] = float(
        np.mean(np.square(observations.values.mean() - made.panel_means())) / made.truth["variance_kg2"]
    )
    for name, prior in (("alone", Prior()), ("together", heard.prior)):
        nodes = nodes_of(observations, observations.levels, prior, replace(PLAIN, transform=shape.transform))
        figures[f"p_{name}"] = find_structure(nodes, nodes.design.residual, seed=seed).p_value
    return figures


def run(first: int, last: int) -> Iterator[pd.DataFrame]:
    """Give the lines of each estate."""
    for estate in range(first, last):
        lines, figures = [], truths(estate)
        made = [
            [make_vineyard(seed=SEED + 100 * estate + k, samples=n, block="study", **one) for n in (20, 30)]
            for k, one in enumerate(figures)
        ]
        checked = [check_observations(one.trellis, one.samples) for one, _ in made]
        heard = hear([Voice(str(k), one, 0.0).speak() for k, one in enumerate(checked)], [])
        for k, one in enumerate(figures):
            line = {"estate": estate, "block": k, "odd": k == 0 and estate % 9 in ODD, **one}
            lines.append(line | judge(*made[k], checked[k].observations, heard[k], seed=100 * estate + k))
        yield pd.DataFrame(lines)


def line_of(name: str, part: pd.DataFrame) -> str:
    """One line of the table; the standard error is that of the paired difference, over estates."""
    mean = np.sqrt(part["mse_mean"].mean())
    ratio = [f"{np.sqrt(part[f'mse_{way}'].mean()) / mean:.3f}" for way in WAYS]
    gain = part.groupby("estate")[["mse_together", "mse_alone"]].mean()
    step = 50.0 * (gain["mse_together"] - gain["mse_alone"]) / gain["mse_alone"].mean()
    change = f"{step.mean():+.1f} ± {step.std() / np.sqrt(len(step)):.1f} ({step.median():+.1f})"
    covers = [f"{100 * part[f'cover_{way}'].mean():.1f}" for way in ("alone", "together", "30")]
    shown = [f"{100 * (part[f'p_{way}'] <= ALPHA).mean():.0f}" for way in ("alone", "together")]
    return f"| {name} | {len(part)} | {' | '.join(ratio)} | {change} | {' | '.join(covers)} | {' | '.join(shown)} |"


def tell(lines: pd.DataFrame) -> None:
    """Print the table."""
    heads = ["alone", "together", "truth", "30 weights", "together after alone, %", "cover: alone", "together"]
    heads += ["30 weights", "shown %: alone", "together"]
    print(f"| blocks | | {' | '.join(heads)} |\n|{'---|' * (len(heads) + 2)}")
    same, odd = lines[~lines["odd"]], lines[lines["odd"]]
    print(line_of("like the rest", same))
    bins = pd.cut(same["nugget_share"], [0.0, 0.4, 0.6, 0.8, 0.999, 1.0])
    for (low, high), part in (((b.left, b.right), p) for b, p in same.groupby(bins, observed=True)):
        print(line_of("no pattern" if low > 0.99 else f"nugget share {low:g}-{min(high, 0.99):.2g}", part))
    print(line_of("unlike the rest", odd))
    for (share, range_m), part in odd.groupby(["nugget_share", "range_m"]):
        print(line_of("no pattern" if share == 1.0 else f"share {share:g}, {range_m:.0f} m", part))


if __name__ == "__main__":
    run_or_tell(run, tell)
