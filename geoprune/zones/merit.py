"""What zones are worth, in buds per vine, with intervals: from joint draws of the block and single vines within it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely

from geoprune.sizes import SizeDraws, to_weight
from geoprune.trellis import Trellis
from geoprune.zones.loss import asymmetric_loss, loss_quantile
from geoprune.zones.options import Floats, Labels, Need, ZoneOptions

MOST_VALUES = 9_000_000
FEWEST_DRAWS = 25


@dataclass(frozen=True)
class Misfits:
    """Figures of K ways to tell bud counts, per draw of the block.

    misfit, far_off, loss : (D, K) mean absolute misfit in buds per vine, share of vines told more than
        `far_off_buds` off, mean asymmetric loss in buds per vine
    explained, explained_panels : (D, K) share of the variance of vine size, and of panel means, between groups told
        alike
    perfect, perfect_far_off : (D,) misfit and share off when each panel is told its own best count, its vines known
    """

    misfit: Floats
    far_off: Floats
    loss: Floats
    explained: Floats
    explained_panels: Floats
    perfect: Floats
    perfect_far_off: Floats


def _states(trellis: Trellis, draws: SizeDraws, seed: int) -> Iterator[Floats]:
    """Yield, per draw, the weights of each panel's counted vines: (P, m) in kg.

    Vines beyond a panel's count are drawn too and weighted 0 by the caller. Panels take their chance numbers in an
    order given by their place on the ground, so that the order of rows in a file does not matter.
    """
    counted = trellis.panels["counted"].to_numpy()
    middles = shapely.line_interpolate_point(np.asarray(trellis.panels.geometry.values), 0.5, normalized=True)
    place = np.round(shapely.get_coordinates(middles), 2)
    turn = np.argsort(np.lexsort(place.T))
    size = (len(counted), int(counted.max()))
    many = max(FEWEST_DRAWS, MOST_VALUES // (size[0] * size[1]))
    chosen = np.unique(np.linspace(0, len(draws.panel_mean) - 1, many).astype(int))
    rng = np.random.default_rng(seed)
    for d in chosen:
        scatter = rng.standard_normal(size)[turn] * draws.vine_sd[d]
        yield to_weight(draws.panel_mean[d][:, None] + scatter, draws.transform)


def best_panel_counts(needed: Floats, counted: Labels, *, bud_step: int, over_weight: float) -> Floats:
    """Best count, in steps, for each panel whose vines' needs are known: (P,).

    needed : (P, m); the first `counted` of each row are the panel's vines. The loss is least at a quantile of the
    needs; of the two steps around it the better one is told, and never less than one step.
    """
    inside = np.arange(needed.shape[1]) < counted[:, None]
    ranked = np.sort(np.where(inside, needed, np.inf), axis=1)
    rank = np.ceil(loss_quantile(over_weight) * counted - 1e-9).astype(int) - 1
    middle = np.take_along_axis(ranked, np.clip(rank, 0, None)[:, None], axis=1)[:, 0]
    middle = np.where(counted > 0, middle, 0.0)
    lower = np.maximum(np.floor(middle / bud_step), 1) * bud_step
    upper = np.maximum(np.ceil(middle / bud_step), 1) * bud_step
    costs = [(asymmetric_loss(t[:, None], needed, over_weight) * inside).sum(axis=1) for t in (lower, upper)]
    return np.where(costs[0] <= costs[1], lower, upper)


def _explained(values: Floats, weight: Floats, group: Labels) -> float:
    """Share of the weighted variance of values that lies between groups; 0 where there is none."""
    mean = weight @ values / weight.sum()
    sums, weights = np.bincount(group, weight * values), np.bincount(group, weight)
    within = weights > 0
    between = weights[within] @ np.square(sums[within] / weights[within] - mean)
    spread = weight @ np.square(values - mean)
    return float(between / spread) if spread > 0 else 0.0


def measure_misfits(
    trellis: Trellis, draws: SizeDraws, need: Need, told: Floats, group: Labels, *, options: ZoneOptions
) -> Misfits:
    """Measure K ways to tell bud counts on the draws, all on the same vines.

    Parameters
    ----------
    told : (P, K) bud counts told
    group : (P, K) labels from 0; panels told as one group
    """
    counted = trellis.panels["counted"].to_numpy()
    inside = np.arange(int(counted.max())) < counted[:, None]
    owner = np.nonzero(inside)[0]
    figures, perfect = [], []
    for weights in _states(trellis, draws, options.seed):
        needed = need(weights)
        best = best_panel_counts(needed, counted, bud_step=options.bud_step, over_weight=options.over_weight)
        vine_kg, vine_need = weights[inside], needed[inside]
        panel_kg = np.bincount(owner, vine_kg, minlength=len(counted)) / np.maximum(counted, 1)
        off = np.abs(best[owner] - vine_need)
        perfect.append((off.mean(), np.mean(off > options.far_off_buds)))
        figures.append(
            [
                (
                    *_figures(told[owner, k], vine_need, options),
                    _explained(vine_kg, np.ones(len(owner)), group[owner, k]),
                    _explained(panel_kg, counted.astype(float), group[:, k]),
                )
                for k in range(told.shape[1])
            ]
        )
    misfit, far_off, loss, explained, panels = np.array(figures).transpose(2, 0, 1)
    return Misfits(misfit, far_off, loss, explained, panels, *np.array(perfect).T)


def _figures(told: Floats, needed: Floats, options: ZoneOptions) -> tuple[float, float, float]:
    """Mean absolute misfit, share far off, and mean asymmetric loss of vines told counts."""
    miss = told - needed
    off = np.abs(miss)
    too_many = np.maximum(miss, 0.0).mean()
    misfit = off.mean()
    return float(misfit), float(np.mean(off > options.far_off_buds)), float(misfit + (options.over_weight - 1) * too_many)


def interval(values: Floats, content: float) -> dict[str, float]:
    """Mean over the draws and the central interval of the given content."""
    low, high = np.quantile(values, [(1 - content) / 2, (1 + content) / 2])
    return {"mean": float(values.mean()), "low": float(low), "high": float(high)}


def tell_merit(misfits: Misfits, way: int, *, options: ZoneOptions) -> dict[str, Any]:
    """Merit of one way to tell bud counts against one number, which is way 0.

    Keys: misfit_buds, far_off_share (each one_number, zones, perfect: mean, low, high), saving_buds, loss_buds,
    saved_loss_buds, variance_explained_vines, variance_explained_panels, attained_share (saving as a share of what
    perfect knowledge of every panel would save), far_off_buds, interval, draws.
    """

    def told(values: Floats) -> dict[str, float]:
        return interval(values, options.interval)

    saving = misfits.misfit[:, 0] - misfits.misfit[:, way]
    possible = float(np.mean(misfits.misfit[:, 0] - misfits.perfect))
    return {
        "misfit_buds": {
            "one_number": told(misfits.misfit[:, 0]),
            "zones": told(misfits.misfit[:, way]),
            "perfect": told(misfits.perfect),
        },
        "saving_buds": told(saving),
        "far_off_share": {
            "one_number": told(misfits.far_off[:, 0]),
            "zones": told(misfits.far_off[:, way]),
            "perfect": told(misfits.perfect_far_off),
        },
        "far_off_buds": options.far_off_buds,
        "loss_buds": {"one_number": told(misfits.loss[:, 0]), "zones": told(misfits.loss[:, way])},
        "saved_loss_buds": told(misfits.loss[:, 0] - misfits.loss[:, way]),
        "variance_explained_vines": told(misfits.explained[:, way]),
        "variance_explained_panels": told(misfits.explained_panels[:, way]),
        "attained_share": float(saving.mean()) / possible if possible > 0 else 0.0,
        "interval": options.interval,
        "draws": len(misfits.perfect),
    }
