"""What an effect of whole rows in the map is worth, and what it costs where there is none; simulated vineyards.

    python benchmarks/row_effects.py run RESULTS.csv [FIRST] [LAST]     append FIRST..LAST-1 of 960 vineyards
    python benchmarks/row_effects.py tell RESULTS.csv                   print the table of docs/method-zones.md

Kinds and numbers of weights below go round, then practical ranges of 40, 100 and 250 m. Blocks of 32 rows of 54 vines (1.1
ha), mean 1.5 kg, CV 0.3 without the rows; every row is larger or smaller as a whole, by a normal law whose variance is the
stated share of a vine's. Each is mapped from the same weights without rows and as the surface room does it. Errors are those
of panels. Real vines: `benchmarks/real_grids.py`.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import product

import numpy as np
import pandas as pd
import vineyards
from studies import run_or_tell
from vineyards import Simulated, make_vineyard, sample_table

from geoprune.geostat import AveragedKriging
from geoprune.surface.held_out import make_nodes
from geoprune.surface.modelling import average
from geoprune.surface.observations import Observations, gather
from geoprune.surface.prior import Prior
from geoprune.surface.row_effect import RowEffect, map_rows, tell_rows
from geoprune.surface.support import Support, vine_means
from geoprune.surface.verdict import ALPHA, find_structure
from geoprune.units import NINETY

vineyards.BLOCKS["study"] = (32, 54)
SEED = 37_000_000
COUNTS, RANGES_M = (20, 40, 60, 80), (40.0, 100.0, 250.0)
#: Name, nugget share of field and own part, rows' share of the variance of a vine.
KINDS = (("field", 0.5, 0.0), ("nothing", 1.0, 0.0), ("field, rows", 0.5, 0.2), ("rows", 1.0, 0.3))
MEAN_KG, CV, ALL = 1.5, 0.3, 960


def make(number: int) -> tuple[Simulated, dict[str, object]]:
    """Vineyard `number`, its rows made to differ, and what it was made with."""
    cells = list(product(COUNTS, KINDS))
    samples, (kind, share, of_rows) = cells[number % len(cells)]
    range_m = RANGES_M[number // len(cells) % len(RANGES_M)]
    made = make_vineyard(
        seed=SEED + number, range_m=range_m, nugget_share=share, samples=samples, cv=CV, mean_kg=MEAN_KG, block="study"
    )
    row = made.trellis.vines["row_order"].to_numpy()
    sd_kg = MEAN_KG * CV * np.sqrt(of_rows / (1.0 - of_rows))
    step = sd_kg * np.random.default_rng([SEED, number]).standard_normal(row.max() + 1)
    size = np.maximum(made.size_kg + step[row], vineyards.SMALLEST_KG)
    table = sample_table(made.trellis, made.samples["vine_id"].to_numpy(), size)
    truth = {"kind": kind, "samples": samples, "range_m": range_m}
    return Simulated(made.trellis, made.polygon, size, made.field_kg, table, made.truth), truth


def measure(fit: AveragedKriging, seen: Observations, made: Simulated, row: np.ndarray | None) -> tuple[float, ...]:
    """Error of the panels (kg, root mean square), and shares in their 90 % interval: of all, and in rows not weighed."""
    support = Support(seen.vines, np.ones((len(seen.vines), 1)), seen.known_kg, row=row)
    told, spread = vine_means(fit, support, seen.member, len(made.trellis.panels))
    error = told - made.panel_means()
    inside = np.abs(error) <= NINETY * np.sqrt(spread)
    other = ~np.isin(made.trellis.panels["row_order"].to_numpy(), seen.row)
    return (
        float(np.sqrt(np.mean(np.square(error)))),
        float(inside.mean()),
        float(inside[other].mean()) if other.any() else np.nan,
    )


def judge(number: int) -> dict[str, object]:
    """One vineyard: errors and cover with rows and without, beliefs and whether a pattern is shown."""
    made, truth = make(number)
    seen = gather(made.trellis, made.samples)
    able, plain = tell_rows(seen.row), average(seen, seen.levels, Prior())
    told = average(seen, seen.levels, Prior(), rows=True) if able else plain
    rows, fit = map_rows(RowEffect(able), plain, lambda: told)
    nodes, beside = make_nodes(plain), make_nodes(told) if able else None
    shown = [
        find_structure(nodes, nodes.design.residual, seed=number, with_rows=both).p_value <= ALPHA for both in (None, beside)
    ]
    found = {
        "plain": measure(plain, seen, made, None),
        "told": measure(fit, seen, made, seen.vine_row if rows.mapped else None),
    }
    figures = {
        f"{way}_{name}": value
        for way, values in found.items()
        for name, value in zip(("error", "cover", "cover_other"), values, strict=True)
    }
    return {
        "vineyard": number,
        **truth,
        "mapped": rows.mapped,
        "belief": rows.belief,
        "plain_shown": shown[0],
        "told_shown": shown[1],
        **figures,
    }


def run(first: int, last: int) -> Iterator[pd.DataFrame]:
    """Give the line of each vineyard."""
    for number in range(first, last):
        yield pd.DataFrame([judge(number)])


def tell(lines: pd.DataFrame) -> None:
    """Print the table: means over vineyards of the paired change of the error, cover and shares."""
    print("| truth | weights | vineyards | rows mapped % | error after / before | cover % before | after |", end="")
    print(" unweighed rows: before | after | pattern shown % before | after |\n" + "|---" * 11 + "|")
    for kind, _, _ in KINDS:
        for samples in COUNTS:
            part = lines[(lines["kind"] == kind) & (lines["samples"] == samples)]
            ratio = part["told_error"] / part["plain_error"]
            error = f"{ratio.mean():.3f} ± {ratio.std() / np.sqrt(len(part)):.3f} ({ratio.median():.3f})"
            names = ("plain_cover", "told_cover", "plain_cover_other", "told_cover_other")
            shares = " | ".join(f"{100 * part[name].mean():.1f}" for name in names)
            shown = " | ".join(f"{100 * part[name].mean():.0f}" for name in ("plain_shown", "told_shown"))
            print(f"| {kind} | {samples} | {len(part)} | {100 * part['mapped'].mean():.0f} | {error} | {shares} | {shown} |")


if __name__ == "__main__":
    run_or_tell(run, tell, ALL)
