"""What summary.json calls the figures of a plan: its benefit and its model. `reading.summaries` reads them back."""

from __future__ import annotations

from dataclasses import asdict, fields
from typing import Any

from geoprune.learned import FAMILY, Learned
from geoprune.plan import Benefit, Model
from geoprune.zones import CurvePoint, Worth, ZoneBenefit

#: What a map has or has not, and is null where it has not; what else is not there is left out.
NULL_OF_A_MAP = ("anisotropy", "learned")


def model_record(model: Model) -> dict[str, Any]:
    """Return how vine size was modelled, for `blocks[name].model`."""
    mapped = model.range_m is not None
    record = {field.name: getattr(model, field.name) for field in fields(model)}
    record["learned"] = None if model.learned is None else _learned_record(model.learned)
    return {name: value for name, value in record.items() if value is not None or (mapped and name in NULL_OF_A_MAP)}


def benefit_record(benefit: Benefit) -> dict[str, Any]:
    """Return what map and zones are worth, for `blocks[name].merit`."""
    of_map = {name: value for name, value in asdict(benefit.map).items() if value is not None}
    return of_map | _zones_record(benefit.zones)


def _learned_record(learned: Learned) -> dict[str, Any]:
    return {"model": FAMILY, **asdict(learned)}


def _zones_record(benefit: ZoneBenefit) -> dict[str, Any]:
    given = {
        "proposed_saving_buds": benefit.proposed_saving_buds,
        "loss_against_proposed_buds": benefit.loss_against_proposed_buds,
    }
    index = asdict(benefit.opportunity)
    return {
        **asdict(benefit.gains),
        **{name: asdict(value) for name, value in given.items() if value is not None},
        "curve": [_curve_record(point) for point in benefit.curve],
        "chosen_zones": benefit.chosen_zones,
        "counting_cost_buds": benefit.counting_cost_buds,
        "pruning_minutes": benefit.pruning_minutes,
        **_worth_record(benefit.saving_share, benefit.possible_share, benefit.worth),
        "opportunity_index": index.pop("index"),
        "opportunity": index,
    }


def _curve_record(point: CurvePoint) -> dict[str, Any]:
    misfit, saving = point.misfit, point.saving_buds
    return {
        "zones": point.zones,
        "misfit": misfit.value,
        "low": misfit.low,
        "high": misfit.high,
        "saving_buds": saving.value,
        "saving_low": saving.low,
        "saving_high": saving.high,
        "buds": list(point.buds),
        "chosen": point.chosen,
        "cost": point.cost,
        "lower_bound": point.lower_bound,
        **_worth_record(point.saving_share, point.possible_share, point.worth),
    }


def _worth_record(saving_share: float, possible_share: float, worth: Worth) -> dict[str, Any]:
    return {
        "saving_share": saving_share,
        "possible_share": possible_share,
        "marks": worth.marks,
        "marking_minutes": worth.minutes,
        "net_minutes": worth.net_minutes,
    }
