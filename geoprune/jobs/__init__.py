"""Whole jobs as plain functions, from files to files: what a command does, without a command line."""

from geoprune.jobs.inputs import Inputs, read_inputs
from geoprune.jobs.options import block_options, plan_options
from geoprune.jobs.prescribe import Prescription, choice_problems, prescribe, style_of
from geoprune.jobs.runner import Failure, Outcome, map_blocks

__all__ = [
    "Failure",
    "Inputs",
    "Outcome",
    "Prescription",
    "block_options",
    "choice_problems",
    "map_blocks",
    "plan_options",
    "prescribe",
    "read_inputs",
    "style_of",
]
