"""The only door in: vector files and tables. Units, names and CRS are settled here; all problems are reported at once."""

from geoprune.reading.columns import clean_name
from geoprune.reading.counts import read_counts, read_ticks
from geoprune.reading.declared import choices_of
from geoprune.reading.earlier import read_earlier
from geoprune.reading.earlier_weights import add_earlier_weights, earlier_folders
from geoprune.reading.faults import Faults
from geoprune.reading.given_zones import read_given_zones
from geoprune.reading.harvest import check_harvest, read_harvest
from geoprune.reading.left import read_left
from geoprune.reading.results import Results, read_results
from geoprune.reading.scores import read_scores
from geoprune.reading.vineyard import read_vineyard
from geoprune.reading.winter import Winter, read_winter

__all__ = [
    "Faults",
    "Results",
    "Winter",
    "add_earlier_weights",
    "check_harvest",
    "choices_of",
    "clean_name",
    "earlier_folders",
    "read_counts",
    "read_earlier",
    "read_given_zones",
    "read_harvest",
    "read_left",
    "read_results",
    "read_scores",
    "read_ticks",
    "read_vineyard",
    "read_winter",
]
