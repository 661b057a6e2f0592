"""What the practical limits and the number of zones cost, on simulated vineyards whose every vine is known.

    python benchmarks/zone_limits.py run RESULTS.csv [FIRST] [LAST]     append vineyards FIRST..LAST-1
    python benchmarks/zone_limits.py tell RESULTS.csv                   print the table of docs/method-zones.md

Blocks of 50 rows of 80 vines (2.6 ha); CV 0.2-0.6, nugget share 0.2-0.8, practical range 40-250 m, 20-80 weights, mean
0.25-2 kg, rule and skew at random. The same map is zoned within the limits as they are ("held"), with runs of two panels,
six changes, pieces of four panels and cheaper changes ("loose"), and with no limit at all ("free"); terciles of the map
stand beside them. Every way is paired with another on the same vineyard.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np
import pandas as pd
from studies import run_or_tell
from verdict_value import true_misfits
from vineyards import make_vineyard

from geoprune.rules import BudNeed, load_rules
from geoprune.surface import fit_surface
from geoprune.zones import ZoneOptions
from geoprune.zones.drawing import draw_all, refit_counts, set_task

SEED, MOST = 77_000_000, 4
LIMITS = {
    "held": ZoneOptions(max_zones=MOST),
    "loose": ZoneOptions(
        max_zones=MOST, shortest_run=2, most_changes=6, smallest_piece=4, change_cost=0.1, neighbour_cost=0.02
    ),
    "free": ZoneOptions(
        max_zones=MOST,
        shortest_run=1,
        most_changes=99,
        smallest_piece=1,
        smallest_share=0.0,
        change_cost=0.0,
        neighbour_cost=0.0,
    ),
}
PAIRS = (
    *(("held 2", "loose 2"), ("held 2", "free 2"), ("held 3", "loose 3"), ("held 3", "free 3")),
    *(("held 2", "held 3"), ("held 3", "held 4"), ("terciles", "held 3"), ("terciles", "held 2"), ("fives 1", "held 1")),
)


def judge(number: int) -> list[dict[str, object]]:
    """One line for each way on one vineyard: realised misfit and changes of number."""
    rng = np.random.default_rng(10_000 + number)
    cv, share, range_m = rng.choice([0.2, 0.3, 0.4, 0.6]), rng.choice([0.2, 0.45, 0.8]), rng.choice([40, 80, 150, 250.0])
    samples, mean_kg = int(rng.choice([20, 30, 40, 60, 80])), rng.choice([0.25, 0.75, 1.3, 2.0])
    need, skewed = BudNeed(load_rules().resolve(rng.choice(("20+20", "30+10", "40+10")))), bool(rng.random() < 0.2)
    made = make_vineyard(
        seed=SEED + number, range_m=range_m, nugget_share=share, samples=samples, cv=cv, mean_kg=mean_kg, skewed=skewed
    )
    surface = fit_surface(made.trellis, made.samples, seed=number)
    ways: dict[str, tuple[np.ndarray, int]] = {}
    for name, limits in LIMITS.items():
        task = set_task(made.trellis, surface.draws, need, replace(limits, bud_step=2 if mean_kg > 0.3 else 1))
        for zones, found in draw_all(task, MOST).items():
            ways[f"{name} {zones}"] = (task.panel_counts(found), int(task.graph.changes_per_row(found.labels).sum()))
    size_kg = surface.panels["vine_size_kg"].to_numpy()
    labels = np.unique(np.searchsorted(np.quantile(size_kg, [1 / 3, 2 / 3]), size_kg), return_inverse=True)[1]
    said = task.counts[list(refit_counts(task, labels, int(labels.max()) + 1))][labels].astype(float)
    ways["terciles"] = (said, int(task.graph.changes_per_row(labels).sum()))
    fives = set_task(made.trellis, surface.draws, need, ZoneOptions(bud_step=5))
    ways["fives 1"] = (np.full(len(labels), float(fives.counts[fives.loss.sum(axis=0).argmin()])), 0)
    came = true_misfits(made, need, np.column_stack([said for said, _ in ways.values()]))
    about = {"vineyard": number, "pattern": surface.pattern}
    return [about | {"way": w, "came": c, "changes": ways[w][1]} for w, c in zip(ways, came.tolist(), strict=True)]


def tell(lines: pd.DataFrame) -> None:
    """Print by how much the second way of each pair misses less, in % of one number's misfit."""
    came, changes = (lines.pivot_table(index="vineyard", columns="way", values=name) for name in ("came", "changes"))
    shown = lines.drop_duplicates("vineyard").set_index("vineyard")["pattern"] == "shown"
    print("| | all: saves % | blocks | pattern shown: saves % | blocks | changes of number |\n|---|---|---|---|---|---|")
    for one, other in PAIRS:
        saved = (100 * (came[one] - came[other]) / came["held 1"]).dropna()
        parts = [saved, saved[shown.loc[saved.index]]]
        cells = [f"{part.mean():+.1f} ± {part.std() / np.sqrt(max(len(part), 1)):.1f} | {len(part)}" for part in parts]
        marks = f"{changes[one].loc[saved.index].mean():.0f} to {changes[other].loc[saved.index].mean():.0f}"
        print(f"| {other} after {one} | {' | '.join(cells)} | {marks} |")


def run(first: int, last: int) -> Iterator[pd.DataFrame]:
    """Give the lines of each vineyard."""
    for number in range(first, last):
        yield pd.DataFrame(judge(number))


if __name__ == "__main__":
    run_or_tell(run, tell, 80)
