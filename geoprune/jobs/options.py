"""Settings as the options that planning takes. The one place where the names of both meet."""

from __future__ import annotations

from geoprune.plan import PlanOptions
from geoprune.settings import Settings
from geoprune.zones import ZoneOptions


def plan_options(settings: Settings) -> PlanOptions:
    """Return what planning takes of settings."""
    zones, buds, work = settings.zones, settings.buds, settings.work
    target = settings.crop.target_crop_t_ha
    return PlanOptions(
        zones=ZoneOptions(
            max_zones=zones.max_zones,
            smallest_share=zones.smallest_zone_percent / 100,
            smallest_ha=zones.smallest_zone_ha,
            shortest_run=zones.shortest_run,
            most_changes=zones.most_changes,
            change_cost=zones.change_cost,
            bud_step=zones.bud_step,
            worth=zones.worth,
            over_weight=zones.over_weight,
        ),
        seed=zones.seed,
        injury_method=buds.injury_method,
        floor=buds.fewest_buds,
        cap=buds.most_buds,
        wood=settings.wood,
        target_t_ha=float("nan") if target is None else target,
        minutes_per_vine=work.minutes_per_vine,
        cost_per_hour=work.cost_per_hour,
        last_pruning=buds.last_pruning,
    )


def block_options(settings: Settings) -> dict[str, PlanOptions]:
    """Return what planning takes for each block that has settings of its own."""
    return {name: plan_options(settings.for_block(name)) for name in settings.blocks}
