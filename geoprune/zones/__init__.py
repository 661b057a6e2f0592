"""Zones of whole panels that a crew can follow, chosen by what they save."""

from geoprune.zones.choosing import draw_zones
from geoprune.zones.flagging import flagging_list, follow, row_list
from geoprune.zones.judging import judge_zones
from geoprune.zones.labels import GivenLabels, labels_from_layer
from geoprune.zones.options import ZoneOptions, Zoning
from geoprune.zones.shapes import zone_shapes

__all__ = [
    "GivenLabels",
    "ZoneOptions",
    "Zoning",
    "draw_zones",
    "flagging_list",
    "follow",
    "judge_zones",
    "labels_from_layer",
    "row_list",
    "zone_shapes",
]
