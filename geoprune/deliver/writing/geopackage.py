"""The GeoPackage: OGC 1.3 layers, what each column means (schema extension), and a style per layer."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator, Mapping
from contextlib import closing, contextmanager
from datetime import datetime
from pathlib import Path
from typing import Any

import pandas as pd
import pyogrio

from geoprune.clock import fixed, now
from geoprune.deliver.writing.sld import layer_sld
from geoprune.deliver.writing.styles import layer_style
from geoprune.deliver.writing.tables import GEOMETRIES, column_words
from geoprune.text import clean

#: Drawn first to last in the file, so that a GIS lists polygons first.
DESCRIPTIONS = {
    "zones": "Zones of vine size with the buds to leave on each vine",
    "replant_areas": "Missing, dead and very small vines gathered into areas",
    "blocks": "Blocks with their verdict and whole-block number",
    "rows": "Rows; the first vertex is the end of vine 1",
    "panels": "Panels: the trellis between two neighbouring line posts",
    "vines": "Every planting position",
    "samples": "Weighed vines, where they were placed and what the others say of them",
    "flags": "Posts to flag, in walking order",
    "next_vines": "Vines worth weighing next, in walking order",
    "runs": "The crew's row list in walking order",
}
SCHEMA_URL = "http://www.geopackage.org/spec/#extension_schema"
SCHEMA_TABLES = """
CREATE TABLE gpkg_data_columns (table_name TEXT NOT NULL, column_name TEXT NOT NULL, name TEXT, title TEXT,
  description TEXT, mime_type TEXT, constraint_name TEXT,
  CONSTRAINT pk_gdc PRIMARY KEY (table_name, column_name), CONSTRAINT gdc_tn UNIQUE (table_name, name));
CREATE TABLE gpkg_data_column_constraints (constraint_name TEXT NOT NULL, constraint_type TEXT NOT NULL,
  value TEXT, min NUMERIC, min_is_inclusive BOOLEAN, max NUMERIC, max_is_inclusive BOOLEAN, description TEXT,
  CONSTRAINT gdcc_ntv UNIQUE (constraint_name, constraint_type, value));
"""
STYLE_TABLE = """
CREATE TABLE layer_styles (id INTEGER PRIMARY KEY AUTOINCREMENT, f_table_catalog TEXT(256),
  f_table_schema TEXT(256), f_table_name TEXT(256), f_geometry_column TEXT(256), styleName TEXT(30),
  styleQML TEXT, styleSLD TEXT, useAsDefault BOOLEAN, description TEXT, owner TEXT(30), ui TEXT(30),
  update_time DATETIME DEFAULT (strftime('%Y-%m-%dT%H:%M:%fZ', 'now')));
"""


def add_layers(tables: Mapping[str, pd.DataFrame], path: Path) -> None:
    """Write every layer, or add to it where the file is there.

    Parameters
    ----------
    tables : mapping
        Layer -> table, as `writing.tables.block_tables` gives them; the same columns each time.
    path : Path
    """
    append = path.exists()
    for layer, description in DESCRIPTIONS.items():
        if not append or len(tables[layer]):
            write_layer(tables[layer], path, layer, GEOMETRIES[layer], description, append=append)


def finish_geopackage(path: Path, values: Mapping[str, pd.DataFrame], language: str = "en") -> None:
    """Add descriptions and styles, and check the file.

    Parameters
    ----------
    path : Path
    values : mapping
        Layer -> the values that its style depends on (`styles.message_values`).
    language : str
        Of legends and labels.
    """
    with closing(sqlite3.connect(path)) as base, base:
        ensure_extensions(base)
        describe_columns(base)
        add_styles(base, values, language)
    with closing(sqlite3.connect(path)) as base:
        base.execute("PRAGMA journal_mode=DELETE")
        answer = base.execute("PRAGMA quick_check").fetchone()[0]
    if answer != "ok":
        raise OSError(f"the GeoPackage is damaged: {answer}")


def write_layer(
    table: pd.DataFrame, path: Path, layer: str, geometry: str | None, description: str, *, append: bool = False
) -> None:
    """Write a layer, which may be empty, into a GeoPackage, or add lines to it; hidden characters of texts are left out.

    Parameters
    ----------
    geometry : str or None
        Kind of its shapes, such as "MultiPolygon"; None for a table without any.
    """
    cleaned = with_clean_texts(table)
    layer_options = {"FID": "fid", "IDENTIFIER": layer, "DESCRIPTION": description}
    shapes: dict[str, Any] = {}
    if geometry is not None:
        layer_options |= {"GEOMETRY_NAME": "geom", "SPATIAL_INDEX": "YES"}
        shapes = {"geometry_type": geometry, "promote_to_multi": geometry.startswith("Multi")}
    options = {"layer_options": layer_options, "dataset_options": {"VERSION": "1.3"}}
    with fixed_time(), unsynced():
        pyogrio.write_dataframe(cleaned, path, layer=layer, driver="GPKG", append=append, **shapes, **options)


def with_clean_texts(table: pd.DataFrame) -> pd.DataFrame:
    """Return a table whose texts hold no hidden characters. Each text is looked at once: most stand in many lines."""
    cleaned = table.copy()
    for name, kind in table.dtypes.items():
        if name == "geometry" or pd.api.types.is_numeric_dtype(kind):
            continue
        different = {value for value in table[name].tolist() if isinstance(value, str)}
        hidden = {value: shown for value in different if (shown := clean(value)) != value}
        if hidden:
            cleaned[name] = table[name].map(lambda value, hidden=hidden: hidden.get(value, value))
    return cleaned


def ensure_extensions(base: sqlite3.Connection) -> None:
    """Make the table of extensions if the layers did not need one."""
    base.execute(
        "CREATE TABLE IF NOT EXISTS gpkg_extensions (table_name TEXT, column_name TEXT,"
        " extension_name TEXT NOT NULL, definition TEXT NOT NULL, scope TEXT NOT NULL,"
        " CONSTRAINT ge_tce UNIQUE (table_name, column_name, extension_name))"
    )


def describe_columns(base: sqlite3.Connection) -> None:
    """Say what each column holds, by the GeoPackage schema extension (OGC 12-128r18, F.9)."""
    base.executescript(SCHEMA_TABLES)
    lines = [
        (layer, column, column, meaning)
        for layer, columns in column_words().items()
        for column, (_, meaning) in columns.items()
    ]
    base.executemany(
        "INSERT INTO gpkg_data_columns (table_name, column_name, title, description) VALUES (?, ?, ?, ?)",
        lines,
    )
    base.executemany(
        "INSERT INTO gpkg_extensions VALUES (?, NULL, 'gpkg_schema', ?, 'read-write')",
        [("gpkg_data_columns", SCHEMA_URL), ("gpkg_data_column_constraints", SCHEMA_URL)],
    )


def add_styles(base: sqlite3.Connection, values: Mapping[str, pd.DataFrame], language: str) -> None:
    """Store one default style per layer and register the table that holds them."""
    base.executescript(STYLE_TABLE)
    base.executemany(
        "INSERT INTO layer_styles (f_table_catalog, f_table_schema, f_table_name, f_geometry_column,"
        " styleName, styleQML, styleSLD, useAsDefault, description, owner, update_time)"
        " VALUES ('', '', ?, 'geom', ?, ?, ?, 1, ?, '', ?)",
        [
            (
                *(layer, layer),
                *(layer_style(layer, values[layer], language), layer_sld(layer, values[layer], language)),
                *(DESCRIPTIONS[layer], stamp(now())),
            )
            for layer in DESCRIPTIONS
            if GEOMETRIES[layer] is not None
        ],
    )
    base.execute(
        "INSERT INTO gpkg_contents (table_name, data_type, identifier, description, last_change)"
        " VALUES ('layer_styles', 'attributes', 'layer_styles', 'Styles of the layers', ?)",
        (stamp(now()),),
    )


def stamp(moment: datetime) -> str:
    """Return a time as GeoPackage writes it (OGC 12-128r18, table 1): ISO 8601 in UTC with thousandths."""
    return moment.strftime("%Y-%m-%dT%H:%M:%S.") + f"{moment.microsecond // 1000:03d}Z"


@contextmanager
def unsynced() -> Iterator[None]:
    """Have layers written without waiting for the disk after each: the folder is brought to it as a whole at the end."""
    pyogrio.set_gdal_config_options({"OGR_SQLITE_SYNCHRONOUS": "OFF"})
    try:
        yield
    finally:
        pyogrio.set_gdal_config_options({"OGR_SQLITE_SYNCHRONOUS": None})


@contextmanager
def fixed_time() -> Iterator[None]:
    """Have layers written with the time that the environment fixes, if it does."""
    moment = fixed()
    if moment is None:
        yield
        return
    pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": stamp(moment)})
    try:
        yield
    finally:
        pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": None})
