"""Maps: one block, and the estate at a glance."""

from geoprune.deliver.maps.block_page import render_block_map
from geoprune.deliver.maps.estate_page import render_estate

__all__ = ["render_block_map", "render_estate"]
