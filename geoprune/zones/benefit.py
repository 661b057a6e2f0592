"""What zones are worth, in buds per vine, with intervals: from joint draws of the block and the vines within panels."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from geoprune.sizes import SizeDraws
from geoprune.zones.counts import beside, ladder
from geoprune.zones.loss import asymmetric_loss, loss_quantile
from geoprune.zones.options import Floats, Labels, Need, ZoneOptions
from geoprune.zones.result import Gains, Interval

#: "Told more than this many buds off": one step too many or too few is what a pruner's own eye makes good.
FAR_OFF_BUDS = 5.0
#: Content of the intervals.
INTERVAL = 0.9
#: Vines of a panel that stand for all it may hold, and the most weights looked at in all draws together.
POINTS, MOST_VALUES, FEWEST_DRAWS = 9, 12_000_000, 40


@dataclass(frozen=True)
class Misfits:
    """Figures of K ways to prescribe bud counts, per draw of the block.

    misfit, far_off : (D, K) mean absolute misfit in buds per vine, share of vines prescribed more than 5 off
    explained : (D, K) share of the variance of vine size that lies between groups treated alike
    perfect, perfect_far_off : (D,) the same when each panel's vine size is known and it gets its own best count
    """

    misfit: Floats
    far_off: Floats
    explained: Floats
    perfect: Floats
    perfect_far_off: Floats

    def saving(self, way: int) -> Floats:
        """Buds per vine that one number, which is way 0, misses more than a way, in each draw (D,)."""
        return self.misfit[:, 0] - self.misfit[:, way]

    def shares(self, way: int) -> tuple[float, float]:
        """Saving of a way as a share of one number's misfit, and of what a perfect map of the panels would save."""
        saved, one = float(self.saving(way).mean()), float(self.misfit[:, 0].mean())
        return share(saved, one), share(saved, one - float(self.perfect.mean()))


def thin(draws: SizeDraws, panels: int) -> SizeDraws:
    """Fewer draws for a large block: its mean over many panels varies little, its draws cost much."""
    count = len(draws.vine_sd)
    most = max(FEWEST_DRAWS, MOST_VALUES // (panels * POINTS))
    kept = np.unique(np.linspace(0, count - 1, min(count, most)).round().astype(int))
    return replace(draws, panel_mean=draws.panel_mean[kept], vine_sd=draws.vine_sd[kept])


def measure_misfits(
    draws: SizeDraws, need: Need, buds: Floats, group: Labels, counted: Labels, *, options: ZoneOptions
) -> Misfits:
    """Measure K ways to prescribe bud counts on the draws, all on the same vines.

    Parameters
    ----------
    buds : (P, K) bud counts prescribed
    group : (P, K) labels from 0; panels treated as one group
    counted : (P,) vines of each panel
    """
    share = counted / counted.sum()
    figures, perfect = [], []
    draws = thin(draws, len(counted))
    for weights, size, sd in zip(draws.vines(POINTS), draws.panel_mean, draws.vine_sd, strict=True):
        needed = need(weights)
        best = best_counts(needed, need, options=options)
        perfect.append(_misses(best, needed, share))
        figures.append(
            [(*_misses(buds[:, k], needed, share), _explained(size, sd, share, group[:, k])) for k in range(buds.shape[1])]
        )
    misfit, far_off, explained = np.array(figures).transpose(2, 0, 1)
    return Misfits(misfit, far_off, explained, *np.array(perfect).T)


def best_counts(needed: Floats, need: Need, *, options: ZoneOptions) -> Floats:
    """Best count that can be prescribed, within the need's limits, for each panel with equally likely needs (P, n): (P,)."""
    middle = _quantile(needed, loss_quantile(options.over_weight))
    steps = ladder(options, float(middle.max()), need)
    sides = [steps[place] for place in beside(steps, middle)]
    costs = [asymmetric_loss(buds[:, None], needed, options.over_weight).mean(axis=1) for buds in sides]
    return np.where(costs[0] <= costs[1], *sides)


def _quantile(values: Floats, level: float) -> Floats:
    """Quantile of each row (P, n), as `numpy.quantile` has it but several times faster on many short rows."""
    place = level * (values.shape[1] - 1)
    low = min(int(place), values.shape[1] - 2)
    parts = np.partition(values, (low, low + 1), axis=1)
    return parts[:, low] + (place - low) * (parts[:, low + 1] - parts[:, low])


def _misses(buds: Floats, needed: Floats, share: Floats) -> tuple[float, float]:
    """Mean absolute misfit of vines pruned to counts (P,), and the share of them far off."""
    off = np.abs(buds[:, None] - needed)
    return float((share @ off).mean()), float((share @ (off > FAR_OFF_BUDS)).mean())


def _explained(size: Floats, sd: float | Floats, share: Floats, group: Labels) -> float:
    """Share of the variance of vine size that lies between groups of panels; 0 where there is none.

    size, sd : (P,) mean of each panel, and standard deviation of a vine about it, which may be one for all
    """
    centre = share @ size
    held = np.bincount(group, share)
    mean = np.bincount(group, share * size)[held > 0] / held[held > 0]
    between = held[held > 0] @ np.square(mean - centre)
    spread = share @ (np.square(size - centre) + np.square(sd))
    return float(between / spread) if spread > 0 else 0.0


def share(part: float, whole: float) -> float:
    """A part of a whole; 0 of nothing."""
    return part / whole if whole > 1e-9 else 0.0


def interval(values: Floats) -> Interval:
    """Mean over the draws and the central 90 % of them."""
    low, high = np.quantile(values, [(1 - INTERVAL) / 2, (1 + INTERVAL) / 2])
    return Interval(float(values.mean()), float(low), float(high))


def measure_gains(misfits: Misfits, way: int) -> Gains:
    """What one way to prescribe bud counts gains on one number, which is way 0."""
    return Gains(
        one_number_misfit=interval(misfits.misfit[:, 0]),
        zones_misfit=interval(misfits.misfit[:, way]),
        perfect_misfit=interval(misfits.perfect),
        saving_buds=interval(misfits.saving(way)),
        share_over_5_one_number=interval(misfits.far_off[:, 0]),
        share_over_5_zones=interval(misfits.far_off[:, way]),
        share_over_5_perfect=interval(misfits.perfect_far_off),
        variance_explained=interval(misfits.explained[:, way]),
    )
