"""What is said of a block, decided once for every page, sheet, layer and terminal, in words of no language."""

from geoprune.brief.block import brief_block, row_span
from geoprune.brief.places import Label, zone_labels
from geoprune.brief.rows import apart_messages
from geoprune.brief.shape import BlockBrief, ReplantBrief, RowBrief, RunBrief, SampleBrief, ZoneBrief
from geoprune.brief.verdict import estate_alert, from_vine_1, way_message
from geoprune.zones import Interval

__all__ = [
    "BlockBrief",
    "Interval",
    "Label",
    "ReplantBrief",
    "RowBrief",
    "RunBrief",
    "SampleBrief",
    "ZoneBrief",
    "apart_messages",
    "brief_block",
    "estate_alert",
    "from_vine_1",
    "row_span",
    "way_message",
    "zone_labels",
]
