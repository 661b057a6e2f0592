"""How long a run takes and how much memory: `python benchmarks/run_times.py [blocks vines_per_block samples cores runs]`.

Each run is the command in a process of its own, start-up included. The vineyards are invented: rectangles of straight rows
with a wave of vine sizes; only size counts here. Prints medians of wall time, of the processor time of all processes of a
run, and of the most memory they hold together (what they share counted once). Linux: read from /proc.
"""

from __future__ import annotations

import os
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
#: Blocks, vines a block, samples a block, cores, runs: one block, an estate, and a large one.
USUAL = ((1, 5400, 60, 2, 5), (200, 2500, 40, 2, 1), (2000, 2500, 40, 2, 1))
#: Looked every so many seconds, and less often in a long run: looking takes time of the processor too.
LOOK_S, LOOK_SHARE = 0.05, 0.01
TICKS_S = os.sysconf("SC_CLK_TCK")


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


def look_at(session: int) -> dict[int, tuple[float, float]]:
    """Return, by process of a session, processor seconds (its own) and MB held."""
    found = {}
    for folder in Path("/proc").iterdir():
        if not folder.name.isdigit():
            continue
        try:
            told = (folder / "stat").read_text().rsplit(")", 1)[1].split()
        except (OSError, IndexError):
            continue  # it has ended meanwhile
        if int(told[3]) == session:
            found[int(folder.name)] = sum(map(int, told[11:13])) / TICKS_S, held_mb(folder)
    return found


def held_mb(process: Path) -> float:
    """Return the memory a process holds, what it shares with others in equal parts (PSS), MB; 0 once it has ended."""
    try:
        lines = (process / "smaps_rollup").read_text().splitlines()
    except OSError:
        return 0.0
    return sum(int(line.split()[1]) for line in lines if line.startswith("Pss:")) / 1024


def run_once(vineyard: Path, table: Path, out: Path, cores: int) -> tuple[float, float, float]:
    """Return wall seconds, processor seconds of all processes, and the most MB they hold together."""
    command = [sys.executable, "-m", "geoprune", "prescribe", str(vineyard), "--samples", str(table)]
    command += ["--out", str(out), "--force", "--quiet", "--cores", str(cores)]
    begun, spent, most = time.perf_counter(), dict[int, float](), 0.0
    with subprocess.Popen(command, stdout=subprocess.DEVNULL, start_new_session=True) as run:
        while run.poll() is None:
            seen = look_at(run.pid)
            spent |= {process: seconds for process, (seconds, _) in seen.items()}
            most = max(most, sum(memory for _, memory in seen.values()))
            time.sleep(min(1.0, LOOK_S + LOOK_SHARE * (time.perf_counter() - begun)))
    wall = time.perf_counter() - begun
    if run.returncode:
        raise SystemExit(f"the run ended with {run.returncode}")
    return wall, sum(spent.values()), most


def main() -> None:
    """Measure and print."""
    given = tuple(int(word) for word in sys.argv[1:])
    for blocks, vines, samples, cores, runs in (given,) if given else USUAL:
        with tempfile.TemporaryDirectory() as folder:
            made = make_estate(Path(folder), blocks, vines, samples)
            done = [run_once(*made, Path(folder) / "out", cores) for _ in range(runs)]
        wall, spent, memory = (statistics.median(values) for values in zip(*done, strict=True))
        told = f"{blocks} blocks of {vines} vines, {samples} samples each, {cores} cores, median of {runs}"
        print(f"{told}: {wall:.1f} s, {spent:.1f} s of processor time, {memory:.0f} MB in all processes")


if __name__ == "__main__":
    main()
