"""What is known of vine size before a vine is weighed: weak, stated, and open to better knowledge."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.special import logsumexp, ndtri

from geoprune.surface.estate import Edges, prior_among

Floats = NDArray[np.float64]
SHARES = np.array([0.02, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0])
SHORTEST_RANGE_M = 5.0
RANGES = 16


@dataclass(frozen=True)
class Prior:
    """Beliefs about range and nugget share.

    range_m : middle of the range parameter (a third of the practical range). 25 m, practical 75 m: the variogram ranges
        found for pruning weight in a Concord block are 31-58 m (Taylor & Bates 2012, Am. J. Enol. Vitic. 63:559-563),
        and blocks on slopes vary over longer distances.
    spread : standard deviation of log(range): 0.8 puts two thirds of the belief between 34 and 167 m (practical).
    share_power : density of the nugget share grows as share^(power - 1); 2, because most of the variance of vine size
        is from vine to vine (Taylor et al. 2013, Aust. J. Grape Wine Res., doi 10.1111/ajgw.12035).
    no_field : belief in a block without any pattern.
    others : what other blocks and earlier winters say that all have in common, as `estate.together` gives it; None for
        a block that speaks for itself.
    lasting : log of the belief in each share of a pattern that lasts from winter to winter (`LASTING`), by what other blocks
        say of it; None where all are believed alike.

    Widths, power and no_field are choices, set on simulated vineyards (docs/method.md); the results hardly move with
    them.
    """

    range_m: float = 25.0
    spread: float = 0.8
    share_power: float = 2.0
    no_field: float = 0.15
    others: Floats | None = field(default=None, compare=False)
    lasting: Floats | None = field(default=None, compare=False)

    def log_density(self, ranges: Floats, shares: Floats) -> Floats:
        """Log of the belief in each node (R, S), which sum to 1 in all; share 1 carries `no_field`, or more by others."""
        if self.others is not None:
            return np.log(self._keep_doubt(prior_among(self.others, self.edges(ranges, shares)), shares < 1.0))
        along = np.exp(-0.5 * np.square(np.log(ranges / self.range_m) / self.spread))
        along = np.maximum(along / along.sum(), 1e-12)
        across = np.maximum(self._of_shares(shares), 1e-12)
        density = np.log(along)[:, None] + np.log(across)[None, :]
        return density - logsumexp(density)

    def edges(self, ranges: Floats, shares: Floats) -> Edges:
        """Edges of the cells of ranges (R,) and nugget shares (S,) as normal scores of these beliefs."""
        logs = np.log(ranges)
        along = ((logs[1:] + logs[:-1]) / 2.0 - np.log(self.range_m)) / self.spread
        across = ndtri(np.cumsum(self._of_shares(shares))[:-1])
        return Edges(*(np.concatenate([[-np.inf], inner, [np.inf]]) for inner in (along, across)))

    def _keep_doubt(self, belief: Floats, fields: NDArray[np.bool_]) -> Floats:
        """Belief (R, S), summing to 1, with at least `no_field` in no pattern: others having one is no sign of one here."""
        none = float(belief[:, ~fields].sum() / belief.sum())
        doubt = max(none, self.no_field)
        return np.asarray(np.where(fields, (1.0 - doubt) / (1.0 - none), doubt / none) * belief / belief.sum(), dtype=float)

    def _of_shares(self, shares: Floats) -> Floats:
        """Belief in each nugget share (S,); it sums to 1 where 1 is among them."""
        across = np.where(shares < 1.0, shares ** (self.share_power - 1.0), 0.0)
        return np.where(shares < 1.0, (1.0 - self.no_field) * across / across.sum(), self.no_field)


def range_grid(diagonal_m: float) -> Floats:
    """Ranges (m) from two vine spacings to the block's diagonal (practical: three diagonals), log spaced."""
    return np.geomspace(SHORTEST_RANGE_M, max(diagonal_m, 4.0 * SHORTEST_RANGE_M), RANGES)
