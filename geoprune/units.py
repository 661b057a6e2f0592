"""Units: exact constants and conversions. Inside geoprune everything is SI (kg, m, ha only for areas shown).

Constants are exact by definition (international yard and pound agreement of 1959).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

KG_PER_LB = 0.45359237
KG_PER_OZ = KG_PER_LB / 16
KG_PER_G = 0.001
KG_PER_TONNE = 1000.0
KG_PER_SHORT_TON = 2000 * KG_PER_LB
M_PER_FT = 0.3048
MM_PER_IN = 25.4
M2_PER_HA = 10_000.0
M2_PER_AC = 4046.8564224
KG_M_PER_LB_FT = KG_PER_LB / M_PER_FT

#: Accepted unit suffixes per quantity, and the factor to the SI (or canonical) suffix, which comes first.
SUFFIXES: dict[str, dict[str, float]] = {
    "weight": {"kg": 1.0, "g": KG_PER_G, "lb": KG_PER_LB, "oz": KG_PER_OZ},
    "length": {"m": 1.0, "ft": M_PER_FT},
    "cane": {"mm": 1.0, "in": MM_PER_IN},
    "area": {"ha": 1.0, "ac": M2_PER_AC / M2_PER_HA},
    "crop": {"kg": 1.0, "lb": KG_PER_LB, "t": KG_PER_TONNE, "ton": KG_PER_SHORT_TON},
}


def to_si(values: ArrayLike, quantity: str, suffix: str) -> NDArray[np.float64]:
    """Convert numbers from the unit a column name ends in to the first unit of its quantity.

    Parameters
    ----------
    values : array_like
        Numbers in the unit `suffix`.
    quantity : str
        A key of `SUFFIXES`: "weight" (to kg), "length" (m), "cane" (mm), "area" (ha), "crop" (kg).
    suffix : str
        The unit as column names end in it, e.g. "lb". In "crop", "t" is 1000 kg and "ton" is 2000 lb.

    Returns
    -------
    numpy.ndarray of float64
        The same shape as `values`.

    Raises
    ------
    KeyError
        If the quantity or the unit is not known.

    Examples
    --------
    >>> float(to_si(2.4, "weight", "lb"))
    1.088621688
    """
    return np.asarray(values, dtype=np.float64) * SUFFIXES[quantity][suffix]


def vines_per_ha(row_spacing_m: float, vine_spacing_m: float) -> float:
    """Planting positions per hectare: 10 000 / (row spacing x vine spacing), both in metres."""
    return M2_PER_HA / (row_spacing_m * vine_spacing_m)


def vines_per_acre(row_spacing_m: float, vine_spacing_m: float) -> float:
    """Planting positions per acre: 43 560 square feet / (row spacing x vine spacing); spacings in metres."""
    return M2_PER_AC / (row_spacing_m * vine_spacing_m)
