"""Which vines to weigh: how many, where, in what order, and what that buys."""

from geoprune.sampling.choosing import Chosen, choose_sites
from geoprune.sampling.counting import CONFIDENCE, half_width, vines_for_error
from geoprune.sampling.listing import SampleOptions, WeighList, make_weigh_list
from geoprune.sampling.model import VineModel, assumed_model, earlier_model
from geoprune.sampling.pivotal import local_pivotal
from geoprune.sampling.sites import Sites, single_vines, whole_panels
from geoprune.sampling.walking import Walk, plan_walk
from geoprune.sampling.worth import Effort, Worth, expected_errors

__all__ = [
    "CONFIDENCE",
    "Chosen",
    "Effort",
    "SampleOptions",
    "Sites",
    "VineModel",
    "Walk",
    "WeighList",
    "Worth",
    "assumed_model",
    "choose_sites",
    "earlier_model",
    "expected_errors",
    "half_width",
    "local_pivotal",
    "make_weigh_list",
    "plan_walk",
    "single_vines",
    "vines_for_error",
    "whole_panels",
]
