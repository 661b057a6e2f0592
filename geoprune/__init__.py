"""geoprune: from a few dozen weighed vines to zones and bud counts. Names are loaded when they are first used."""

import os

TYPE_CHECKING = False  # the module typing takes a tenth of the time that --help has
if TYPE_CHECKING:
    from geoprune.errors import DataError, GeopruneError
    from geoprune.plan import BlockPlan, PlanOptions, make_plan
    from geoprune.reading import read_vineyard
    from geoprune.surface import fit_surface
    from geoprune.trellis import build_trellis, place_samples
    from geoprune.zones import draw_zones

os.environ.setdefault("OGR_SKIP", "OGR_VRT,GDALG")  # set before GDAL starts: files that only name other files are not read

_HOMES = {
    "BlockPlan": "plan",
    "DataError": "errors",
    "GeopruneError": "errors",
    "PlanOptions": "plan",
    "build_trellis": "trellis",
    "draw_zones": "zones",
    "fit_surface": "surface",
    "make_plan": "plan",
    "place_samples": "trellis",
    "read_vineyard": "reading",
}

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


def __getattr__(name: str) -> object:
    """Load a public name's home; the command line's help needs none of them."""
    from importlib import import_module

    if name not in _HOMES:
        raise AttributeError(f"module 'geoprune' has no attribute {name!r}")
    return getattr(import_module(f"geoprune.{_HOMES[name]}"), name)
