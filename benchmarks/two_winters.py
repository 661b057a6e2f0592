"""What last winter's weights are worth to this winter's map, on simulated vineyards (invented, truth known).

    python benchmarks/two_winters.py run RESULTS.csv FIRST LAST     append vineyards FIRST..LAST-1, each in every way
    python benchmarks/two_winters.py tell RESULTS.csv               print the table of docs/method-zones.md

Blocks of 32 rows of 54 vines, CV 0.35, practical range 40-200 m, nugget share 0.3-0.7, 20 weights each winter. Of the
field, and of the vines' own parts, a share lasts; last winter is as strong or 0.6 as strong; the same 20 vines were weighed
then, or 20 others. Errors are of panel means this winter, over those of this winter's weights alone.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import product

import geopandas as gpd
import numpy as np
import pandas as pd
import vineyards
from calibration import cover
from studies import run_or_tell
from vineyards import choose_vines, grid_field, lay_out, sample_table

from geoprune.surface import Prior, check_observations
from geoprune.surface.modelling import average
from geoprune.surface.support import Support, vine_means

vineyards.BLOCKS["study"] = (32, 54)
SEED, CV, MEAN_KG, COUNT = 29_000_000, 0.35, 0.9, 20
#: Shares of field and own parts that last.
LASTING = ((1.0, 0.0), (1.0, 0.6), (0.7, 0.6))
STRENGTHS, PLACES = (1.0, 0.6), ("same", "other")


def winters(lasting: tuple[float, float], strength: float, rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    """Sizes of all vines this winter and last (V,)."""
    rows, vines = vineyards.BLOCKS["study"]
    steps = (vineyards.ROW_SPACING_M, vineyards.VINE_SPACING_M)
    range_m, share = float(np.exp(rng.uniform(np.log(40.0), np.log(200.0)))), rng.uniform(0.3, 0.7)
    fields = [grid_field((rows, vines), steps, range_m, rng).ravel() for _ in range(3)]
    owns = [rng.standard_normal(rows * vines) for _ in range(3)]
    both = []
    for k, strong in ((1, 1.0), (2, strength)):
        field, own = (
            np.sqrt(last) * parts[0] + np.sqrt(1.0 - last) * parts[k]
            for last, parts in zip(lasting, (fields, owns), strict=True)
        )
        size = MEAN_KG * strong * (1.0 + CV * (np.sqrt(1.0 - share) * field + np.sqrt(share) * own))
        both.append(np.maximum(size, vineyards.SMALLEST_KG))
    return both[0], both[1]


def judge(number: int, lasting: tuple[float, float], strength: float, place: str) -> dict[str, float | str]:
    """Errors and cover, with last winter's weights and without."""
    rng = np.random.default_rng([SEED, number, round(10 * lasting[0]), round(10 * lasting[1]), round(10 * strength)])
    trellis, _ = lay_out("study")
    now, then = winters(lasting, strength, rng)
    chosen = choose_vines(trellis, COUNT, rng)
    older = chosen if place == "same" else choose_vines(trellis, COUNT, rng)
    tables = [sample_table(trellis, chosen, now, season=2026), sample_table(trellis, older, then, season=2025)]
    counted = trellis.vines["counted"].to_numpy(bool)
    owner, count = trellis.vines["panel_id"].to_numpy()[counted], len(trellis.panels)
    true = np.bincount(owner, now[counted], minlength=count) / np.bincount(owner, minlength=count)
    told: dict[str, float | str] = {
        "number": number,
        "field": lasting[0],
        "own": lasting[1],
        "strength": strength,
        "place": place,
    }
    for name, samples in (("alone", tables[0]), ("both", gpd.GeoDataFrame(pd.concat(tables, ignore_index=True)))):
        seen = check_observations(trellis, samples).observations
        drift = np.repeat(seen.target_levels[None, :], len(seen.vines), axis=0)
        fit = average(seen, seen.levels, Prior())
        mean, variance = vine_means(fit, Support(seen.vines, drift, seen.known_kg), seen.member, count)
        told[f"mse_{name}"] = float(np.mean(np.square(mean - true)))
        told[f"cover_{name}"] = cover(true, mean, variance)
    return told


def run(first: int, last: int) -> Iterator[pd.DataFrame]:
    """Give the lines of each vineyard, in every way."""
    for number in range(first, last):
        yield pd.DataFrame([judge(number, *way) for way in product(LASTING, STRENGTHS, PLACES)])


def tell(lines: pd.DataFrame) -> None:
    """Print the table."""
    print("| field lasts | own part lasts | strength then | vines | vineyards | error over this winter alone | cover % |")
    print("|---|---|---|---|---|---|---|")
    for (field, own, strength, place), part in lines.groupby(["field", "own", "strength", "place"], sort=False):
        ratio = np.sqrt(part["mse_both"].mean() / part["mse_alone"].mean())
        step = (part["mse_both"] - part["mse_alone"]) / part["mse_alone"].mean() / 2.0 / ratio
        middle = np.sqrt((part["mse_both"] / part["mse_alone"]).median())
        figures = (
            f"{ratio:.3f} ± {step.std() / np.sqrt(len(step)):.3f} ({middle:.3f}) | {100 * part['cover_both'].mean():.1f}"
        )
        print(f"| {field:g} | {own:g} | {strength:g} | {place} | {len(part)} | {figures} |")


if __name__ == "__main__":
    run_or_tell(run, tell)
