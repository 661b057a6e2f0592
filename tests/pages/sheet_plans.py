"""Invented plans with what sheets need besides tables: recipes, and a block past the stop limit of bud injury."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import geopandas as gpd
import numpy as np
from invented_plan import invented_block_plan
from shapely import Point

from geoprune.plan import BlockPlan
from geoprune.rules import assess_injury, fit_recipe


def sheet_plan(training: str = "top-wire cordon", **choices: Any) -> BlockPlan:
    """Return an invented plan whose numbers are told as wood of that training."""
    plan = invented_block_plan(**choices)
    spacing = plan.settings.vine_spacing_m
    numbers = plan.zones["buds_per_vine"]
    advice = tuple(
        replace(entry, recipe=fit_recipe(int(buds), training, spacing))
        for entry, buds in zip(plan.advice, numbers, strict=True)
    )
    return replace(plan, advice=advice, settings=replace(plan.settings, training=training))


def stopped_plan(**choices: Any) -> BlockPlan:
    """Return a plan of a block where winter killed 90 of 100 buds: no number is told."""
    plan = sheet_plan(**choices)
    checks = gpd.GeoDataFrame({"block": [plan.name], "buds_cut": [100], "primary_dead": [90]}, geometry=[Point(0, 0)])
    injury = assess_injury(checks)
    return replace(
        plan,
        buds_per_vine=None,
        injury=injury,
        verdict_reasons=injury.messages[:2],
        zones=plan.zones.assign(buds_per_vine=np.nan),
        runs=plan.runs.assign(buds_per_vine=np.nan),
        advice=tuple(replace(entry, recipe=None) for entry in plan.advice),
    )


def with_diagnostics(plan: BlockPlan) -> BlockPlan:
    """Return the plan with an invented variogram and what more weighed vines would bring."""
    distance = np.linspace(5.0, 115.0, 11)
    along = np.linspace(1.0, 120.0, 60)
    diagnostics = {
        "variogram": {
            "distance_m": distance.tolist(),
            "gamma_kg2": (0.05 + 0.0006 * distance).tolist(),
            "pairs": [12 + 7 * i for i in range(11)],
            "model_distance_m": along.tolist(),
            "model_gamma_kg2": (0.05 + 0.08 * (1 - np.exp(-along / 40))).tolist(),
        },
        "loo_coverage_90": 0.9,
        "weigh_more": [
            {"vines": 0, "misfit_buds": 5.1},
            {"vines": 20, "misfit_buds": 4.9},
            {"vines": 40, "misfit_buds": 4.7},
        ],
    }
    return replace(plan, diagnostics=diagnostics)


def partly_stopped_plan(**choices: Any) -> BlockPlan:
    """Return a plan of a block whose zone 1 has no number."""
    plan = sheet_plan(**choices)

    def without(table: Any) -> Any:
        return table.assign(buds_per_vine=table["buds_per_vine"].where(table["zone"] != 1))

    advice = tuple(replace(entry, recipe=None) if entry.zone == 1 else entry for entry in plan.advice)
    return replace(plan, zones=without(plan.zones), runs=without(plan.runs), panels=without(plan.panels), advice=advice)
