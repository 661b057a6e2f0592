"""The only door in: vector files and sample tables. Units and CRS are settled here; all problems are told at once."""

from __future__ import annotations

import hashlib
import os
from difflib import get_close_matches
from io import StringIO
from pathlib import Path

os.environ.setdefault("OGR_SKIP", "OGR_VRT")  # a file that only names other files is not read

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
from pyproj import CRS
from shapely import force_2d, make_valid

from geoprune.errors import DataError, Problem
from geoprune.layers import STATUSES, TRAININGS, Source, Vineyard
from geoprune.units import SUFFIXES

MAGIC = {".gpkg": b"SQLite format 3\x00", ".zip": b"PK", ".xlsx": b"PK"}
AREA_HA = (0.01, 500.0)
LIMITS = {"row_spacing": (0.8, 6.0), "vine_spacing": (0.3, 5.0), "pruning_weight": (0.0, 10.0)}


class _Checks:
    """Collects problems of one file."""

    def __init__(self, file: str) -> None:
        self.file = file
        self.found: list[Problem] = []

    def add(self, layer: str, row: str, what: str, mend: str) -> None:
        self.found.append(Problem(self.file, layer, row, what, mend))

    def stop(self) -> None:
        if self.found:
            raise DataError(self.found)


def _check_magic(path: Path, checks: _Checks) -> None:
    data = b""
    if path.exists():
        with path.open("rb") as file:
            data = file.read(64)
    if not data:
        checks.add("", "", "the file is empty or missing", "Give a file with data")
    else:
        expected = MAGIC.get(path.suffix.lower(), b"")
        if not data.startswith(expected):
            checks.add("", "", f"the file is not what its ending {path.suffix} says", "Save it again in that format")
    checks.stop()


def _in_si(table: pd.DataFrame, quantity: str, kind: str, layer: str, checks: _Checks) -> pd.Series | None:
    """Values of `quantity` in SI, from the one column whose ending names its unit."""
    accepted = [f"{quantity}_{suffix}" for suffix in SUFFIXES[kind]]
    found = [name for name in accepted if name in table.columns]
    if len(found) != 1:
        what = f"{quantity} stands in two units ({', '.join(found)})" if found else f"no {quantity} column with a unit"
        checks.add(layer, "", what, f"Keep exactly one of {', '.join(accepted)}")
        return None
    values = pd.to_numeric(table[found[0]], errors="coerce") * SUFFIXES[kind][found[0].rsplit("_", 1)[1]]
    low, high = LIMITS[quantity]
    for index, value in values.items():
        if not (np.isfinite(value) and low < value <= high):
            shown = table.loc[index, found[0]]
            checks.add(
                layer,
                f"row {int(index) + 1}",
                f"{found[0]} is {shown!r}",
                f"Give a number, {low:g}-{high:g} in SI units",
            )
    return values


def _name(value: object) -> str:
    """A row or block name as text: 3, 3.0 and '3' are the same name."""
    if isinstance(value, (int, float, np.integer, np.floating)) and not pd.isna(value) and float(value) == int(value):
        return str(int(value))
    return "" if value is None or pd.isna(value) else str(value).strip().removesuffix(".0")


def _layer(path: Path, name: str, names: list[str]) -> gpd.GeoDataFrame | None:
    if name not in names:
        return None
    table = gpd.read_file(path, layer=name)
    table.columns = [c if c == table.active_geometry_name else c.strip().lower() for c in table.columns]
    table = table.rename_geometry("geometry") if table.active_geometry_name != "geometry" else table
    table["geometry"] = force_2d(table.geometry.values)
    return table


def _blocks(table: gpd.GeoDataFrame, checks: _Checks, remarks: list[str]) -> gpd.GeoDataFrame:
    needed = [c for c in ("block", "variety", "rule", "training") if c not in table.columns]
    for column in needed:
        checks.add("blocks", "", f"column {column} is missing", f"Add {column}")
    row_spacing = _in_si(table, "row_spacing", "length", "blocks", checks)
    vine_spacing = _in_si(table, "vine_spacing", "length", "blocks", checks)
    if table.crs is None:
        checks.add("blocks", "", "no CRS is declared", "Declare the coordinate reference system in the file")
    checks.stop()
    assert row_spacing is not None
    assert vine_spacing is not None
    names = table["block"].map(_name)
    for name in names[names.str.casefold().duplicated()]:
        checks.add("blocks", f"block '{name}'", "this name stands twice", "Give each block its own name")
    training = table["training"].astype(str).str.casefold().str.replace("-", " ").str.strip()
    words = {t.replace("-", " "): t for t in TRAININGS}
    for name, word in zip(names, training, strict=True):
        if word not in words:
            near = get_close_matches(word, words, n=1, cutoff=0)
            checks.add("blocks", f"block '{name}'", f"unknown training '{word}'", f"Did you mean '{words[near[0]]}'?")
    bounds = table.total_bounds
    if table.crs.is_geographic and (abs(bounds[1]) > 90 or abs(bounds[3]) > 90):
        checks.add("blocks", "", "latitudes beyond 90 degrees", "Longitude and latitude seem swapped: exchange them")
    checks.stop()
    for index in np.flatnonzero(~table.geometry.is_valid.to_numpy()):
        remarks.append(f"Block '{names.iloc[index]}': the outline crosses itself and was mended.")
    outline = make_valid(table.geometry.values)
    blocks = gpd.GeoDataFrame(
        {
            "block": names,
            "variety": table["variety"].astype(str),
            "rule": table["rule"].map(lambda v: "" if v is None or pd.isna(v) else str(v)),
            "training": training.map(words),
            "row_spacing_m": row_spacing,
            "vine_spacing_m": vine_spacing,
            "vines_per_panel": table.get("vines_per_panel", pd.Series(np.nan, table.index)),
            "row_bearing_deg": table.get("row_bearing_deg", pd.Series(np.nan, table.index)),
        },
        geometry=outline,
        crs=table.crs,
    )
    projected = table.crs.is_projected and table.crs.axis_info[0].unit_name == "metre" and table.crs.to_epsg() != 3857
    blocks = blocks.to_crs(table.crs if projected else blocks.estimate_utm_crs())
    for name, area in zip(blocks["block"], blocks.area / 10_000, strict=True):
        if not AREA_HA[0] <= area <= AREA_HA[1]:
            checks.add("blocks", f"block '{name}'", f"its area is {area:.4f} ha", "Check outline and CRS")
    checks.stop()
    return blocks


def _sample_table(path: Path) -> pd.DataFrame:
    if path.suffix.lower() == ".xlsx":
        return pd.read_excel(path, engine="calamine")
    try:
        text = path.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError:
        text = path.read_text(encoding="latin-1")
    head = text.split("\n", 1)[0]
    separator = max(",;\t", key=head.count)
    return pd.read_csv(StringIO(text), sep=separator, decimal="," if separator == ";" else ".", dtype={"row": str})


def _samples(table: pd.DataFrame, file: str, blocks: gpd.GeoDataFrame, crs: str | None) -> gpd.GeoDataFrame:
    checks = _Checks(file)
    table = table.rename(columns=lambda c: str(c).strip().lower()).reset_index(drop=True)
    if not len(table):
        checks.add("samples", "", "there are no samples", "Give at least 5 weighed vines a block")
        checks.stop()
    weight = _in_si(table, "pruning_weight", "weight", "samples", checks)
    geometry = None
    if "geometry" in table.columns:
        geometry = gpd.GeoSeries(table["geometry"], crs=table.crs).to_crs(blocks.crs)
    elif {"lon", "lat"} <= set(table.columns):
        geometry = gpd.GeoSeries(gpd.points_from_xy(table["lon"], table["lat"]), crs=4326)
        if np.nanmax(np.abs(table["lat"].to_numpy(float)), initial=0) > 90:
            checks.add("samples", "", "latitudes beyond 90 degrees", "lon and lat seem swapped: exchange them")
        geometry = geometry.where(table["lon"].notna()).to_crs(blocks.crs)
    elif {"easting", "northing"} <= set(table.columns):
        if crs is None:
            checks.add("samples", "", "easting and northing without a CRS", "Name it with --crs, e.g. EPSG:32617")
            checks.stop()
        points = gpd.points_from_xy(table["easting"], table["northing"])
        geometry = gpd.GeoSeries(points, crs=CRS.from_user_input(crs)).to_crs(blocks.crs)
    checks.stop()
    assert weight is not None
    count = pd.to_numeric(table.get("vines_weighed", pd.Series(1, table.index)), errors="coerce").fillna(1).astype(int)
    rows = table.get("row", pd.Series("", table.index)).map(_name)
    vines = pd.to_numeric(table.get("vine", pd.Series(np.nan, table.index)), errors="coerce")
    names = table.get("block", pd.Series(np.nan, table.index)).map(_name)
    if geometry is None:
        geometry = gpd.GeoSeries([None] * len(table), crs=blocks.crs)
    for i in table.index:
        placed = bool(rows[i]) and not pd.isna(vines[i])
        if not placed and (geometry.iloc[i] is None or geometry.iloc[i].is_empty):
            checks.add("samples", f"row {i + 1}", "no place", "Give row and vine, or lon and lat")
        if names[i] and names[i] not in set(blocks["block"]):
            checks.add("samples", f"row {i + 1}", f"unknown block '{names[i]}'", "Use a name of the blocks layer")
        elif placed and not names[i] and len(blocks) > 1:
            checks.add("samples", f"row {i + 1}", "block is needed with several blocks", "Add the block's name")
    checks.stop()
    if len(blocks) == 1:
        names = names.where(names != "", blocks["block"].iloc[0])
    lacking = (names == "").to_numpy()
    if lacking.any():
        near = blocks.sindex.nearest(geometry[lacking], return_all=False)[1]
        names = names.mask(lacking, pd.Series(blocks["block"].to_numpy()[near], names.index[lacking]))
    return gpd.GeoDataFrame(
        {
            "block": names,
            "row": rows,
            "vine": vines,
            "vine_weight_kg": weight / count,
            "vines_weighed": count,
            "season": pd.to_numeric(table.get("season", pd.Series(np.nan, table.index)), errors="coerce"),
            "note": table.get("note", pd.Series("", table.index)).fillna("").astype(str),
            "source_row": table.index + 1,
        },
        geometry=geometry.to_numpy(),
        crs=blocks.crs,
    )


def read_vineyard(path: str | Path, *, samples: str | Path | None = None, crs: str | None = None) -> Vineyard:
    """Read and check a vineyard file and its samples.

    Raises
    ------
    DataError
        With every problem found: file, layer, row, what is wrong, how to mend it.
    """
    path = Path(path)
    checks = _Checks(path.name)
    remarks: list[str] = []
    _check_magic(path, checks)
    try:
        names = [str(n) for n, kind in pyogrio.list_layers(path) if kind is not None]
    except pyogrio.errors.DataSourceError as error:
        raise DataError([Problem(path.name, "", "", f"cannot be opened ({error})", "Save it as a GeoPackage")]) from error
    if "blocks" not in names:
        if len(names) == 1:
            table = _layer(path, names[0], names)
        else:
            checks.add("blocks", "", "the layer is missing", f"Name a layer blocks (found: {', '.join(names)})")
            checks.stop()
    else:
        table = _layer(path, "blocks", names)
    assert table is not None
    if not len(table):
        checks.add("blocks", "", "there is no block", "Draw at least one polygon")
        checks.stop()
    blocks = _blocks(table, checks, remarks)
    parts: dict[str, gpd.GeoDataFrame | None] = {}
    for name in ("rows", "vines", "bud_checks"):
        part = _layer(path, name, names)
        parts[name] = None if part is None else _attached(part, name, blocks, checks)
    checks.stop()
    sources = [_source(path)]
    if samples is not None:
        file = Path(samples)
        _check_magic(file, _Checks(file.name))
        given, label = _sample_table(file), file.name
        sources.append(_source(file))
    else:
        layer = _layer(path, "samples", names)
        if layer is None:
            raise DataError([Problem(path.name, "samples", "", "no samples", "Give --samples or a samples layer")])
        given, label = layer, path.name
    return Vineyard(
        blocks,
        parts["rows"],
        parts["vines"],
        _samples(given, label, blocks, crs),
        parts["bud_checks"],
        blocks.crs,
        tuple(sources),
        tuple(remarks),
    )


def _source(path: Path) -> Source:
    return Source(path.name, hashlib.sha256(path.read_bytes()).hexdigest())


def _attached(part: gpd.GeoDataFrame, name: str, blocks: gpd.GeoDataFrame, checks: _Checks) -> gpd.GeoDataFrame:
    """Rows, vines and bud checks: names, statuses and counts checked, brought to the work CRS."""
    needed = {
        "rows": ["block", "row"],
        "vines": ["block", "row", "vine"],
        "bud_checks": ["block", "buds_cut", "primary_dead"],
    }[name]
    missing = [c for c in needed if c not in part.columns]
    for column in missing:
        checks.add(name, "", f"column {column} is missing", f"Add {column}")
    if missing:
        return part
    part = part.to_crs(blocks.crs)
    for column in {"block", "row"} & set(part.columns):
        part[column] = part[column].map(_name)
    for index in np.flatnonzero(~part["block"].isin(blocks["block"]).to_numpy()):
        checks.add(name, f"row {index + 1}", f"unknown block '{part['block'].iloc[index]}'", "Use a block's name")
    if name == "vines":
        part["status"] = part.get("status", pd.Series("bearing", part.index)).fillna("bearing").str.strip().str.lower()
        for index in np.flatnonzero(~part["status"].isin(STATUSES).to_numpy()):
            word = part["status"].iloc[index]
            checks.add(name, f"row {index + 1}", f"unknown status '{word}'", f"Use one of {', '.join(STATUSES)}")
    if name == "bud_checks":
        wrong = (part["primary_dead"] > part["buds_cut"]) | (part["primary_dead"] < 0) | (part["buds_cut"] <= 0)
        for index in np.flatnonzero(wrong.to_numpy()):
            checks.add(name, f"row {index + 1}", "more buds dead than cut, or none cut", "Correct the counts")
    keys = {"rows": ["block", "row"], "vines": ["block", "row", "vine"]}.get(name)
    if keys:
        for index in np.flatnonzero(part.duplicated(keys).to_numpy()):
            shown = ", ".join(f"{k} {part[k].iloc[index]}" for k in keys)
            checks.add(name, f"row {index + 1}", f"{shown} stands twice", "Keep one of them")
    return part
