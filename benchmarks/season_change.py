"""How often the range of a change between two winters holds the true change, and what an earlier winter is worth.

    python benchmarks/season_change.py 20
    python benchmarks/season_change.py all-lasts 40    why ranges are wide where all lasts

Invented vineyards of four blocks, weighed in two winters. "alone": each block by itself; "together": the share that lasts
is told by all four. "40 now" is the error of the same block's map made of 40 weights of the later winter alone.
"""

from __future__ import annotations

import sys

import numpy as np
from scipy.spatial.distance import cdist

from geoprune.seasons import Target, Weights, fit_seasons, lasting_evidence, model

PANELS = np.stack(np.meshgrid(np.arange(12) * 15.0, np.arange(12) * 15.0), -1).reshape(-1, 2)
PER_PANEL, RANGE_M, VINE_SHARE, SD_KG = 4, 60.0, 0.4, 0.3
LEVELS_KG = {2026: 1.0, 2027: 0.9}
BLOCKS, NINETY = 4, 1.645
PLACES = np.arange(0, len(PANELS), 5)
TARGETS = [Target(PANELS[[k]], PER_PANEL) for k in PLACES]
#: Weights of the earlier and the later winter, and whether the later ones are on vines of the earlier.
LASTS = (0.0, 0.5, 0.9, 1.0)
DESIGNS = ((30, 30, False), (40, 20, False), (30, 30, True), (20, 20, False))


def winters(generator: np.random.Generator, lasting: float) -> np.ndarray:
    """Vine sizes (2, panels, vines): what lasts and what is of each winter, field and vine to vine alike."""
    lower = np.linalg.cholesky(np.exp(-cdist(PANELS, PANELS) / RANGE_M) + 1e-9 * np.eye(len(PANELS)))

    def draw() -> np.ndarray:
        field = lower @ generator.standard_normal(len(PANELS))
        vines = generator.standard_normal((len(PANELS), PER_PANEL))
        return np.sqrt(1 - VINE_SHARE) * field[:, None] + np.sqrt(VINE_SHARE) * vines

    common = draw()
    parts = [np.sqrt(lasting) * common + np.sqrt(1 - lasting) * draw() for _ in LEVELS_KG]
    return np.array([level + SD_KG * part for level, part in zip(LEVELS_KG.values(), parts, strict=True)])


def weighed(generator: np.random.Generator, sizes: np.ndarray, counts: tuple[int, int], *, marked: bool) -> Weights:
    """Weights of both winters on vines at random; marked vines are weighed again."""
    picks = [generator.choice(len(PANELS) * PER_PANEL, count, replace=False) for count in counts]
    if marked:
        picks[1] = picks[0][: counts[1]]
    vine, season = np.concatenate(picks), np.repeat(list(LEVELS_KG), counts)
    size = np.concatenate([year.ravel()[chosen] for year, chosen in zip(sizes, picks, strict=True)])
    return Weights(PANELS[vine // PER_PANEL], season, size, np.ones(len(vine)), vine)


def squared_error(weights: Weights, true: np.ndarray) -> float:
    """Mean squared error of the map of one winter's weights alone."""
    return float(((fit_seasons(weights).size(TARGETS, 2027).mean - true) ** 2).mean())


def one_vineyard(seed: int, lasting: float, counts: tuple[int, int], *, marked: bool) -> np.ndarray:
    """A line a block: panels whose change is held, whose size is held, the share told, squared error of this winter's map
    (each alone and together), and squared errors of the later weights alone and of 40."""
    generator = np.random.default_rng(seed)
    sizes = [winters(generator, lasting) for _ in range(BLOCKS)]
    weights = [weighed(generator, size, counts, marked=marked) for size in sizes]
    evidence = [lasting_evidence(one) for one in weights]
    lines = []
    for size, here, own in zip(sizes, weights, evidence, strict=True):
        true = size.mean(axis=2)[:, PLACES]
        line = []
        for beside in (0.0, sum(evidence) - own):
            model = fit_seasons(here, beside)
            change, now = model.change(TARGETS, 2026, 2027), model.size(TARGETS, 2027)
            line += [
                (np.abs(change.mean - (true[1] - true[0])) < NINETY * change.error).mean(),
                (np.abs(now.mean - true[1]) < NINETY * now.error).mean(),
                model.lasting[0],
                ((now.mean - true[1]) ** 2).mean(),
            ]
        forty = weighed(generator, size, (1, 40), marked=False).only(2027)
        lines.append([*line, squared_error(here.only(2027), true[1]), squared_error(forty, true[1])])
    return np.array(lines)


def apart(generator: np.random.Generator, sizes: np.ndarray, count: int) -> Weights:
    """Weights of both winters, `count` each, on vines at random, none of them twice."""
    vine = generator.choice(len(PANELS) * PER_PANEL, 2 * count, replace=False)
    size = np.concatenate([year.ravel()[chosen] for year, chosen in zip(sizes, np.split(vine, 2), strict=True)])
    return Weights(PANELS[vine // PER_PANEL], np.repeat(list(LEVELS_KG), count), size, np.ones(len(vine)), vine)


def all_lasts(runs: int) -> None:
    """Print how the range of a change stands to its error where all lasts: as it is, and where that is told."""
    print("| how much lasts | blocks | change held, % | error kg | standard error kg |\n|---|---|---|---|---|")
    usual = model.LASTING
    for name, shares in (("found, four blocks together", usual), ("told", np.array([0.998]))):
        model.LASTING = shares
        held, errors, spreads = [], [], []
        for seed in range(900, 900 + runs):
            generator = np.random.default_rng(seed)
            sizes = [winters(generator, 1.0) for _ in range(BLOCKS)]
            weights = [apart(generator, size, 30) for size in sizes]
            evidence = [lasting_evidence(one) for one in weights]
            for size, here, own in zip(sizes, weights, evidence, strict=True):
                change = fit_seasons(here, sum(evidence) - own).change(TARGETS, 2026, 2027)
                error = change.mean - np.diff(size.mean(axis=2)[:, PLACES], axis=0)[0]
                held.append(np.mean(np.abs(error) < NINETY * change.error))
                errors.append(np.mean(error))
                spreads.append(np.mean(change.error))
        rms = np.sqrt(np.mean(np.square(errors)))
        print(f"| {name} | {len(held)} | {100 * np.mean(held):.0f} | {rms:.3f} | {np.mean(spreads):.3f} |", flush=True)
    model.LASTING = usual


def main() -> None:
    """Print a line for each share that lasts and way of choosing vines."""
    if sys.argv[1:2] == ["all-lasts"]:
        all_lasts(int(sys.argv[2]))
        return
    runs = int(sys.argv[1]) if len(sys.argv) > 1 else 8
    print("| weights | lasting | change held | size held | told | error kg, earlier + now | now alone | 40 now |")
    for before, now, marked in DESIGNS:
        for lasting in LASTS:
            lines = [one_vineyard(seed, lasting, (before, now), marked=marked) for seed in range(runs)]
            mean = np.concatenate(lines).mean(axis=0)
            held = [f"{100 * mean[k]:.0f}, {100 * mean[k + 4]:.0f}" for k in (0, 1)]
            told = f"{mean[2]:.2f}, {mean[6]:.2f}"
            errors = f"{np.sqrt(mean[3]):.3f}, {np.sqrt(mean[7]):.3f} | {np.sqrt(mean[8]):.3f} | {np.sqrt(mean[9]):.3f}"
            name = f"{before} + {now}{', same vines' if marked else ''}"
            print(f"| {name} | {lasting:.1f} | {held[0]} | {held[1]} | {told} | {errors} |", flush=True)


if __name__ == "__main__":
    main()
