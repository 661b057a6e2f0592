"""How often the range of a change between two winters holds the true change, on simulated fields.

python benchmarks/season_change.py 60
"""

from __future__ import annotations

import sys

import numpy as np
from scipy.spatial.distance import cdist

from geoprune.seasons import Target, Weights, fit_seasons

PANELS = np.stack(np.meshgrid(np.arange(12) * 15.0, np.arange(12) * 15.0), -1).reshape(-1, 2)
PER_PANEL, RANGE_M, VINE_SHARE, SD_KG = 4, 60.0, 0.4, 0.3
LEVELS_KG = {2026: 1.0, 2027: 0.9}
NINETY = 1.645


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


def one_run(seed: int, lasting: float, *, each: int, marked: bool) -> tuple[float, ...]:
    """Share of panels whose change and size are held, the share that lasts as estimated, errors with and without 2026."""
    generator = np.random.default_rng(seed)
    sizes = winters(generator, lasting)
    picks = [generator.choice(len(PANELS) * PER_PANEL, each, replace=False) for _ in LEVELS_KG]
    picks[1] = picks[0] if marked else picks[1]
    vine, season = np.concatenate(picks), np.repeat(list(LEVELS_KG), each)
    size = np.concatenate([year.ravel()[chosen] for year, chosen in zip(sizes, picks, strict=True)])
    weights = Weights(PANELS[vine // PER_PANEL], season, size, np.ones(len(vine)), vine)
    model, places = fit_seasons(weights), np.arange(0, len(PANELS), 5)
    targets = [Target(PANELS[[k]], PER_PANEL) for k in places]
    change, now = model.change(targets, 2026, 2027), model.size(targets, 2027)
    alone = fit_seasons(weights.only(2027)).size(targets, 2027)
    true = sizes.mean(axis=2)[:, places]
    return (
        float((np.abs(change.mean - (true[1] - true[0])) < NINETY * change.error).mean()),
        float((np.abs(now.mean - true[1]) < NINETY * now.error).mean()),
        model.lasting[0],
        float(np.sqrt(((now.mean - true[1]) ** 2).mean())),
        float(np.sqrt(((alone.mean - true[1]) ** 2).mean())),
    )


def main() -> None:
    """Print a line for each share that lasts and way of choosing vines."""
    runs = int(sys.argv[1]) if len(sys.argv) > 1 else 20
    print("each  lasting  same vines  change held  size held  lasting told  error kg  error alone kg")
    for each, lasting, marked in [(n, p, m) for n in (30, 20, 40) for p in (0.0, 0.5, 0.9) for m in (False, True)]:
        found = np.mean([one_run(seed, lasting, each=each, marked=marked) for seed in range(runs)], axis=0)
        said = "  ".join(f"{value:9.3f}" for value in found)
        print(f"{each:4d}  {lasting:7.1f}  {marked!s:>10}  {said}", flush=True)


if __name__ == "__main__":
    main()
