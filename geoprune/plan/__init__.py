"""From a vineyard to the plan of each block: the order of the steps, and the shape of what they make."""

from geoprune.plan.apart import vines_apart, winter_only
from geoprune.plan.estate import Heard, Voice, hear
from geoprune.plan.given import GivenZones
from geoprune.plan.preparing import SideInputs, prepare_blocks, rule_problems
from geoprune.plan.shape import Benefit, BlockPlan, BlockSettings, EstatePlan, PlanOptions
from geoprune.plan.steps import make_plan, plan_blocks
from geoprune.surface import Diagnostics, Model

__all__ = [
    "Benefit",
    "BlockPlan",
    "BlockSettings",
    "Diagnostics",
    "EstatePlan",
    "GivenZones",
    "Heard",
    "Model",
    "PlanOptions",
    "SideInputs",
    "Voice",
    "hear",
    "make_plan",
    "plan_blocks",
    "prepare_blocks",
    "rule_problems",
    "vines_apart",
    "winter_only",
]
