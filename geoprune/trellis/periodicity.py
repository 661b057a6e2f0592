"""Which way rows run in an image of a block: the direction of what repeats at the rows' distance, from its spectrum."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.fft import rfft2
from scipy.ndimage import gaussian_filter

#: Rows are seen where they lie so many pixels apart, and so many of them lie beside each other (design choices; the first is
#: twice what Shannon's theorem asks for, Shannon 1949, Proceedings of the IRE 37:10).
FEWEST_PIXELS, FEWEST_ROWS = 4.0, 8.0
#: The distance between rows may differ from what was told by this factor (design choice).
SPACING_OFF = 1.15
#: Directions this near to the strongest are part of it, degrees; others are what it is held against.
APART_DEG = 12.0
#: The strongest direction holds so many times the power of the strongest other one, or none is told (design choice: of 200
#: simulated blocks without rows the clearest had 2.0, of 96 with rows under noise, weeds and shadows the least clear 13.9).
CLEAR = 3.0
#: Larger than this no window is taken (pixels), and it is laid into one so many times as wide, so that peaks are fine.
LARGEST, PADDED = 384, 4


@dataclass(frozen=True)
class Seen:
    """Rows that were seen.

    Attributes
    ----------
    degrees : float
        Direction of the rows, clockwise from the grid's north, 0 to 180.
    spacing_m : float
        Distance between them.
    clear : float
        Power of their direction over that of the strongest other one.
    """

    degrees: float
    spacing_m: float
    clear: float


def seen_rows(bands: NDArray[np.float64], step_m: float, row_spacing_m: float) -> Seen | None:
    """Return the rows in an image of one block; None where none can be told.

    Parameters
    ----------
    bands : array (k, h, w)
        Colours or heights on a square grid, the first line in the north; NaN outside the block.
    step_m : float
        Side of a cell, m.
    row_spacing_m : float
        Distance between rows as it was told, m; rows at another distance (`SPACING_OFF`) are not looked for.
    """
    if not row_spacing_m >= FEWEST_PIXELS * step_m:
        return None
    inside: NDArray[np.bool_] = np.all(np.isfinite(bands), axis=0)
    rows, columns = (np.flatnonzero(np.any(inside, axis=axis)) for axis in (1, 0))
    if not len(rows) or min(np.ptp(rows), np.ptp(columns)) * step_m < FEWEST_ROWS * row_spacing_m / np.sqrt(2):
        return None
    window = slice(*_middle(rows)), slice(*_middle(columns))
    power = [_power(band[window], inside[window], row_spacing_m / step_m) for band in bands]
    return _strongest(np.sum(power, axis=0), step_m, row_spacing_m)


def _middle(there: NDArray[np.intp]) -> tuple[int, int]:
    """First and last line of a block, or of its middle part where it is larger than a window."""
    first, last = int(there[0]), int(there[-1]) + 1
    spare = max(0, last - first - LARGEST)
    return first + spare // 2, last - (spare - spare // 2)


def _power(band: NDArray[np.float64], inside: NDArray[np.bool_], row_cells: float) -> NDArray[np.float32]:
    """Power spectrum of a band without what changes slowly over it, every part heard alike, fading at the rim."""
    here = inside.astype(np.float64)
    weight = gaussian_filter(here, 1.5 * row_cells, mode="constant")
    plain = np.where(inside, band, 0.0)
    near = gaussian_filter(plain, 1.5 * row_cells, mode="constant") / np.maximum(weight, 1e-9)
    left = np.where(inside, band - near, 0.0)
    spread = np.sqrt(gaussian_filter(left**2, 3.0 * row_cells, mode="constant") / np.maximum(weight, 1e-9))
    usual = float(np.median(spread[inside]))
    if not usual > 0.0:
        return np.zeros((PADDED * LARGEST, PADDED * LARGEST // 2 + 1), dtype=np.float32)
    even = np.clip(left / np.maximum(spread, 0.3 * usual), -2.5, 2.5) * here
    rim = np.clip(2.0 * gaussian_filter(here, row_cells, mode="constant") - 1.0, 0.0, 1.0)
    spectrum = rfft2((even * rim).astype(np.float32), s=(PADDED * LARGEST, PADDED * LARGEST))
    power = np.abs(spectrum) ** 2
    return np.asarray(power / power.sum(), dtype=np.float32)


def _strongest(power: NDArray[np.float32], step_m: float, row_spacing_m: float) -> Seen | None:
    """The direction with the most power at the rows' distance, where it is clearly the strongest."""
    size = power.shape[0]
    down = np.fft.fftfreq(size, step_m)
    right = np.arange(power.shape[1]) / (size * step_m)
    low, high = 1 / (row_spacing_m * SPACING_OFF), SPACING_OFF / row_spacing_m
    lines, columns = np.flatnonzero(np.abs(down) <= high), np.flatnonzero(right <= high)
    part = power[np.ix_(lines, columns)]
    v, h = down[lines][:, None], right[columns][None, :]
    how_fast = np.hypot(v, h)
    ring = (how_fast >= low) & (how_fast <= high)
    if not ring.any() or not part[ring].max() > 0.0:
        return None
    across = np.rad2deg(np.arctan2(h + 0 * v, -v)) % 180.0  # clockwise from north, of what is crossed
    best = np.unravel_index(np.argmax(np.where(ring, part, -1.0)), part.shape)
    turn = np.abs((across - across[best] + 90.0) % 180.0 - 90.0)
    other = part[ring & (turn > APART_DEG)]
    clear = float(part[best] / other.max()) if len(other) and other.max() > 0 else np.inf
    if clear < CLEAR:
        return None
    peak = ring & (turn <= APART_DEG / 2) & (part >= 0.5 * part[best])
    wave_v, wave_h = np.broadcast_to(v, part.shape)[peak], np.broadcast_to(h, part.shape)[peak]
    same_way = np.sign(wave_v * v[best[0], 0] + wave_h * h[0, best[1]])  # a wave and its opposite are one
    weight = part[peak].astype(float)
    fast_v, fast_h = (float((weight * same_way * wave).sum()) for wave in (wave_v, wave_h))
    degrees = (np.rad2deg(np.arctan2(fast_h, -fast_v)) + 90.0) % 180.0
    return Seen(float(degrees), float(weight.sum() / np.hypot(fast_v, fast_h)), clear)
