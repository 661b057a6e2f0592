"""What a checked vineyard is, and every column of every table that comes in or goes out, as data."""

import pandas as pd

from geoprune.layers.checking import check_vineyard
from geoprune.layers.columns import Column, column, columns_of, incoming, outgoing
from geoprune.layers.vineyard import COUNTED, FEWEST_SAMPLES, GONE, LAYERS, STATUSES, Vineyard
from geoprune.sources import Source

# Texts are kept as Python has them, whether or not pyarrow is there: its strings refuse what a damaged file may hold.
pd.set_option("mode.string_storage", "python")

__all__ = [
    "COUNTED",
    "FEWEST_SAMPLES",
    "GONE",
    "LAYERS",
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
