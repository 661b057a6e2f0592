"""What a comparison of winters writes: page, layer, tables."""

from geoprune.deliver.seasons.files import write_seasons
from geoprune.deliver.seasons.wording import seasons_content, zone_cells, zone_heads

__all__ = ["seasons_content", "write_seasons", "zone_cells", "zone_heads"]
