"""Units: exact constants and conversions. Inside geoprune everything is SI (kg, m, ha only for areas shown).

Constants are exact by definition (international yard and pound agreement of 1959).
"""

from __future__ import annotations

KG_PER_LB = 0.45359237
T_PER_TON = 2000 * KG_PER_LB / 1000
KG_PER_OZ = KG_PER_LB / 16
KG_PER_G = 0.001
M_PER_FT = 0.3048
MM_PER_IN = 25.4
M2_PER_HA = 10_000.0
M2_PER_AC = 4046.8564224
HA_PER_AC = M2_PER_AC / M2_PER_HA
#: One short ton per acre in tonnes per hectare.
T_HA_PER_TON_AC = T_PER_TON / HA_PER_AC

#: Half of a 90 % interval of a normal law, in standard errors.
NINETY = 1.6448536

#: Accepted unit suffixes per quantity, and the factor to the SI (or canonical) suffix, which comes first.
SUFFIXES: dict[str, dict[str, float]] = {
    "weight": {"kg": 1.0, "g": KG_PER_G, "lb": KG_PER_LB, "oz": KG_PER_OZ},
    "length": {"m": 1.0, "ft": M_PER_FT, "cm": 0.01},
    "cane": {"mm": 1.0, "in": MM_PER_IN},
    "area": {"ha": 1.0, "ac": HA_PER_AC},
    "yield": {"kg": 1.0, "lb": KG_PER_LB, "t": 1000.0, "ton": 1000.0 * T_PER_TON},
}
