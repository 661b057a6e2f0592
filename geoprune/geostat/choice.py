"""Choices by written rules: covariance model, anisotropy."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from geoprune.geostat.covariance import MODELS, Anisotropy, Floats
from geoprune.geostat.reml import reml_surface

MODEL_GAIN = 2.0
ANISOTROPY_GAIN = 4.0
ANISOTROPY_SAMPLES = 100
RATIOS = (0.2, 0.35, 0.5, 0.7)


@dataclass(frozen=True)
class ModelChoice:
    """The model to use, and each model's log evidence less that of the exponential model."""

    model: str
    gains: dict[str, float]


def evidence(loglik: Floats) -> float:
    """Log of the mean likelihood over a grid: the log marginal likelihood under the grid's even prior."""
    top = float(loglik.max())
    return top + float(np.log(np.mean(np.exp(loglik - top))))


def choose_model(points: Floats, values: Floats, *, gain: float = MODEL_GAIN, **settings: Any) -> ModelChoice:
    """Exponential, unless the mean likelihood of another model is larger by more than `gain` log units.

    The likelihood is averaged over grids of the same effective ranges and nugget shares, so that no model gains
    from a lucky peak. 2 log units are odds of 7.4 to 1 (Kass & Raftery 1995, J. Am. Stat. Assoc. 90:773-795, call 3 to 20
    positive evidence; from memory). The exponential is kept as default because vine and soil data are rough at short
    distances (Minasny & McBratney 2005, Geoderma 128:192-207: smoothness 0.25-0.5). settings as in `reml_surface`.
    """
    score = {model: evidence(reml_surface(points, values, model=model, **settings).loglik) for model in MODELS}
    gains = {model: value - score["exponential"] for model, value in score.items()}
    best = max(gains, key=lambda model: gains[model])
    return ModelChoice(best if gains[best] > gain else "exponential", gains)


@dataclass(frozen=True)
class AnisotropyChoice:
    """The anisotropy to use (None for none) and the gain in AIC of the best one looked at."""

    anisotropy: Anisotropy | None
    gain: float


def choose_anisotropy(
    points: Floats,
    values: Floats,
    *,
    bearing_deg: float,
    fewest: int = ANISOTROPY_SAMPLES,
    gain: float = ANISOTROPY_GAIN,
    **settings: Any,
) -> AnisotropyChoice:
    """A longer range along the rows, or across them, when at least `fewest` samples support it.

    Candidates are the row direction and the one across it, with ratios 0.2 to 0.7. The AIC must fall by more than
    `gain`: 2 (l - l_isotropic) - 2 for the one ratio. Fewer samples cannot show it, so none is tried (common practice, no
    source for the number). settings as in `reml_surface`.
    """
    if len(values) < fewest:
        return AnisotropyChoice(None, 0.0)
    level = reml_surface(points, values, **settings).loglik.max()
    tried = [(bearing % 180.0, ratio) for bearing in (bearing_deg, bearing_deg + 90.0) for ratio in RATIOS]
    peaks = [reml_surface(points, values, anisotropy=a, **settings).loglik.max() for a in tried]
    best = int(np.argmax(peaks))
    aic = float(2.0 * (peaks[best] - level) - 2.0)
    return AnisotropyChoice(tried[best] if aic > gain else None, aic)
