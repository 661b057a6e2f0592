"""How often is a pattern shown: with no structure (false alarm), and with some (power)?

    python benchmarks/verdict_power.py --alarm 400 --seed 1 --out verdict.csv    # structureless blocks
    python benchmarks/verdict_power.py --power 40 --seed 2 --out verdict.csv     # per cell of range x nugget share x n
    python benchmarks/verdict_power.py --table verdict.csv                       # the tables of docs/method.md

The rule is that of a pattern that is shown: p of the shuffled weights at most 4 %, on the scale (plain, root,
logarithm) that the samples choose, and a leave-one-out error below that of the mean of the others. Blocks of 2.6 ha;
ranges are practical ranges.
"""

from __future__ import annotations

import argparse
from itertools import product
from pathlib import Path

import pandas as pd
from vineyards import make_vineyard

from geoprune.surface.modelling import average, nodes_of
from geoprune.surface.observations import gather
from geoprune.surface.prior import Prior
from geoprune.surface.reporting import leave_out_errors
from geoprune.surface.shape import Shape, choose_scale, choose_shape
from geoprune.surface.verdict import ALPHA, find_structure

COUNTS = (20, 40, 80)
RANGES_M = (30.0, 60.0, 120.0, 200.0)
SHARES = (0.3, 0.5, 0.7, 0.9)


def judge(*, seed: int, samples: int, range_m: float, nugget_share: float, skewed: bool) -> dict[str, float]:
    """One block: the p value, and whether the whole rule calls the map better."""
    made = make_vineyard(seed=seed, range_m=range_m, nugget_share=nugget_share, samples=samples, cv=0.35, skewed=skewed)
    observations, prior = gather(made.trellis, made.samples), Prior()
    shape = choose_shape(observations, bearing_deg=0.0)
    nodes = nodes_of(observations, observations.levels, prior, Shape(choose_scale(observations)))
    p_value = find_structure(nodes, nodes.design.residual, seed=seed).p_value
    better = False
    if p_value <= ALPHA:
        said = average(observations, observations.levels, prior, shape).leave_one_out()
        loo_rmse, mean_rmse = leave_out_errors(observations, shape.mean(*said))
        better = loo_rmse < mean_rmse
    made_with = {"samples": samples, "range_m": range_m, "nugget_share": nugget_share, "skewed": skewed}
    return made_with | {"power": shape.transform.power} | {"p_value": p_value, "better": float(better)}


def append(rows: list[dict[str, float]], out: Path) -> None:
    """Add rows to a CSV."""
    pd.DataFrame(rows).to_csv(out, mode="a", header=not out.exists(), index=False)


def run_alarm(count: int, seed: int, out: Path) -> None:
    """Structureless blocks: half with normal sizes, half with skewed ones."""
    append(
        [
            judge(seed=seed * 1_000_000 + k, samples=COUNTS[k % 3], range_m=90.0, nugget_share=1.0, skewed=bool(k // 3 % 2))
            for k in range(count)
        ],
        out,
    )


def run_power(count: int, seed: int, out: Path) -> None:
    """Blocks with structure: `count` for each range, nugget share and number of samples."""
    for number, (samples, range_m, share) in enumerate(product(COUNTS, RANGES_M, SHARES)):
        cell = [
            judge(
                seed=seed * 1_000_000 + number * 1000 + k, samples=samples, range_m=range_m, nugget_share=share, skewed=False
            )
            for k in range(count)
        ]
        append(cell, out)


def table(path: Path) -> str:
    """False alarms and power, in Markdown."""
    data = pd.read_csv(path)
    data["better"] = data["better"] * (data["p_value"] <= ALPHA)
    none = data[data["nugget_share"] == 1.0]
    lines = ["| structureless blocks | n = 20 | n = 40 | n = 80 | all |", "|---|---|---|---|---|"]
    for name, part in (("normal sizes", none[~none["skewed"]]), ("skewed sizes", none[none["skewed"]]), ("all", none)):
        shares = [f"{100 * part.loc[part['samples'] == n, 'better'].mean():.1f} %" for n in COUNTS]
        lines.append(f"| {name} ({len(part)}) | {' | '.join(shares)} | {100 * part['better'].mean():.1f} % |")
    some = data[data["nugget_share"] < 1.0]
    for n in COUNTS:
        lines += ["", f"| n = {n}: practical range | " + " | ".join(f"nugget share {s:g}" for s in SHARES) + " |"]
        lines.append("|---" * (len(SHARES) + 1) + "|")
        for range_m in RANGES_M:
            cells = [
                some[(some["samples"] == n) & (some["range_m"] == range_m) & (some["nugget_share"] == s)] for s in SHARES
            ]
            lines.append(f"| {range_m:.0f} m | " + " | ".join(f"{100 * c['better'].mean():.0f} %" for c in cells) + " |")
    each = some.groupby(["samples", "range_m", "nugget_share"]).size()
    return "\n".join([*lines, "", f"{each.min() if len(each) else 0} blocks a cell of power."])


def main() -> None:
    """Run a part of the study, or write its tables."""
    arguments = argparse.ArgumentParser(description=__doc__)
    arguments.add_argument("--alarm", type=int, default=0)
    arguments.add_argument("--power", type=int, default=0)
    arguments.add_argument("--seed", type=int, default=1)
    arguments.add_argument("--out", type=Path)
    arguments.add_argument("--table", type=Path)
    given = arguments.parse_args()
    if given.alarm:
        run_alarm(given.alarm, given.seed, given.out)
    if given.power:
        run_power(given.power, given.seed, given.out)
    if given.table:
        print(table(given.table))


if __name__ == "__main__":
    main()
