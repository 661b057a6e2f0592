"""The only door in: vector files and sample tables. Units and CRS are settled here; all problems are told at once."""

from geoprune.reading.earlier import read_earlier
from geoprune.reading.given_zones import read_given_zones
from geoprune.reading.scores import read_scores
from geoprune.reading.vineyard import read_vineyard

__all__ = ["read_earlier", "read_given_zones", "read_scores", "read_vineyard"]
