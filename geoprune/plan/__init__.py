"""From a vineyard to the plan of each block: the order of the steps, and the shape of what they make."""

from geoprune.plan.given import GivenZones
from geoprune.plan.shape import BlockPlan, BlockSettings, EstatePlan, PlanOptions
from geoprune.plan.steps import Beside, make_plan, plan_blocks, prepare_blocks, rule_problems
from geoprune.plan.telling import estate_stop_message, stop_message, young_messages

__all__ = [
    "Beside",
    "BlockPlan",
    "BlockSettings",
    "EstatePlan",
    "GivenZones",
    "PlanOptions",
    "estate_stop_message",
    "make_plan",
    "plan_blocks",
    "prepare_blocks",
    "rule_problems",
    "stop_message",
    "young_messages",
]
