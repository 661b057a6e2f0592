"""What a checked vineyard is, and every column of every table that comes in or goes out, as data."""

from geoprune.layers.checking import check_vineyard
from geoprune.layers.columns import Column, column, columns_of, incoming, outgoing
from geoprune.layers.vineyard import COUNTED, FEWEST_SAMPLES, STATUSES, Vineyard
from geoprune.sources import Source

__all__ = [
    "COUNTED",
    "FEWEST_SAMPLES",
    "STATUSES",
    "Column",
    "Source",
    "Vineyard",
    "check_vineyard",
    "column",
    "columns_of",
    "incoming",
    "outgoing",
]
