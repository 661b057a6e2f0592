"""How many vines to weigh for a wanted error of the mean, and what error a number of vines leaves."""

from __future__ import annotations

import math

from scipy.special import ndtri, stdtrit

#: Chance that the true mean lies within the error given: nine times in ten, as everywhere in geoprune.
CONFIDENCE = 0.90


def vines_for_error(
    cv: float, error: float, *, confidence: float = CONFIDENCE, law: str = "t", vines: int | None = None
) -> int:
    """Fewest vines at random whose mean lies within a share `error` of the true mean.

    Infinite block: the smallest n with q CV / sqrt(n) <= E, q the two-sided quantile of Student's t with n - 1 degrees of
    freedom ("t"), or of the normal law ("z"). A block of N vines needs n / (1 + (n - 1) / N), rounded up (Cochran 1977,
    Sampling Techniques, from memory; the first equation of Wolpert & Vilas 1992, Am. J. Enol. Vitic. 43:384-388).

    Parameters
    ----------
    cv : float
        Standard deviation of what is weighed at one stop, as a share of the mean.
    error : float
        Wanted half-width of the interval, as a share of the mean.
    confidence : float
        Two-sided.
    law : {"t", "z"}
    vines : int, optional
        Vines (or panels, where these are weighed) in the block.

    Raises
    ------
    ValueError
        If a share is not above 0, or the law is unknown.

    Examples
    --------
    >>> vines_for_error(0.40, 0.10), vines_for_error(0.40, 0.10, law="z", confidence=0.95, vines=500)
    (46, 56)
    """
    if not (cv > 0 and error > 0 and 0 < confidence < 1):
        raise ValueError("CV, error and confidence are shares above 0")
    if law not in ("t", "z"):
        raise ValueError(f"law {law!r}: t or z")
    count = max(1, math.ceil((ndtri(0.5 + confidence / 2) * cv / error) ** 2 - 1e-9))
    if law == "t":
        count = max(2, count)
        while half_width(count, cv, confidence=confidence) > error:
            count += 1
    if vines is None:
        return count
    return min(vines, max(1, math.ceil(count / (1 + (count - 1) / vines) - 1e-9)))


def half_width(count: int, cv: float, *, confidence: float = CONFIDENCE) -> float:
    """Half-width t CV / sqrt(n) of the interval of a mean of n >= 2 at random, as a share of the mean."""
    return float(stdtrit(count - 1, 0.5 + confidence / 2)) * cv / math.sqrt(count)
