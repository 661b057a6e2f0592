"""What a replanting proposal writes: page, PDF, layers, waypoints, tables, the prices to fill in."""

from geoprune.deliver.replanting.files import PRICES, carried_prices, write_replanting
from geoprune.deliver.replanting.wording import area_cells, order_cells, replant_content

__all__ = ["PRICES", "area_cells", "carried_prices", "order_cells", "replant_content", "write_replanting"]
