"""The only door out: everything a plan tells, written as one folder or not at all."""

from geoprune.writing.folder import block_folders, replace_folder
from geoprune.writing.output import write_plan
from geoprune.writing.summary import build_summary

__all__ = ["block_folders", "build_summary", "replace_folder", "write_plan"]
