"""Whether what was asked was left: a sample of vines to recount, its verdict, what was really left, and hours."""

from geoprune.audit.drawing import draw_recount, walking_place
from geoprune.audit.hours import hours_by_zone, hours_message, pace_by_training, worker_hours
from geoprune.audit.judging import Tolerance, check_counts, judge_few, judge_groups, rows_to_redo
from geoprune.audit.left import buds_left
from geoprune.audit.plans import AQLS, SamplingPlan, chance_to_accept, choose_plan, plan_by_size, single_plan
from geoprune.audit.shape import Audit, AuditOptions, Hours, Recount

__all__ = [
    "AQLS",
    "Audit",
    "AuditOptions",
    "Hours",
    "Recount",
    "SamplingPlan",
    "Tolerance",
    "buds_left",
    "chance_to_accept",
    "check_counts",
    "choose_plan",
    "draw_recount",
    "hours_by_zone",
    "hours_message",
    "judge_few",
    "judge_groups",
    "pace_by_training",
    "plan_by_size",
    "rows_to_redo",
    "single_plan",
    "walking_place",
    "worker_hours",
]
