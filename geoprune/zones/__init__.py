"""Zones of whole panels that a crew can follow, chosen by what they save."""

from geoprune.zones.choosing import draw_zones
from geoprune.zones.judging import judge_zones
from geoprune.zones.labels import GivenLabels, labels_from_layer
from geoprune.zones.options import ZoneOptions
from geoprune.zones.result import Alternative, CurvePoint, Interval, Worth, ZoneBenefit, Zoning
from geoprune.zones.shapes import zone_shapes

__all__ = [
    "Alternative",
    "CurvePoint",
    "GivenLabels",
    "Interval",
    "Worth",
    "ZoneBenefit",
    "ZoneOptions",
    "Zoning",
    "draw_zones",
    "judge_zones",
    "labels_from_layer",
    "zone_shapes",
]
