"""What the verdict is worth, on simulated vineyards whose every vine is known; and how often none is zoned by mistake.

    python benchmarks/verdict_value.py run RESULTS.csv [FIRST] [LAST]     append FIRST..LAST-1 of 924 vineyards
    python benchmarks/verdict_value.py tell RESULTS.csv                   print the tables of docs/method-zones.md

Vineyards 0-323: every combination of CV, nugget share, practical range and number of weights below, four times; mean size
with its training and rule go round. Vineyards 324-923 have no structure, half of them with skewed sizes; nothing else
differs. Blocks of 32 rows of 54 vines (1.1 ha). Counts are those a crew keeps count of on the training's wood.

Each vineyard is planned as `geoprune prescribe` plans it, but for the draws: 80, not 200. Realised misfits are means over
all vines of |told - needed|.
Regret: what the verdict's plan misses more than the better, in hindsight, of one number and the zones the tool drew
(every number of zones). Terciles: three classes of the tool's own map, without limits, each told its best count.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import product

import numpy as np
import pandas as pd
import vineyards
from studies import run_or_tell
from vineyards import Simulated, make_vineyard

from geoprune.rules import BudNeed, countable_counts, load_rules
from geoprune.surface import fit_surface
from geoprune.zones import ZoneOptions
from geoprune.zones.choosing import Ways, try_ways
from geoprune.zones.drawing import refit_counts

vineyards.BLOCKS["study"] = (32, 54)
SEED = 17_000_000
CVS, SHARES, RANGES_M, COUNTS = (0.2, 0.35, 0.6), (0.2, 0.5, 0.8), (40.0, 100.0, 250.0), (20, 40, 80)
#: Mean size (kg) with a training whose wood holds what such vines need.
SIZES = ((0.25, "flat cane"), (0.75, "four-cane"), (2.0, "divided horizontal"))
RULES = ("20+20", "30+10", "40+10")
REPEATS, STRUCTURED, ALL = 4, 324, 924
#: Fewer than a plan's 200, for speed.
DRAWS = 80
#: What counts as worse than one number.
LEAST_WORSE = 0.02
#: Figures of every number of zones; empty where it does not fit the limits.
COLUMNS = [f"{name}_{zones}" for zones in (1, 2, 3) for name in ("came", "foretold", "marks", "minutes")]


def setting(number: int) -> dict[str, object]:
    """What vineyard `number` is made with."""
    if number < STRUCTURED:
        cv, share, range_m, samples = list(product(CVS, SHARES, RANGES_M, COUNTS))[number // REPEATS]
    else:
        cv, share, range_m, samples = CVS[number % 3], 1.0, 100.0, COUNTS[number // 3 % 3]
    turn = number + number // REPEATS + number // 36
    mean_kg, training = SIZES[turn % 3]
    return {
        "cv": cv,
        "nugget_share": share,
        "range_m": range_m,
        "samples": samples,
        "mean_kg": mean_kg,
        "training": training,
        "rule": RULES[turn // 3 % 3],
        "skewed": number >= STRUCTURED and number % 2 == 1,
    }


def true_misfits(made: Simulated, need: BudNeed, said: np.ndarray) -> np.ndarray:
    """Mean absolute misfit in buds (K,) of panels told counts (P, K), over the vines as they came out."""
    vines = made.trellis.vines
    counted = vines["counted"].to_numpy()
    needed = need(made.size_kg[counted])
    return np.abs(said[vines["panel_id"].to_numpy()[counted]] - needed[:, None]).mean(axis=0)


def tercile_counts(ways: Ways, size_kg: np.ndarray) -> np.ndarray:
    """Counts (P,) of terciles of the map."""
    labels = np.unique(np.searchsorted(np.quantile(size_kg, [1 / 3, 2 / 3]), size_kg), return_inverse=True)[1]
    chosen = refit_counts(ways.task, labels, int(labels.max()) + 1)
    return ways.task.counts[list(chosen)][labels].astype(float)


def judge(number: int) -> dict[str, object]:
    """One vineyard: its truth, the verdict, foretold and realised misfits."""
    truth = setting(number)
    shape = {key: truth[key] for key in ("cv", "nugget_share", "range_m", "samples", "mean_kg", "skewed")}
    made = make_vineyard(seed=SEED + number, block="study", **shape)
    counts = countable_counts(truth["training"], vineyards.VINE_SPACING_M)
    need = BudNeed(load_rules().resolve(truth["rule"]), cap=float(counts[-1]))
    surface = fit_surface(made.trellis, made.samples, seed=number, draws=DRAWS)
    ways = try_ways(made.trellis, surface.draws, need, ZoneOptions(counts=counts))
    best = ways.best(least=1)
    chosen = best if surface.pattern == "shown" else 1
    size_kg = surface.panels["vine_size_kg"].to_numpy()
    said = [ways.task.panel_counts(found) for found in ways.drawn.values()] + [tercile_counts(ways, size_kg)]
    *realised, terciles = true_misfits(made, need, np.column_stack(said))
    place, true = ways.place(chosen), made.panel_means()
    other = ways.best(least=2)
    panel = [float(np.sqrt(np.nanmean(np.square(guess - true)))) for guess in (size_kg, surface.block_mean_kg)]
    foretold = ways.misfits.misfit.mean(axis=0)
    return {
        "vineyard": number,
        **truth,
        "pattern": surface.pattern,
        "p_value": surface.benefit.p_value,
        "probability": surface.benefit.pattern_probability,
        "map_is_better": surface.map_is_better,
        "map_error": panel[0],
        "mean_error": panel[1],
        "number": int(ways.task.counts[ways.drawn[1].chosen[0]]),
        "chosen": chosen,
        "by_value": best,
        "marks": ways.worths[chosen].marks,
        "net_share": ways.worths[chosen].net_minutes / (3.0 * ways.task.counted.sum()),
        "one": realised[0],
        "plan": realised[place],
        "plan_by_value": realised[ways.place(best)],
        "hindsight": min(realised),
        "terciles": terciles,
        "other": realised[ways.place(other)],
        **{
            f"{name}_{zones}": figure
            for zones in ways.drawn
            for name, figure in (
                ("came", realised[ways.place(zones)]),
                ("foretold", foretold[ways.place(zones)]),
                ("marks", ways.worths[zones].marks),
                ("minutes", ways.worths[zones].minutes),
            )
        },
        "foretold_one": foretold[0],
        "foretold_plan": foretold[place],
        "foretold_other": foretold[ways.place(other)],
    }


def run(first: int, last: int) -> Iterator[pd.DataFrame]:
    """Give the line of each vineyard, in an order dealt out once, so that a part tells of all."""
    for number in np.random.default_rng(SEED).permutation(ALL)[first:last].tolist():
        yield pd.DataFrame([{**dict.fromkeys(COLUMNS, np.nan), **judge(number)}])


def shares(lines: pd.DataFrame) -> pd.DataFrame:
    """Everything as a share of one number's realised misfit."""
    one = lines["one"]
    return lines.assign(
        gained=(one - lines["plan"]) / one,
        regret=(lines["plan"] - lines["hindsight"]) / one,
        worse=lines["plan"] > (1 + LEAST_WORSE) * one,
        against_terciles=(lines["plan"] - lines["terciles"]) / one,
        ungated=(lines["plan_by_value"] - lines["hindsight"]) / one,
        foretold=(lines["foretold_one"] - lines["foretold_plan"]) / lines["foretold_one"],
        map_ratio=lines["map_error"] / lines["mean_error"],
    )


def line_of(name: str, part: pd.DataFrame) -> str:
    """One line of the table."""

    def said(column: str) -> str:
        values = 100 * part[column]
        return f"{values.mean():.1f} ± {values.std() / np.sqrt(len(values)):.1f} ({values.median():.1f})"

    cells = [f"{100 * (part['chosen'] > 1).mean():.0f}", said("gained"), said("regret"), f"{100 * part['worse'].mean():.1f}"]
    cells += [said("against_terciles"), said("foretold"), f"{part['map_ratio'].mean():.3f}"]
    return f"| {name} | {len(part)} | " + " | ".join(cells) + " |"


def calibration(name: str, part: pd.DataFrame) -> str:
    """One line: foretold and realised saving of the best zones in % of one number's misfit, slope and intercept."""
    foretold = 100 * (1 - part["foretold_other"] / part["foretold_one"]).to_numpy()
    came = 100 * (1 - part["other"] / part["one"]).to_numpy()
    design = np.column_stack([np.ones(len(part)), foretold])
    fit, *_ = np.linalg.lstsq(design, came, rcond=None)
    rest = came - design @ fit
    error = np.sqrt(np.diag(np.linalg.pinv(design.T @ design)) * float(rest @ rest) / max(len(part) - 2, 1))
    buds = [(part["foretold_one"] - part["foretold_other"]).mean(), (part["one"] - part["other"]).mean()]
    figures = f"{foretold.mean():.1f} | {came.mean():.1f} | {fit[1]:.2f} ± {error[1]:.2f} | {fit[0]:+.1f} ± {error[0]:.1f}"
    return f"| {name} | {len(part)} | {figures} | {buds[0]:.2f} | {buds[1]:.2f} |"


def tell(lines: pd.DataFrame) -> None:
    """Print all tables."""
    lines = shares(lines)
    some, none = lines[lines["nugget_share"] < 1.0], lines[lines["nugget_share"] == 1.0]
    print("| cell | blocks | zoned % | gained % | regret % | worse % | behind terciles % | foretold % | map / mean |")
    print("|---|---|---|---|---|---|---|---|---|")
    print(line_of("all", some))
    for column, name in (
        ("cv", "CV {}"),
        ("nugget_share", "nugget share {}"),
        ("range_m", "range {:.0f} m"),
        ("samples", "n = {}"),
        ("mean_kg", "mean {} kg"),
        ("rule", "rule {}"),
    ):
        for value, part in some.groupby(column):
            print(line_of(name.format(value), part))
    if len(none):
        print(line_of("no structure", none))
        for skewed, part in none.groupby("skewed"):
            print(line_of(f"no structure, {'skewed' if skewed else 'normal'} sizes", part))
    cells = some.groupby(["cv", "nugget_share", "range_m", "samples"])["regret"].mean()
    print(f"\ncells of four with mean regret above 2 %: {(cells > 0.02).sum()} of {len(cells)}; the worst:")
    print((100 * cells.sort_values(ascending=False).head(12)).round(1).to_string())
    print("\n| best zones | blocks | foretold % | came % | slope | intercept % | foretold buds | came buds |")
    print("|---|---|---|---|---|---|---|---|")
    both = pd.concat([some, none])
    parts = [("zoned", some[some["chosen"] > 1]), ("zoned, with those of no structure", both[both["chosen"] > 1])]
    some, both = (part[part["foretold_other"] < part["foretold_one"]] for part in (some, both))  # some saving is foretold
    parts += [("zoned or not", some), ("zoned or not, with those of no structure", both)]
    parts += [(f"zoned or not, nugget share {share}", part) for share, part in some.groupby("nugget_share")]
    for name, part in parts:
        print(calibration(name, part))
    some = lines[lines["nugget_share"] < 1.0]
    with_test, without = 100 * some["regret"].mean(), 100 * some["ungated"].mean()
    print(f"\nmean regret without the test of a pattern {without:.1f} %, with it {with_test:.1f} %")
    print(f"zoned without the test where there is no structure: {100 * (none['by_value'] > 1).mean():.1f} %")
    print("\n| pattern | structured | map / mean | no structure | map / mean |\n|---|---|---|---|---|")
    for grade in ("shown", "likely", "none"):
        print(f"| {grade} | {' | '.join(graded(part, grade) for part in (some, none))} |")
    chances = [part["probability"].mean() for part in (some, none)]
    print(f"\nprobability of a pattern: {chances[0]:.2f} with structure, {chances[1]:.2f} without")


def graded(part: pd.DataFrame, grade: str) -> str:
    """Share of blocks of a grade, and the panel error of the map over that of the mean in them."""
    said = part[part["pattern"] == grade]
    return f"{100 * len(said) / max(len(part), 1):.0f} % | {said['map_ratio'].mean():.3f}"


if __name__ == "__main__":
    run_or_tell(run, tell, ALL)
