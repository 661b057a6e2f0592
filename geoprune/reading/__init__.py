"""The only door in: vector files and tables. Units, names and CRS are settled here; all problems are told at once."""

from geoprune.reading.columns import clean_name
from geoprune.reading.earlier import read_earlier
from geoprune.reading.faults import Faults
from geoprune.reading.given_zones import read_given_zones
from geoprune.reading.harvest import check_harvest, read_harvest
from geoprune.reading.scores import read_scores
from geoprune.reading.vineyard import read_vineyard

__all__ = [
    "Faults",
    "check_harvest",
    "clean_name",
    "read_earlier",
    "read_given_zones",
    "read_harvest",
    "read_scores",
    "read_vineyard",
]
