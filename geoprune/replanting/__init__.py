"""Replanting: what stands, do gaps cluster, areas to work on, and what comes back of it. Tables and arrays only."""

from geoprune.replanting.clustering import Clustering, JoinCount, count_joins, expected_joins, find_clusterings
from geoprune.replanting.prices import ENTRIES, PriceList, Prices, price_lines, read_prices
from geoprune.replanting.proposal import Choice, Proposal, propose, smallest_trip
from geoprune.replanting.stand import GONE, Stand
from geoprune.replanting.worth import Task, Worth, alive_share, payback, present_value, weigh_up

__all__ = [
    "ENTRIES",
    "GONE",
    "Choice",
    "Clustering",
    "JoinCount",
    "PriceList",
    "Prices",
    "Proposal",
    "Stand",
    "Task",
    "Worth",
    "alive_share",
    "count_joins",
    "expected_joins",
    "find_clusterings",
    "payback",
    "present_value",
    "price_lines",
    "propose",
    "read_prices",
    "smallest_trip",
    "weigh_up",
]
