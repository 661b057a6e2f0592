"""How long zoning takes: blocks up to 500 rows of 300 vines, a field with a practical range of 140 m, three zones.

    python benchmarks/zones_speed.py [REPEATS]

Prints seconds of processor and of the clock (least of the repeats), for the drawing of the zones, and
the gap to the bound for each number of zones.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from typing import Any

import geopandas as gpd
import numpy as np
import shapely
from vineyards import ROW_SPACING_M, UTM, VINE_SPACING_M, grid_field

from geoprune.rules import BudNeed, load_rules
from geoprune.sizes import SizeDraws
from geoprune.trellis import Trellis
from geoprune.zones import draw_zones

SIZES = ((50, 60), (100, 120), (200, 200), (500, 300))
PER_PANEL, DRAWS, MEAN_KG, CV, NUGGET = 3, 100, 0.9, 0.35, 0.5


def lay_panels(rows: int, vines: int) -> Trellis:
    """A rectangular block of straight rows that run north: its panels."""
    per_row = vines // PER_PANEL
    row, panel = (a.ravel() for a in np.meshgrid(np.arange(rows), np.arange(per_row), indexing="ij"))
    east, south = (row + 0.5) * ROW_SPACING_M, panel * PER_PANEL * VINE_SPACING_M
    north = south + PER_PANEL * VINE_SPACING_M
    lines = shapely.linestrings(np.stack([np.column_stack([east, south]), np.column_stack([east, north])], axis=1))
    table = gpd.GeoDataFrame(
        {
            "row": (row + 1).astype(str),
            "row_order": row,
            "panel": panel + 1,
            "first_vine": panel * PER_PANEL + 1,
            "last_vine": (panel + 1) * PER_PANEL,
            "vines": PER_PANEL,
            "counted": PER_PANEL,
        },
        geometry=lines,
        crs=UTM,
    )
    nothing = table.iloc[:0]
    return Trellis(nothing, table, nothing, ROW_SPACING_M, VINE_SPACING_M)


def states(rows: int, vines: int, rng: np.random.Generator) -> SizeDraws:
    """Draws about a smooth estimate that explains half the field's variance."""
    shape, steps = (rows, vines // PER_PANEL), (ROW_SPACING_M, PER_PANEL * VINE_SPACING_M)

    def field() -> np.ndarray:
        return grid_field(shape, steps, 140.0, rng).ravel()

    spread = MEAN_KG * CV * np.sqrt(1 - NUGGET)
    estimate = MEAN_KG + spread * np.sqrt(0.5) * field()
    draws = np.array([estimate + spread * np.sqrt(0.5) * field() for _ in range(DRAWS)])
    return SizeDraws(np.maximum(draws, 0.0), np.full(DRAWS, MEAN_KG * CV * np.sqrt(NUGGET)))


def timed(work: Callable[[], Any], repeats: int) -> tuple[Any, float, float]:
    """What came out, and the least seconds of processor and of the clock."""
    spent = []
    for _ in range(repeats):
        start = time.process_time(), time.perf_counter()
        result = work()
        spent.append((time.process_time() - start[0], time.perf_counter() - start[1]))
    return result, *(float(least) for least in np.min(spent, axis=0))


def main() -> None:
    """Print one line per size."""
    repeats = int(sys.argv[1]) if len(sys.argv) > 1 else 3
    need = BudNeed(load_rules().resolve("20+20"))
    print("rows vines panels | zoning: processor s, clock s | gap by number of zones")
    for rows, vines in SIZES:
        trellis = lay_panels(rows, vines)
        draws = states(rows, vines, np.random.default_rng(rows))
        zoning, processor, clock = timed(lambda t=trellis, d=draws: draw_zones(t, d, need), repeats)
        gaps = ", ".join(f"{point.zones}: {1 - point.lower_bound / point.cost:.2%}" for point in zoning.benefit.curve[1:])
        print(f"{rows} {vines} {len(trellis.panels)} | {processor:.1f}, {clock:.1f} | {gaps}")


if __name__ == "__main__":
    main()
