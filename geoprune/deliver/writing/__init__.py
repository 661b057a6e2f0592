"""The only door out: everything a plan holds, written as one folder or not at all."""

from geoprune.deliver.writing.folder import replace_folder
from geoprune.deliver.writing.output import write_plan

__all__ = ["replace_folder", "write_plan"]
