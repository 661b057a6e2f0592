"""How a quantity named in SI is shown to people: by the ending of its name."""

from __future__ import annotations

from functools import cache

from geoprune.units import HA_PER_AC, KG_PER_LB, M_PER_FT, MM_PER_IN, T_HA_PER_TON_AC, T_PER_TON

UNITS = ("us", "metric")
#: Ending of a name -> per unit system: divisor, digits, sign of the unit. The first ending that fits holds.
MEASURES: dict[str, dict[str, tuple[float, int, str]]] = {
    "_kg_m": {"metric": (1.0, 2, "kg/m"), "us": (KG_PER_LB / M_PER_FT, 2, "lb/ft")},
    "_exact_kg": {"metric": (1.0, 3, "kg"), "us": (KG_PER_LB, 2, "lb")},
    "_kg": {"metric": (1.0, 2, "kg"), "us": (KG_PER_LB, 1, "lb")},
    "_t_ha": {"metric": (1.0, 1, "t/ha"), "us": (T_HA_PER_TON_AC, 1, "tons/ac")},
    "_t": {"metric": (1.0, 1, "t"), "us": (T_PER_TON, 1, "tons")},
    "_ha": {"metric": (1.0, 2, "ha"), "us": (HA_PER_AC, 2, "ac")},
    "_thin_mm": {"metric": (1.0, 1, "mm"), "us": (MM_PER_IN, 2, "in")},
    "_mm": {"metric": (1.0, 0, "mm"), "us": (MM_PER_IN, 2, "in")},
    "_per_m": {"metric": (1.0, 1, "per m"), "us": (1.0 / M_PER_FT, 1, "per ft")},
    "_spacing_m": {"metric": (1.0, 2, "m"), "us": (M_PER_FT, 1, "ft")},
    "_m": {"metric": (1.0, 0, "m"), "us": (M_PER_FT, 0, "ft")},
}


@cache
def ending_of(name: str) -> str | None:
    """Return the ending that names a quantity's unit, or None.

    Examples
    --------
    >>> ending_of("row_length_m")
    '_m'
    """
    return next((ending for ending in MEASURES if name.endswith(ending)), None)
