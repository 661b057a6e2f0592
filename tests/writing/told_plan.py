"""An invented plan of two small blocks, to try what is written. Nothing in it is true."""

import geopandas as gpd
import numpy as np
import pandas as pd
from pyproj import CRS
from shapely import LineString, MultiPolygon, Point, box

from geoprune.errors import Message, Remark
from geoprune.plan import BlockPlan, BlockSettings, EstatePlan

UTM = CRS.from_epsg(32617)
HOSTILE = "=1+1</script><img src=x onerror=alert(1)>\"'{{7*7}}\u202e\x07 & <b>"


def table(columns, geometry):
    return gpd.GeoDataFrame(columns, geometry=geometry, crs=UTM)


def block_plan(name, corner=0.0, rows=4, vines=8, note="fine"):
    east = 500_000 + corner
    spots = [(r, v) for r in range(1, rows + 1) for v in range(1, vines + 1)]
    place = {s: Point(east + 3 * s[0], 4_700_000 + 2 * s[1]) for s in spots}
    status = ["missing" if s == (2, 3) else "bearing" for s in spots]
    zone = np.array([1 if r <= rows // 2 else 2 for r, _ in spots])
    buds = np.where(np.array(status) == "bearing", np.where(zone == 1, 25, 40), 0)
    size = np.where(zone == 1, 0.5, 1.2)
    vine_table = table(
        {
            "row": [str(r) for r, _ in spots],
            "vine": [v for _, v in spots],
            "status": status,
            "zone": zone,
            "vine_size_kg": size,
            "vine_size_se_kg": 0.2,
            "buds_per_vine": buds,
        },
        [place[s] for s in spots],
    )
    panels = []
    for r in range(1, rows + 1):
        for k, first in enumerate(range(1, vines + 1, 4), start=1):
            number = 3 if (r, k) == (2, 1) else 4
            z = 1 if r <= rows // 2 else 2
            each = 25 if z == 1 else 40
            panels.append(
                {
                    "row": str(r),
                    "panel": k,
                    "first_vine": first,
                    "last_vine": first + 3,
                    "zone": z,
                    "vine_size_kg": 0.5 if z == 1 else 1.2,
                    "vine_size_se_kg": 0.1,
                    "buds_per_vine": each,
                    "vines": number,
                    "buds_total": number * each,
                    "geometry": LineString([place[(r, first)], place[(r, first + 3)]]),
                }
            )
    panel_table = gpd.GeoDataFrame(panels, crs=UTM)
    per_zone = panel_table.groupby("zone")[["vines", "buds_total"]].sum()
    zones = table(
        {
            "zone": [1, 2],
            "class": ["small vines", "large vines"],
            "vines": per_zone["vines"].to_numpy(),
            "area_ha": [0.01, 0.01],
            "vine_size_kg": [0.5, 1.2],
            "vine_size_se_kg": [0.05, np.nan],
            "vine_size_kg_m": [0.25, 0.6],
            "buds_per_vine": [25, 40],
            "buds_total": per_zone["buds_total"].to_numpy(),
            "recipe": ["4 x 6", note],
        },
        [
            box(east, 4_700_000, east + 7, 4_700_020),
            MultiPolygon([box(east + 7, 4_700_000, east + 14, 4_700_020)]),
        ],
    )
    samples = table(
        {
            "row": ["1", "3"],
            "vine": [2, 5],
            "pruning_weight_kg": [0.4, 1.3],
            "vine_weight_kg": [0.4, 1.3],
            "used": [True, False],
            "note": [note, ""],
            "canes": pd.array([12, None], "Int64"),
        },
        [place[(1, 2)], place[(3, 5)]],
    )
    common = {
        "name": name,
        "verdict": "zone",
        "buds_per_vine": 35,
        "vine_size_kg": 0.9,
        "vine_size_se_kg": 0.05,
        "loo_rmse_kg": 0.2,
        "mean_rmse_kg": float("nan"),
        "zones": zones,
        "panels": panel_table,
        "vines": vine_table,
        "samples": samples,
        "rows": table({"row": ["1"]}, [LineString([place[(1, 1)], place[(1, vines)]])]),
        "replant_areas": table(
            {"vines_missing": [1], "vines_weak": [0], "row_length_m": [2.0], "reason": [note]},
            [box(east, 4_700_000, east + 2, 4_700_002)],
        ),
        "merit": {"saving": np.float64(2.5), "curve": np.arange(4)},
        "model": {"covariance": "exponential", "parameters": {"range_m": np.float32(70), "nugget": np.nan}},
    }
    flags = table(
        {
            "stop": [1, 2],
            "row": ["1", note],
            "post": "end",
            "after_vine": [0, 4],
            "zone": [1, 2],
            "bands": [1, 2],
        },
        [place[(1, 1)], place[(3, 1)]],
    )
    grid = {
        "transform": (5.0, 0, east, 0, -5.0, 4_700_020.0, 0, 0, 1),
        "vine_size_kg": np.array([[0.5, np.nan], [0.7, 1.2]]),
        "vine_size_se_kg": np.full((2, 2), 0.1),
    }
    return BlockPlan(
        **common,
        settings=BlockSettings(name, note, "20+20", "flat cane", 3.0, 2.0, 4),
        crs=UTM,
        polygon=MultiPolygon([box(east, 4_700_000, east + 14, 4_700_020)]),
        verdict_reasons=(Message("map.size_sentence", {"vine_size_kg": 0.9}),),
        flags=flags,
        advice=(),
        surface_grid=grid,
        runs=pd.DataFrame({"stop": [1], "row": ["1"], "zone": [1], "first_vine": [1], "last_vine": [8]}),
        next_vines=table({"stop": [1], "row": ["4"], "vine": [8], "gain_buds": [0.3]}, [place[(4, 8)]]),
        remarks=(Remark("dropped", Message("reading.left_out_not_bearing", {"line": 4, "row": note, "vine": 3}), name),),
    )


def plan(note="fine", names=("North", "South")):
    blocks = tuple(block_plan(n, 100.0 * i, note=note) for i, n in enumerate(names))
    return EstatePlan(blocks, UTM, {"bud_step": 5})
