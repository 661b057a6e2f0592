"""Maps: one HTML file per block and one for the estate, which open without a network. The only folium."""

from geoprune.maps.block_page import render_block_map
from geoprune.maps.estate_page import render_estate

__all__ = ["render_block_map", "render_estate"]
