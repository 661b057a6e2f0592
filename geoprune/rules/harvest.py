"""Last harvest per block or zone: the yield a zone's vines bore, for their crop load."""

from __future__ import annotations

import numpy as np
import pandas as pd


def zone_yield_kg(harvest: pd.DataFrame, block: str, zone: int, *, share_of_pruning: float) -> float:
    """Yield of a zone, kg: its own where given, else its share of the block's by pruning weight; NaN if neither.

    Sharing a block's yield by pruning weight gives every zone the block's crop load; that says nothing of their
    differences, and is only used where zones were not harvested apart.
    """
    own = harvest[(harvest["block"] == block) & (harvest["zone"] == zone).fillna(False)]
    return _newest_kg(own) if len(own) else block_yield_kg(harvest, block) * share_of_pruning


def block_yield_kg(harvest: pd.DataFrame, block: str) -> float:
    """Newest yield given for the block as a whole, kg; NaN if none. Rows are not added up: they may not be all."""
    return _newest_kg(harvest[(harvest["block"] == block) & harvest["zone"].isna() & (harvest.get("row", "") == "")])


def _newest_kg(lines: pd.DataFrame) -> float:
    return float(lines.sort_values("season", na_position="first")["yield_kg"].iloc[-1]) if len(lines) else np.nan
