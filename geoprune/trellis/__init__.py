"""Rows, vines and panels of a block, and the place of each sample among them. Pure geometry."""

from geoprune.trellis.footprints import share_ground
from geoprune.trellis.model import PANEL_M, Trellis, build_trellis, middle_points
from geoprune.trellis.placing import left_out_remarks, place_samples
from geoprune.trellis.rows import RowLines, lay_rows

__all__ = [
    "PANEL_M",
    "RowLines",
    "Trellis",
    "build_trellis",
    "lay_rows",
    "left_out_remarks",
    "middle_points",
    "place_samples",
    "share_ground",
]
