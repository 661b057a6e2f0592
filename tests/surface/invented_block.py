"""Invented blocks for the tests of this room: the studies' simulator, found without installing it."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2] / "benchmarks"))

from vineyards import BLOCKS, Simulated, draw_truths, grid_field, lay_out, make_vineyard, sample_table

__all__ = ["BLOCKS", "Simulated", "draw_truths", "grid_field", "lay_out", "make_vineyard", "sample_table"]
