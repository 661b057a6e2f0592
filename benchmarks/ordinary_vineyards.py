"""Three hundred ordinary vineyards, each planned end to end by the command: nothing may fail. Prints what does.

    python benchmarks/ordinary_vineyards.py 300        # seeds 0 to 299
    python benchmarks/ordinary_vineyards.py 50 1000    # seeds 1000 to 1049

Each seed is a vineyard as growers draw them: 8 to 30 straight or laid-out rows, 1.5 to 3.6 m apart, vines 0.9 to 2.7 m
apart, at any bearing, in one of nine places on both hemispheres and four kinds of CRS, ends that do not line up, 12 to 40
weights in pounds or kilograms of invented size. It is written as a GeoPackage with a CSV, and `geoprune prescribe` runs on
it through click's runner, in one process for all of them to save the start. It counts as failed unless the exit code is 0,
every page is there, the block has a verdict and a number, the areas of the zones add up to the block's, and the vines are
there.
"""

from __future__ import annotations

import json
import shutil
import sys
import tempfile
import time
import traceback
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
from click.testing import CliRunner
from shapely import LineString, Polygon, affinity

from geoprune.cli import main as geoprune

#: Longitude, latitude and CRS of the file: UTM of both hemispheres, WGS 84, a national grid, US survey feet.
PLACES = (
    *((-79.6, 42.2, "EPSG:32617"), (-76.9, 42.6, "EPSG:2262"), (-122.4, 38.4, "EPSG:2226"), (-120.5, 46.3, "EPSG:4326")),
    *((-68.9, -33.0, "EPSG:32719"), (18.9, -33.9, "EPSG:32734"), (173.9, -41.5, "EPSG:2193"), (0.6, 44.9, "EPSG:2154")),
    (-2.5, 42.5, "EPSG:25830"),
)
KINDS = (
    ("Concord", "30+10", "top-wire cordon", 1.1),
    ("Riesling", "20+20", "flat cane", 0.5),
    ("Merlot", "20+20", "low cordon", 0.6),
    ("Niagara", "40+10", "top-wire cordon", 1.3),
)
PAGES = ("map.html", "crew_sheet.html", "crew_sheet.pdf", "crew_card.html", "field.html", "report.html")


def write_vineyard(folder: Path, seed: int) -> tuple[Path, Path, str]:
    """Write a vineyard and its weights; return both and what is in it."""
    rng = np.random.default_rng([13, seed])
    longitude, latitude, crs = PLACES[seed % len(PLACES)]
    variety, rule, training, size_kg = KINDS[seed // len(PLACES) % len(KINDS)]
    count, row_m, vine_m = int(rng.integers(8, 31)), rng.uniform(1.5, 3.6), rng.uniform(0.9, 2.7)
    vines, bearing = int(rng.integers(20, 71)), rng.uniform(0, 360)
    ends = vines - rng.integers(0, 6, count)
    lines = [LineString([(row_m * (i + 0.5), 0), (row_m * (i + 0.5), vine_m * end)]) for i, end in enumerate(ends)]
    outline = Polygon([(0, -1), (row_m * count, -1), (row_m * count, vine_m * vines + 1), (0, vine_m * vines + 1)])
    local = f"+proj=tmerc +lat_0={latitude} +lon_0={longitude} +k=1 +x_0=0 +y_0=0 +datum=WGS84 +units=m"

    def placed(shapes: list, **columns: object) -> gpd.GeoDataFrame:
        turned = [affinity.rotate(shape, -bearing, origin=(0, 0)) for shape in shapes]
        return gpd.GeoDataFrame(columns, geometry=turned, crs=local).to_crs(crs)

    block = {"block": [f"Block {seed}"], "variety": [variety], "rule": [rule], "training": [training]}
    block |= {"row_spacing_m": [row_m], "vine_spacing_m": [vine_m], "vines_per_panel": [int(rng.integers(2, 6))]}
    drawn = bool(seed % 4)
    layers = {"blocks": placed([outline], **block, **({} if drawn else {"row_bearing_deg": [bearing % 180]}))}
    if drawn:
        layers["rows"] = placed(lines, block=block["block"] * count, row=[str(i + 1) for i in range(count)])
    number = int(rng.integers(12, 41))
    rows, places = rng.integers(0, count, number), rng.uniform(0.05, 0.9, number)
    wave = np.sin(rows * row_m / rng.uniform(20, 80)) * np.cos(places * vines * vine_m / rng.uniform(20, 80))
    weights = size_kg * np.exp(rng.uniform(0.0, 1.0) * wave + rng.normal(0, 0.25, number))
    unit, factor = (("lb", 2.2046226), ("kg", 1.0))[seed % 2]
    table = pd.DataFrame({f"pruning_weight_{unit}": np.round(weights * factor, 2)})
    if drawn:
        table.insert(0, "row", rows + 1)
        table.insert(1, "vine", (places * (ends[rows] - 1)).astype(int) + 1)
    else:
        spots = placed(
            [
                LineString([(row_m * (r + 0.5), 0), (row_m * (r + 0.5), vines * vine_m)]).interpolate(p, normalized=True)
                for r, p in zip(rows, places, strict=True)
            ]
        )
        spots = spots.to_crs(4326).geometry
        table = table.assign(lon=np.round(spots.x, 7), lat=np.round(spots.y, 7))
    weighed = folder / "weights.csv"
    table.drop_duplicates(["row", "vine"] if drawn else ["lon", "lat"]).to_csv(weighed, index=False)
    file = folder / "vineyard.gpkg"
    for name, layer in layers.items():
        layer.to_file(file, layer=name, driver="GPKG")
    told = (
        f"seed {seed}: {count} rows x {vines} vines, {row_m:.2f} x {vine_m:.2f} m, bearing {bearing:.1f}, {crs}, {variety}"
    )
    return file, weighed, told + (", rows drawn" if drawn else ", rows laid out")


def faults_of(folder: Path, seed: int) -> tuple[list[str], str]:
    """Plan a vineyard; return what is wrong, and its verdict."""
    file, weighed, told = write_vineyard(folder, seed)
    out = folder / "results"
    done = CliRunner().invoke(geoprune, ["prescribe", str(file), "--samples", str(weighed), "--out", str(out), "--quiet"])
    if done.exit_code:
        raised = done.exception
        trace = "" if isinstance(raised, SystemExit) else "".join(traceback.format_exception(raised))
        return [f"{told}: exit {done.exit_code}: {done.output.strip()} {trace}"], "failed"
    summary = json.loads((out / "summary.json").read_text("utf-8"))
    (block,) = summary["blocks"].values()
    (pages,) = {path.parent for path in out.glob("*/map.html")}
    faults = [f"{page} is missing" for page in PAGES if not (pages / page).stat().st_size > 500]
    zones = gpd.read_file(out / "prescription.gpkg", layer="zones")
    blocks = gpd.read_file(out / "prescription.gpkg", layer="blocks")
    off = zones.geometry.area.sum() / blocks.geometry.area.sum() - 1.0
    if zones.crs.is_projected and abs(off) > 1e-6:  # written once more in the file's grid, corners added
        faults.append(f"areas of zones off by {off:.1e}")
    if block["verdict"] not in ("zone", "one_number"):
        faults.append(f"verdict {block['verdict']!r}")
    if not block["buds_per_vine"]:
        faults.append(f"no number: {done.output.strip()[:300]}")
    if len(gpd.read_file(out / "prescription.gpkg", layer="vines")) < 100:
        faults.append("vines are missing")
    return [f"{told}: {fault}" for fault in faults], block["verdict"]


def main() -> int:
    """Run the seeds that the command line names."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 300
    first = int(sys.argv[2]) if len(sys.argv) > 2 else 0
    begun, failed, verdicts = time.perf_counter(), 0, {}
    for seed in range(first, first + count):
        folder = Path(tempfile.mkdtemp())
        try:
            faults, verdict = faults_of(folder, seed)
        except Exception as error:  # an exception is what is looked for
            faults, verdict = [f"seed {seed}: {error!r}"], "failed"
        finally:
            shutil.rmtree(folder, ignore_errors=True)
        failed += bool(faults)
        verdicts[verdict] = verdicts.get(verdict, 0) + 1
        for fault in faults:
            print(fault, flush=True)
        if (seed + 1 - first) % 25 == 0:
            print(f"{seed + 1 - first} of {count}: {failed} failed, {time.perf_counter() - begun:.0f} s", flush=True)
    print(f"{count} vineyards, {failed} failed, verdicts {verdicts}, {time.perf_counter() - begun:.0f} s")
    return int(failed > 0)


if __name__ == "__main__":
    sys.exit(main())
