"""Replanting: what stands, do gaps cluster, areas to work on, and what comes back of it. Tables and arrays only."""

from geoprune.replanting.clustering import Clustering, JoinCount, count_joins, expected_joins, find_clusterings
from geoprune.replanting.gaps import gap_table
from geoprune.replanting.prices import ENTRIES, PriceList, Prices, price_lines, read_prices
from geoprune.replanting.proposal import Choice, Proposal, propose, smallest_trip
from geoprune.replanting.stand import Stand
from geoprune.replanting.worth import Task, Worth, alive_share, payback, present_value, weigh_up

__all__ = [
    "ENTRIES",
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
    "gap_table",
    "payback",
    "present_value",
    "price_lines",
    "propose",
    "read_prices",
    "smallest_trip",
    "weigh_up",
]
