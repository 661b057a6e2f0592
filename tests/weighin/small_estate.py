"""A small invented block as a file, and a list of its weights; for the commands."""

import geopandas as gpd
import numpy as np
import pandas as pd
from pyproj import CRS
from shapely import LineString, Point, box

UTM = CRS.from_epsg(32617)
WEST, SOUTH = 600_000.0, 4_700_000.0
ROWS, VINES = 12, 40


def write_estate(folder, *, blocks=("North",), gone=((2, 3),)):
    """One or more blocks of 12 rows of 40 vines side by side, some vines missing."""
    file = folder / "estate.gpkg"
    entries, outlines, lines, row_table, vine_table = [], [], [], [], []
    for k, name in enumerate(blocks):
        west = WEST + 60.0 * k
        entry = {"block": name, "variety": "Concord", "rule": "20+20", "training": "top-wire cordon"}
        entries.append(entry | {"row_spacing_m": 2.7, "vine_spacing_m": 2.4, "vines_per_panel": 4})
        outlines.append(box(west, SOUTH, west + 2.7 * ROWS, SOUTH + 2.4 * VINES))
        for r in range(ROWS):
            east = west + 2.7 * (r + 0.5)
            lines.append(LineString([(east, SOUTH), (east, SOUTH + 2.4 * VINES)]))
            row_table.append({"block": name, "row": str(r + 1)})
        vine_table += [{"block": name, "row": str(r), "vine": v, "status": "missing"} for r, v in gone]
    gpd.GeoDataFrame(entries, geometry=outlines, crs=UTM).to_file(file, layer="blocks", driver="GPKG")
    gpd.GeoDataFrame(row_table, geometry=lines, crs=UTM).to_file(file, layer="rows", driver="GPKG")
    points = [Point(WEST + 1, SOUTH + 1)] * len(vine_table)
    gpd.GeoDataFrame(vine_table, geometry=points, crs=UTM).to_file(file, layer="vines", driver="GPKG")
    return file


def right_list(count=30, *, seed=0):
    """Weights in pounds and tenths, one in each of `count` patches; rows end before vine 13, so that row and vine cannot be
    exchanged unseen beyond it."""
    rng = np.random.default_rng(seed)
    place = rng.choice(ROWS * (VINES - 14), count, replace=False)
    row, vine = place // (VINES - 14) + 1, place % (VINES - 14) + 14
    weight = np.round(np.clip(rng.normal(2.5, 0.6, count), 1.0, 4.4), 1)
    return pd.DataFrame({"row": row.astype(str), "vine": vine, "pruning_weight_lb": weight.astype(str), "note": ""})
