"""Two small real plans side by side, and what of them a test of the writing puts in their place."""

from __future__ import annotations

from dataclasses import replace

from small_plans import UTM, Field, small_plans

from geoprune.errors import Message, Remark
from geoprune.plan import BlockPlan, EstatePlan, PlanOptions

SMALL = {"rows": 8, "vines": 24, "zones": 2}
HOSTILE = "=1+1</script><img src=x onerror=alert(1)>\"'{{7*7}}\u202e\x07 & <b>"


def blocks() -> tuple[BlockPlan, BlockPlan]:
    """Return the plans of the blocks North and South."""
    return small_plans(Field("North", **SMALL), Field("South", seed=2, corner=(500_400.0, 4_700_000.0), **SMALL))


def estate_of(*plans: BlockPlan) -> EstatePlan:
    """Return the plan of these blocks."""
    return EstatePlan(plans, UTM, PlanOptions())


def one_block(name: str = "North") -> EstatePlan:
    """Return the plan of one block by itself, under a name of its own."""
    return estate_of(replace(blocks()[0], name=name))


def two_blocks() -> EstatePlan:
    """Return the plan of both; of North one figure is not known, and its sentence and its remark are known word for word."""
    north, south = blocks()
    size = Message("map.size_sentence", {"vine_size_kg": 0.9})
    remark = Remark("dropped", Message("reading.left_out_not_bearing", {"line": 4, "row": "2", "vine": 3}), "North")
    return estate_of(replace(north, mean_rmse_kg=float("nan"), verdict_reasons=(size,), remarks=(remark,)), south)


def with_text(plan: BlockPlan, text: str, name: str) -> BlockPlan:
    """Return a plan with a user's text wherever a user may write some."""
    return replace(
        plan,
        name=name,
        settings=replace(plan.settings, block=name, variety=text),
        samples=plan.samples.assign(note=text),
        zones=plan.zones.assign(given_as=text, recipe=text),
        flags=plan.flags.assign(row=text),
    )
