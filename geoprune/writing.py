"""The only door out: everything is written under a temporary name beside the target, then renamed."""

from __future__ import annotations

import json
import re
import shutil
import sqlite3
import tempfile
from collections.abc import Sequence
from importlib.metadata import version
from pathlib import Path
from typing import Any

import geopandas as gpd
import pandas as pd
from pyproj import CRS

from geoprune.errors import OutputError
from geoprune.layers import Vineyard
from geoprune.pages import crew_sheet_html, crew_sheet_pdf, estate_page, map_page
from geoprune.plan import BlockPlan

FILLS = {1: "#e9d8a6", 2: "#94b0a0", 3: "#3d6b73", 4: "#1d3540"}


def slug(name: str, taken: set[str]) -> str:
    """A folder name from a block's name: a-z, 0-9, hyphen; unique; never a device name."""
    base = re.sub(r"[^a-z0-9]+", "-", name.lower()).strip("-")[:40] or "block"
    base = f"block-{base}" if re.fullmatch(r"con|prn|aux|nul|com\d|lpt\d", base) else base
    candidate, number = base, 2
    while candidate in taken:
        candidate, number = f"{base}-{number}", number + 1
    taken.add(candidate)
    return candidate


def guard_text(table: pd.DataFrame) -> pd.DataFrame:
    """Text that a spreadsheet would take for a formula gets a leading apostrophe (CWE-1236); numbers stay."""
    table = table.copy()
    for column in table.columns:
        if not pd.api.types.is_numeric_dtype(table[column]):
            text = table[column].astype(str)
            table[column] = text.where(~text.str.match(r"^[=+\-@\t\r\x00]"), "'" + text)
    return table


def build_summary(plans: Sequence[BlockPlan], vineyard: Vineyard) -> dict[str, Any]:
    """All decisions and figures, JSON-ready; weights in kg, areas in ha."""
    blocks = {}
    for plan in plans:
        zones = json.loads(plan.zones.drop(columns="geometry").to_json(orient="records"))
        blocks[plan.name] = {
            "verdict": plan.verdict,
            "reason": plan.reason,
            "buds_per_vine": plan.buds_per_vine,
            "vine_size_kg": plan.vine_size_kg,
            "vine_size_se_kg": plan.vine_size_se_kg,
            "rule": {"name": plan.rule.name, "source": plan.rule.source},
            "training": plan.training,
            "bud_injury": None if not plan.injury.buds_cut else vars(plan.injury),
            "zones": zones,
            "loo_rmse_kg": plan.loo_rmse_kg,
            "mean_rmse_kg": plan.mean_rmse_kg,
            "model": plan.model,
            "merit": plan.merit,
            "remarks": list(plan.remarks),
        }
    return {
        "geoprune_version": version("geoprune"),
        "crs": vineyard.crs.to_string(),
        "inputs": [vars(source) for source in vineyard.sources],
        "remarks": list(vineyard.remarks),
        "blocks": blocks,
    }


def write_plans(plans: Sequence[BlockPlan], vineyard: Vineyard, out: Path, *, units: str, force: bool) -> list[Path]:
    """Write all results into `out`.

    An existing folder is replaced only with `force`, and only when it holds a summary.json of an earlier run. A run
    that fails leaves nothing behind.

    Raises
    ------
    OutputError
        When `out` exists and may not be replaced, or cannot be written.
    """
    out = Path(out)
    if out.exists() and not force:
        raise OutputError(f"{out} exists: choose another folder, or say --force to replace it")
    if out.exists() and not (out / "summary.json").is_file() and (not out.is_dir() or any(out.iterdir())):
        raise OutputError(f"{out} holds no earlier results: it is not replaced, choose another folder")
    if not out.absolute().parent.is_dir():
        raise OutputError(f"{out.parent} does not exist: make that folder first")
    work = Path(tempfile.mkdtemp(prefix=".geoprune-", dir=out.absolute().parent))
    try:
        files = _write_all(plans, vineyard, work, units)
        if out.exists():
            aside = work.with_name(work.name + "-old")
            out.rename(aside)
            work.rename(out)
            shutil.rmtree(aside)
        else:
            work.rename(out)
    except BaseException:
        shutil.rmtree(work, ignore_errors=True)
        raise
    out.chmod(0o755)
    return [out / f for f in files]


def _write_all(plans: Sequence[BlockPlan], vineyard: Vineyard, work: Path, units: str) -> list[str]:
    taken: set[str] = {"index"}
    folders = {plan.name: slug(plan.name, taken) for plan in plans}
    for plan in plans:
        folder = work / folders[plan.name]
        folder.mkdir()
        (folder / "map.html").write_text(map_page(plan, units=units), encoding="utf-8")
        (folder / "crew_sheet.html").write_text(crew_sheet_html(plan, units=units), encoding="utf-8")
        (folder / "crew_sheet.pdf").write_bytes(crew_sheet_pdf(plan, units=units))
    (work / "index.html").write_text(estate_page(plans, folders, units=units), encoding="utf-8")
    table = pd.concat([plan.zones.drop(columns="geometry") for plan in plans])
    guard_text(table).to_csv(work / "prescription.csv", index=False, encoding="utf-8-sig", float_format="%.6g")
    _write_geopackage(plans, vineyard.crs, work / "prescription.gpkg")
    summary = json.dumps(build_summary(plans, vineyard), indent=1, allow_nan=False, default=str)
    (work / "summary.json").write_text(summary, encoding="utf-8")
    names = ["index.html", "prescription.csv", "prescription.gpkg", "summary.json"]
    return names + [f"{folder}/map.html" for folder in folders.values()]


def _write_geopackage(plans: Sequence[BlockPlan], crs: CRS, path: Path) -> None:
    kinds = {
        "zones": "MultiPolygon",
        "panels": "LineString",
        "vines": "Point",
        "samples": "Point",
        "replant_areas": "MultiPolygon",
    }
    for layer, kind in kinds.items():
        parts = [getattr(plan, layer) for plan in plans]
        table = gpd.GeoDataFrame(pd.concat([p for p in parts if len(p)] or parts[:1], ignore_index=True), crs=crs)
        table = table.drop(columns=[c for c in ("vine_id",) if c in table])
        table.to_file(path, layer=layer, driver="GPKG", geometry_type=kind, VERSION="1.3", GEOMETRY_NAME="geom")
    lists = pd.concat([plan.row_list.assign(block=plan.name) for plan in plans])
    with sqlite3.connect(path) as database:
        database.execute(
            "CREATE TABLE layer_styles (id INTEGER PRIMARY KEY AUTOINCREMENT, f_table_catalog TEXT, f_table_schema TEXT, "
            "f_table_name TEXT, f_geometry_column TEXT, styleName TEXT, styleQML TEXT, styleSLD TEXT, useAsDefault BOOLEAN, "
            "description TEXT, owner TEXT, ui TEXT, update_time DATETIME DEFAULT (strftime('%Y-%m-%dT%H:%M:%fZ','now')))"
        )
        for layer, symbol in (("zones", "fill"), ("panels", "line"), ("vines", "marker")):
            database.execute(
                "INSERT INTO layer_styles (f_table_catalog, f_table_schema, f_table_name, f_geometry_column, styleName, "
                "styleQML, useAsDefault) VALUES ('', '', ?, 'geom', 'zones', ?, 1)",
                (layer, _style(symbol)),
            )
        lists.to_sql("row_list", database, index=False)
        for name in ("layer_styles", "row_list"):
            database.execute(
                "INSERT INTO gpkg_contents (table_name, data_type, identifier) VALUES (?, 'attributes', ?)",
                (name, name),
            )
    database.close()


def _style(symbol: str) -> str:
    kind = {"fill": "SimpleFill", "line": "SimpleLine", "marker": "SimpleMarker"}[symbol]
    color = "line_color" if symbol == "line" else "color"
    categories, symbols = "", ""
    for zone, fill in FILLS.items():
        rgb = ",".join(str(int(fill[i : i + 2], 16)) for i in (1, 3, 5)) + ",255"
        categories += f'<category value="{zone}" symbol="{zone}" label="zone {zone}" render="true"/>'
        symbols += (
            f'<symbol name="{zone}" type="{symbol}" alpha="1"><layer class="{kind}" enabled="1">'
            f'<Option type="Map"><Option name="{color}" type="QString" value="{rgb}"/></Option>'
            f'<prop k="{color}" v="{rgb}"/></layer></symbol>'
        )
    return (
        f'<qgis version="3.22"><renderer-v2 type="categorizedSymbol" attr="zone"><categories>{categories}</categories>'
        f"<symbols>{symbols}</symbols></renderer-v2></qgis>"
    )
