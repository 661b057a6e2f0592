"""Maps: one HTML file per block and one for the estate, which open without a network. The only folium."""

from geoprune.maps.block_page import render_block_map
from geoprune.maps.estate_page import render_estate
from geoprune.maps.telling import zone_recipes

__all__ = ["render_block_map", "render_estate", "zone_recipes"]
