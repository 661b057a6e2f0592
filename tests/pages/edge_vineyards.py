"""Ten vineyards at the edges of what growers have, each sent through planning: invented, and made once in a run."""

from __future__ import annotations

from functools import cache

import numpy as np
import pandas as pd
import small_plans
from small_plans import Field, vineyard_of

from geoprune.brief import BlockBrief, brief_block
from geoprune.layers import Vineyard
from geoprune.plan import PlanOptions, make_plan

SMALL = {"rows": 10, "vines": 30, "samples": 30}
#: Name -> what is odd about it. Sizes are kg of prunings per vine; vines stand 1.8 m apart.
EDGES: dict[str, dict] = {
    "tiny": {"sizes": [0.08], "variety": "Vidal"},
    "huge": {"sizes": [3.5], "training": "flat cane", "variety": "Riesling"},
    "young": {"planted": 2025, "variety": "Riesling"},
    "sick": {"sick": 60, "training": "low cordon", "variety": "Merlot"},
    "half dead": {"zones": 2, "dead": 0.5, "variety": "Chambourcin"},
    "95 % dead": {"dead": 0.95, "variety": "Merlot"},
    "divided": {"zones": 2, "training": "divided horizontal", "variety": "Merlot"},
    "american": {"zones": 3, "rule": "concord 30+10", "training": "four-cane", "variety": "Concord"},
    "vertical shoots": {"training": "double guyot", "variety": "Chardonnay", "canes": 9.0, "internodes": 85.0},
    "hardly measured": {"samples": 6, "training": "flat cane", "variety": "Pinot noir", "canes": 14.0, "buds_cut": 4},
}


@cache
def edge_brief(name: str) -> BlockBrief:
    """Return what is told of the vineyard of that name."""
    odd = SMALL | EDGES[name]
    field = {key: odd[key] for key in ("rows", "vines", "planted", "rule", "training", "dead") if key in odd}
    zones = odd.get("zones", 1)
    usual = small_plans.SIZES_KG[zones]
    small_plans.SIZES_KG[zones] = odd.get("sizes", usual)
    try:
        vineyard = vineyard_of(Field(name=name.capitalize(), zones=zones, **field), samples=odd["samples"])
    finally:
        small_plans.SIZES_KG[zones] = usual
    _mark(vineyard, odd)
    return brief_block(make_plan(vineyard, options=PlanOptions())[0])


def _mark(vineyard: Vineyard, odd: dict) -> None:
    """What else is odd: the cultivar, sick vines, measured wood, few buds cut."""
    rng = np.random.default_rng(1)
    vineyard.blocks["variety"] = odd["variety"]
    if "sick" in odd:
        bearing = np.flatnonzero(vineyard.vines["status"] == "bearing")
        vineyard.vines.loc[rng.choice(bearing, odd["sick"], replace=False), "status"] = "diseased"
    measured = len(vineyard.samples) if odd["samples"] > 6 else 1
    for column, key, spread in (("cane_diameter_mm", "canes", 0.6), ("internode_mm", "internodes", 5.0)):
        if key in odd:
            values = odd[key] + rng.normal(0, spread, len(vineyard.samples))
            vineyard.samples[column] = np.where(np.arange(len(values)) < measured, values, np.nan)
    if measured == 1:
        for column in ("canes", "bull_canes"):
            vineyard.samples[column] = vineyard.samples[column].astype("Int64").where(vineyard.samples.index == 0, pd.NA)
    if "buds_cut" in odd:
        place = vineyard.samples.geometry.iloc[:1]
        table = {"block": vineyard.blocks["block"].iloc[0], "buds_cut": odd["buds_cut"], "primary_dead": 1.0}
        checks = small_plans.gpd.GeoDataFrame([table | {"secondary_dead": np.nan, "date": ""}], geometry=list(place))
        object.__setattr__(vineyard, "bud_checks", checks.set_crs(vineyard.crs))
