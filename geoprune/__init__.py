"""geoprune: from a few dozen weighed vines to zones and bud counts. Importing it loads neither click nor folium."""

from geoprune.errors import DataError, GeopruneError
from geoprune.plan import BlockPlan, PlanOptions, make_plan
from geoprune.reading import read_vineyard
from geoprune.surface import fit_surface
from geoprune.trellis import build_trellis, place_samples
from geoprune.zones import draw_zones

__all__ = [
    "BlockPlan",
    "DataError",
    "GeopruneError",
    "PlanOptions",
    "build_trellis",
    "draw_zones",
    "fit_surface",
    "make_plan",
    "place_samples",
    "read_vineyard",
]
