"""Units against their definitions; each row says what it is by definition of."""

import pytest

from geoprune.units import (
    KG_PER_LB,
    KG_PER_OZ,
    M2_PER_AC,
    M2_PER_HA,
    M_PER_FT,
    MM_PER_IN,
    SUFFIXES,
    T_HA_PER_TON_AC,
    T_PER_TON,
)

INTERNATIONAL = "international yard and pound agreement, 1959: exact"


@pytest.mark.parametrize(
    ("found", "defined", "source"),
    [
        (KG_PER_LB, 0.45359237, f"printed: {INTERNATIONAL}"),
        (16 * KG_PER_OZ, 0.45359237, "printed: 16 oz to the pound"),
        (M_PER_FT, 0.3048, f"printed: {INTERNATIONAL}"),
        (MM_PER_IN, 25.4, f"printed: {INTERNATIONAL}"),
        (M2_PER_AC / M2_PER_HA, 0.40468564224, "printed: 43,560 square international feet"),
        (43560 * M_PER_FT**2, M2_PER_AC, "printed: 43,560 square international feet"),
        (M2_PER_HA / M2_PER_AC, 2.4710538, "ours: computed"),
        (KG_PER_LB / M_PER_FT, 1.4881639, "ours: 1 lb/ft in kg/m, computed"),
        (M_PER_FT / KG_PER_LB, 0.6719690, "ours: 1 kg/m in lb/ft, computed"),
        (KG_PER_LB / (M2_PER_AC / M2_PER_HA), 1.1208512, "ours: 1 lb/acre in kg/ha, computed"),
        (T_HA_PER_TON_AC, 2.2417023, "ours: 1 short ton/acre in t/ha, computed"),
        (
            T_PER_TON,
            2000 * 0.45359237 / 1000,
            "printed: short ton of 2000 lb (Dami, How to Estimate Grape Yields, Ohio State)",
        ),
        (SUFFIXES["yield"]["ton"] / SUFFIXES["yield"]["lb"], 2000.0, "printed: short ton of 2000 lb"),
        (0.2 * KG_PER_LB / M_PER_FT, 0.298, "ours: 0.2 lb/ft, computed"),
        (0.3 * KG_PER_LB / M_PER_FT, 0.446, "ours: 0.3 lb/ft, computed"),
        (0.4 * KG_PER_LB / M_PER_FT, 0.595, "ours: 0.4 lb/ft, computed"),
        (0.4 * M_PER_FT / KG_PER_LB, 0.269, "ours: 0.4 kg/m, computed"),
        (0.5 * M_PER_FT / KG_PER_LB, 0.336, "ours: 0.5 kg/m, computed"),
        (0.8 * M_PER_FT / KG_PER_LB, 0.538, "ours: 0.8 kg/m, computed"),
        (1.0 * M_PER_FT / KG_PER_LB, 0.672, "ours: 1.0 kg/m, computed"),
    ],
)
def test_units(found, defined, source):
    digits = len(f"{defined:.12g}".split(".")[-1])
    assert found == pytest.approx(defined, abs=0.51 * 10**-digits), source
