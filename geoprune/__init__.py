"""geoprune: from a few dozen weighed vines to zones and bud counts. Names are loaded when they are first used."""

import os

from geoprune.drivers import DRIVERS_OFF, NO_NETWORK

TYPE_CHECKING = False  # the module typing takes a tenth of the time that --help has
if TYPE_CHECKING:
    from geoprune.brief import BlockBrief, brief_block
    from geoprune.covariates import read_covariate
    from geoprune.deliver.edition import Edition, Style
    from geoprune.deliver.maps import render_block_map, render_estate
    from geoprune.deliver.pages import crew_card_html, crew_card_pdf, crew_sheet_html, crew_sheet_pdf, report_html
    from geoprune.deliver.writing import write_plan
    from geoprune.errors import DataError, GeopruneError
    from geoprune.jobs import plan_options, read_inputs
    from geoprune.jobs.prescribe import prescribe
    from geoprune.layers import Vineyard, check_vineyard
    from geoprune.plan import BlockPlan, EstatePlan, PlanOptions, make_plan
    from geoprune.reading import read_harvest, read_scores, read_vineyard
    from geoprune.rules import load_rules, load_trainings
    from geoprune.settings import Settings, find_settings, read_settings
    from geoprune.surface import fit_surface
    from geoprune.trellis import build_trellis, place_samples
    from geoprune.words import Reader
    from geoprune.zones import draw_zones

# Set before GDAL starts, which reads them once.
# A process begun by this one finds the names there already: GDAL complains of a driver that it is told to leave out twice.
_left_out_before = filter(None, os.environ.get("OGR_SKIP", "").split(","))
os.environ["OGR_SKIP"] = ",".join(dict.fromkeys((*DRIVERS_OFF, *_left_out_before)))
os.environ.update(NO_NETWORK)

_ROOMS = {
    "brief": ("BlockBrief", "brief_block"),
    "covariates": ("read_covariate",),
    "deliver.edition": ("Edition", "Style"),
    "deliver.maps": ("render_block_map", "render_estate"),
    "deliver.pages": ("crew_card_html", "crew_card_pdf", "crew_sheet_html", "crew_sheet_pdf", "report_html"),
    "deliver.writing": ("write_plan",),
    "errors": ("DataError", "GeopruneError"),
    "jobs": ("plan_options", "prescribe", "read_inputs"),
    "layers": ("Vineyard", "check_vineyard"),
    "plan": ("BlockPlan", "EstatePlan", "PlanOptions", "make_plan"),
    "reading": ("read_harvest", "read_scores", "read_vineyard"),
    "rules": ("load_rules", "load_trainings"),
    "settings": ("Settings", "find_settings", "read_settings"),
    "surface": ("fit_surface",),
    "trellis": ("build_trellis", "place_samples"),
    "words": ("Reader",),
    "zones": ("draw_zones",),
}
_HOMES = {name: room for room, names in _ROOMS.items() for name in names}

__all__ = [
    "BlockBrief",
    "BlockPlan",
    "DataError",
    "Edition",
    "EstatePlan",
    "GeopruneError",
    "PlanOptions",
    "Reader",
    "Settings",
    "Style",
    "Vineyard",
    "brief_block",
    "build_trellis",
    "check_vineyard",
    "crew_card_html",
    "crew_card_pdf",
    "crew_sheet_html",
    "crew_sheet_pdf",
    "draw_zones",
    "find_settings",
    "fit_surface",
    "load_rules",
    "load_trainings",
    "make_plan",
    "place_samples",
    "plan_options",
    "prescribe",
    "read_covariate",
    "read_harvest",
    "read_inputs",
    "read_scores",
    "read_settings",
    "read_vineyard",
    "render_block_map",
    "render_estate",
    "report_html",
    "write_plan",
]


def __getattr__(name: str) -> object:
    """Load a public name's home; the command line's help needs none of them."""
    from importlib import import_module

    if name not in _HOMES:
        raise AttributeError(f"module 'geoprune' has no attribute {name!r}")
    return getattr(import_module(f"geoprune.{_HOMES[name]}"), name)


def __dir__() -> list[str]:
    return sorted([*globals(), *_HOMES])
