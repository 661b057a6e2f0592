"""Vines at the edges, one zone each: invented, and each advised once in a run of the tests."""

from dataclasses import dataclass, replace
from functools import cache

import numpy as np
import pandas as pd

from geoprune.rules import (
    AdviceOptions,
    BudNeed,
    CropAssumptions,
    Range,
    advise,
    assess_injury,
    count_of_whole_pieces,
    fit_recipe,
    load_rules,
)
from geoprune.units import KG_PER_LB, M_PER_FT

BOOK = load_rules()
CROP = CropAssumptions(Range(0.7, 0.85, 0.95), Range(1.5, 2.0, 2.4), Range(80, 110, 150), source="invented")
AMERICAN = ("Concord", "Niagara", "Himrod")


@dataclass(frozen=True)
class Vine:
    """One zone: its vines are of `pounds` with a standard error of `error` of that; `dead` of `cut` buds are dead."""

    pounds: float
    rule: str = "vinifera"
    variety: str = "Riesling"
    training: str = "top-wire cordon"
    feet: float = 6.0
    error: float = 0.06
    planted: int | None = None
    dead: int = 0
    cut: int = 0
    method: str = "cornell"
    measured: int = 0
    canes: int = 20
    thick: float = 9.0
    internode: float = 90.0
    bulls: float = 0.05
    load: float = float("nan")
    block_load: float = float("nan")
    renewed: float = 0.0
    target: float = float("nan")
    pruning: str = "hand"
    wood: tuple = ()

    @property
    def kilograms(self):
        return self.pounds * KG_PER_LB

    @property
    def spacing_m(self):
        return self.feet * M_PER_FT

    @property
    def vine_spacing_m(self):
        return self.spacing_m

    @property
    def curtains(self):
        return 2 if self.training.startswith("divided") else 1

    @property
    def american(self):
        return self.variety in AMERICAN

    @property
    def kg_m_canopy(self):
        return self.kilograms / self.spacing_m / self.curtains


CONCORD = Vine(2.4, "american", "Concord", "top-wire cordon", 8.0)
GDC = Vine(2.4, "concord 50+10", "Concord", "divided horizontal", 8.0)
FLAT = Vine(1.5, training="flat cane")
BULLS = {"measured": 8, "thick": 14.5, "internode": 150.0, "bulls": 0.4}

VINES = {
    # dead 0-100 %, on vinifera by every method, and on American vines
    **{f"dead {dead}": replace(FLAT, dead=dead, cut=100) for dead in (0, 5, 15, 19, 20, 35, 50, 79, 80, 81, 95, 100)},
    **{f"purdue {dead}": replace(FLAT, dead=dead, cut=100, method="purdue") for dead in (15, 16, 35, 36, 50, 51)},
    **{f"michigan {dead}": replace(FLAT, dead=dead, cut=100, method="michigan") for dead in (19, 20, 50, 51)},
    **{f"replace {dead}": replace(FLAT, dead=dead, cut=100, method="replace") for dead in (1, 50, 80)},
    **{f"american dead {dead}": replace(CONCORD, dead=dead, cut=100) for dead in (25, 50, 90)},
    "dead 80 packed": replace(FLAT, pounds=4.0, dead=79, cut=100),
    # too few buds
    "one bud dead": replace(FLAT, dead=1, cut=1),
    "1 of 4": replace(FLAT, dead=1, cut=4),
    "6 of 6": replace(FLAT, dead=6, cut=6),
    "40 of 40": replace(FLAT, dead=40, cut=40),
    "17 of 49": replace(FLAT, dead=17, cut=49),
    # n = 1 and a few
    **{f"canes on {n}": replace(FLAT, **(BULLS | {"measured": n})) for n in (1, 2, 4, 5, 8)},
    **{f"thin canes on {n}": replace(FLAT, measured=n, thick=5.9) for n in (1, 5, 9)},
    "thin by a hair": replace(FLAT, measured=6, thick=6.3),
    "few strong canes": replace(FLAT, pounds=1.0, measured=8, canes=8),
    "few strong canes on two curtains": replace(FLAT, training="divided horizontal", pounds=2.7, measured=8, canes=24),
    "many thin canes": replace(FLAT, pounds=1.0, measured=8, canes=24),
    "long internodes": replace(FLAT, measured=6, internode=131.0),
    # tiny, small, huge
    **{f"{pounds} lb": replace(FLAT, pounds=pounds) for pounds in (0.02, 0.1, 0.24, 0.25, 0.3, 0.49, 0.75, 1.75, 3.0)},
    **{f"{pounds} lb at 6 ft": replace(FLAT, pounds=pounds) for pounds in (4.0, 5.5, 8.0)},
    "mostly to renew": replace(FLAT, pounds=0.35, renewed=0.55),
    "some to renew": replace(FLAT, pounds=0.6, renewed=0.12),
    "uncertain weight": replace(FLAT, pounds=1.0, error=0.4),
    "close planting": replace(FLAT, feet=2.7, pounds=0.5),
    "wide planting": replace(CONCORD, feet=12.0, pounds=6.0),
    "huge concord": replace(CONCORD, pounds=7.0),
    # young
    **{f"planted {year}": replace(FLAT, pounds=0.5, planted=year) for year in (2023, 2024, 2026)},
    "planted 2022": replace(FLAT, pounds=0.8, planted=2022),
    "young and dead": replace(FLAT, pounds=0.4, planted=2025, dead=90, cut=100),
    # divided
    "gdc": GDC,
    "gdc small": replace(GDC, pounds=0.9),
    "lyre small": replace(GDC, rule="vinifera", variety="Merlot", pounds=2.0, feet=8.0),
    "lyre large": replace(GDC, rule="vinifera", variety="Merlot", pounds=9.5),
    "scott henry": replace(FLAT, training="divided vertical", pounds=2.5),
    "single that would divide": replace(FLAT, pounds=4.5, **BULLS),
    "single too small to divide": replace(FLAT, pounds=2.6, **BULLS),
    "american bulls": replace(CONCORD, **BULLS),
    # other kinds and trainings
    "chambourcin": replace(FLAT, rule="chambourcin 15 per lb", variety="Chambourcin", pounds=1.3),
    "chambourcin small": replace(FLAT, rule="chambourcin 15 per lb", variety="Chambourcin", pounds=0.6),
    "chambourcin in balance": replace(
        FLAT, rule="chambourcin 15 per lb", variety="Chambourcin", pounds=2.2, measured=6, load=7.0
    ),
    "seedless": replace(CONCORD, rule="seedless table", variety="Himrod"),
    "unknown cultivar": replace(FLAT, rule="20+20", variety="Nobody's Grape"),
    "four-cane": replace(CONCORD, training="four-cane"),
    "four-cane small": replace(CONCORD, training="four-cane", pounds=0.65),
    "niagara arched": replace(CONCORD, rule="niagara 25+10", variety="Niagara", training="arched cane"),
    "low cordon": replace(FLAT, training="low cordon", pounds=2.2),
    **{
        f"{form} {pounds} lb": replace(FLAT, training=form, pounds=pounds)
        for form in ("head-trained", "pergola")
        for pounds in (1.2, 4.5)
    },
    # crop
    **{f"load {load}": replace(FLAT, pounds=2.6, load=load, measured=6) for load in (1.5, 3.9, 4.0, 7.0, 10.0, 10.5, 13.2)},
    **{f"block load {load}": replace(FLAT, pounds=2.6, block_load=load, measured=6) for load in (2.5, 7.0, 12.9)},
    "concord load": replace(CONCORD, load=18.0),
    "minimal": replace(FLAT, load=50.0, pruning="minimal"),
    **{f"target {target}": replace(FLAT, pounds=1.0, target=target) for target in (2.0, 5.0, 30.0)},
    # cut wrong: pieces fixed that do not make the count, wood with no room
    "spurs of three": replace(FLAT, training="top-wire cordon", pounds=1.75, wood=(("buds_per_spur", 3),)),
    "canes of twelve": replace(FLAT, pounds=1.6, wood=(("buds_per_cane", 12),)),
    "two canes": replace(
        FLAT,
        training="double guyot",
        variety="Chardonnay",
        pounds=2.0,
        measured=8,
        internode=85.0,
        wood=(("node_spacing_m", 0.085),),
    ),
    "half dead in balance": replace(FLAT, pounds=2.2, measured=6, load=7.0, dead=50, cut=100),
    "one cane": replace(FLAT, pounds=2.5, wood=(("canes", 1),)),
    "short internode room": replace(FLAT, pounds=3.0, wood=(("node_spacing_m", 0.1016),)),
}
NAMES = list(VINES)


@cache
def advised(name):
    """The vine, its injury, the number as a plan tells it (steps of five, held by the wood), and the advice."""
    vine = VINES[name]
    checks = pd.DataFrame({"buds_cut": [vine.cut], "primary_dead": [vine.dead]}) if vine.cut else None
    injury = assess_injury(checks, method=vine.method, variety=vine.variety)
    rule = BOOK.resolve(vine.rule, vine.variety, planted=vine.planted, season=2026)
    wood = dict(vine.wood)
    room = fit_recipe(0, vine.training, vine.spacing_m, **wood).capacity
    need = BudNeed(rule, injury_factor=injury.need_factor, cap=float(max(room // 5 * 5, 5)))
    asked = max(5 * round(float(need(vine.kilograms)) / 5), 5)
    buds = np.nan if injury.stop else count_of_whole_pieces(min(asked, int(need.cap)), vine.training, vine.spacing_m, **wood)
    row = {
        "zone": 1,
        "vines": 400,
        "area_ha": 0.3,
        "vine_size_kg": vine.kilograms,
        "vine_size_se_kg": vine.error * vine.kilograms,
        "buds_per_vine": buds,
        "injury_share": injury.share,
        "injury_low": injury.low,
        "injury_high": injury.high,
        "renew_share": vine.renewed,
        "bull_cane_share": vine.bulls if vine.measured else np.nan,
        "bull_cane_low": 0.5 * vine.bulls,
        "bull_cane_high": 1.5 * vine.bulls,
    }
    options = AdviceOptions(lengths=wood, crop=CROP, target_t_ha=vine.target, pruning=vine.pruning)
    advice = advise(
        row,
        vine,
        need=need,
        injury=injury,
        samples=samples(vine),
        yield_kg=vine.load * vine.kilograms * 400,
        block_load=vine.block_load,
        options=options,
    )
    return vine, injury, need, buds, advice


def samples(vine):
    spread = np.linspace(-0.02, 0.02, vine.measured) if vine.measured > 1 else np.zeros(vine.measured)
    return pd.DataFrame(
        {
            "vine_weight_kg": vine.kilograms * (1 + spread),
            "vines_weighed": 1,
            "canes": pd.array([vine.canes] * vine.measured, dtype="Int64"),
            "bull_canes": pd.array([round(vine.canes * vine.bulls)] * vine.measured, dtype="Int64"),
            "cane_diameter_mm": vine.thick + spread,
            "internode_mm": vine.internode + spread,
        }
    )
