"""How long an estate takes and how much memory: `python benchmarks/estates.py [blocks vines_per_block samples cores runs]`.

Each run is the command in a process of its own, start-up included. The vineyards are invented: rectangles of straight
rows with a field of vine sizes (`vineyards.py` has the study's own; here only size counts). Prints medians of wall time,
and of processor time and greatest memory of the run's own process: what its workers take the system does not tell here, so
ask for one core to see the whole work.
"""

from __future__ import annotations

import resource
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
from shapely import box

ROW_M, VINE_M = 2.7, 1.8
#: Blocks, vines a block, samples a block, cores, runs: one block, and an estate.
USUAL = ((1, 5400, 60, 2, 5), (200, 2500, 40, 2, 1))


def make_estate(folder: Path, blocks: int, vines: int, samples: int) -> tuple[Path, Path]:
    """Write an invented estate: blocks of `vines` places, twice as long as wide, side by side."""
    rng = np.random.default_rng(1)
    rows = max(4, round(np.sqrt(vines * VINE_M / ROW_M / 2)))
    places = vines // rows
    wide, tall = rows * ROW_M, places * VINE_M
    entries, outlines, weights = [], [], []
    for k in range(blocks):
        name, west, south = f"B{k + 1:04d}", 600_000 + (k % 20) * (wide + 12), 4_700_000 + (k // 20) * (tall + 12)
        entries.append({"block": name, "variety": "Concord", "rule": "20+20", "training": "top-wire cordon"})
        entries[-1] |= {"row_spacing_m": ROW_M, "vine_spacing_m": VINE_M, "row_bearing_deg": 0.0}
        outlines.append(box(west, south, west + wide, south + tall))
        chosen = rng.choice(rows * (places - 2), samples, replace=False)
        row, vine = chosen // (places - 2) + 1, chosen % (places - 2) + 1
        size = 1.1 + 0.5 * np.sin(row / rows * 3 + k) + 0.3 * np.cos(vine / places * 4) + rng.normal(0, 0.25, samples)
        weights.append(pd.DataFrame({"block": name, "row": row, "vine": vine, "pruning_weight_kg": size.clip(0.1).round(2)}))
    vineyard, table = folder / "estate.gpkg", folder / "weights.csv"
    gpd.GeoDataFrame(entries, geometry=outlines, crs=32617).to_file(vineyard, layer="blocks", driver="GPKG")
    pd.concat(weights).to_csv(table, index=False)
    return vineyard, table


def run_once(vineyard: Path, table: Path, out: Path, cores: int) -> tuple[float, float, float]:
    """Return wall seconds, and processor seconds and greatest memory (MB) of a run's own process."""
    command = [sys.executable, "-m", "geoprune", "prescribe", str(vineyard), "--samples", str(table)]
    before, begun = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
    subprocess.run(
        [*command, "--out", str(out), "--force", "--quiet", "--cores", str(cores)], check=True, stdout=subprocess.DEVNULL
    )
    wall, after = time.perf_counter() - begun, resource.getrusage(resource.RUSAGE_CHILDREN)
    spent = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    return wall, spent, after.ru_maxrss / 1024


def main() -> None:
    """Measure and print."""
    given = tuple(int(word) for word in sys.argv[1:])
    for blocks, vines, samples, cores, runs in (given,) if given else USUAL:
        with tempfile.TemporaryDirectory() as folder:
            made = make_estate(Path(folder), blocks, vines, samples)
            done = [run_once(*made, Path(folder) / "out", cores) for _ in range(runs)]
        wall, spent, memory = (statistics.median(values) for values in zip(*done, strict=True))
        told = f"{blocks} blocks of {vines} vines, {samples} samples each, {cores} cores, median of {runs}"
        print(f"{told}: {wall:.1f} s, {spent:.1f} s of processor time and {memory:.0f} MB in its own process")


if __name__ == "__main__":
    main()
