"""A vineyard out of a PostGIS database as a file, through the same door as every other, and results back into it."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from geoprune.database import read_tables, shown_address, write_tables
from geoprune.deliver.folders import block_folders
from geoprune.deliver.writing.geopackage import DESCRIPTIONS, write_layer
from geoprune.errors import DataError, OutputError, Problem
from geoprune.reading.results import read_result_layers

#: Ending of a file that stands for what was read of a database; files that end so are ours, and replaced.
FROM_DATABASE = ".from_database.gpkg"
#: What a table is said to be in the file that is written of it.
FROM = "from {address}"


def get_vineyard(address: str, out: Path, *, tables: Sequence[str] = (), force: bool = False) -> dict[str, int]:
    """Write tables of a database into a GeoPackage, a layer each, and return how many lines each has.

    Parameters
    ----------
    address : str
        ``postgresql://user@host/database``; its password is not written anywhere.
    out : Path
        The file, ending in .gpkg.
    tables : sequence of str
        As for `database.read_tables`.
    force : bool
        Replace a file that is there.

    Raises
    ------
    DataError
        If the database cannot be read.
    OutputError
        If the file cannot be written; nothing half-written stays.
    """
    if out.suffix.lower() != ".gpkg":
        raise OutputError(f"{out}: the tables are written as a GeoPackage. Let its name end in .gpkg.")
    if out.exists() and not force:
        raise OutputError(f"{out}: exists already. Choose another name, or replace it with --force.")
    read = read_tables(address, tables)
    fresh = out.with_name(f".{out.stem}.new.gpkg")
    try:
        fresh.unlink(missing_ok=True)
        for name, table in read.items():
            write_layer(table, fresh, name, "Unknown", FROM.format(address=shown_address(address)), append=fresh.exists())
        fresh.replace(out)
    except OSError as error:
        raise OutputError(f"{out}: cannot be written: {error.strerror or error}") from None
    finally:
        fresh.unlink(missing_ok=True)
    return {name: len(table) for name, table in read.items()}


def take_vineyard(address: str, folder: Path) -> Path:
    """Write all tables with shapes of a database into a file of ours in a folder, over an earlier one, and return it.

    Raises
    ------
    DataError, OutputError
        See `get_vineyard`.
    """
    name = shown_address(address).rpartition("/")[2] or "database"
    out = folder / f"{block_folders([name])[name]}{FROM_DATABASE}"
    get_vineyard(address, out, force=True)
    return out


def put_results(results: Path, address: str, *, schema: str = "geoprune", force: bool = False) -> dict[str, int]:
    """Write the layers of a folder of results into a schema of a database, all or none; return the lines of each.

    Raises
    ------
    DataError
        If the folder or the database cannot be used, or other tables stand there.
    """
    problems: list[Problem] = []
    layers = read_result_layers(results, dict.fromkeys(DESCRIPTIONS, ("block",)), problems, geometry=True)
    if problems:
        raise DataError(problems)
    write_tables(layers, DESCRIPTIONS, address, schema=schema, force=force)
    return {name: len(table) for name, table in layers.items()}
