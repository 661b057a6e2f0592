"""The order in which a plan is written."""

from __future__ import annotations

import json
import shutil
import sqlite3
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path, PurePosixPath
from typing import Any

import pandas as pd
from pyogrio.errors import DataLayerError, DataSourceError
from rasterio.errors import RasterioError
from xlsxwriter.exceptions import XlsxWriterException

from geoprune.errors import Message, OutputError
from geoprune.plan import EstatePlan
from geoprune.text import clean, one_line
from geoprune.words import say
from geoprune.writing.folder import block_folders, digest, replace_folder
from geoprune.writing.geopackage import write_geopackage
from geoprune.writing.raster import write_surface
from geoprune.writing.spreadsheets import write_csv, write_workbook
from geoprune.writing.summary import Say, build_summary
from geoprune.writing.tables import plan_tables, prescription_table
from geoprune.writing.waypoints import flag_words, next_vine_words, waypoints, write_gpx, write_kml

#: A disk with less room than this, in bytes, is told as full.
NEARLY_FULL = 65_536


def write_plan(
    plan: EstatePlan,
    out: Path,
    *,
    pages: Mapping[str, str | bytes] | None = None,
    language: str = "en",
    units: str = "us",
    made: datetime | None = None,
    force: bool = False,
) -> Path:
    """Write everything a plan tells into the folder `out`: whole, or not at all.

    Parameters
    ----------
    plan : EstatePlan
    out : Path
        Folder to appear; refused when it exists, unless `force`.
    pages : mapping, optional
        Further files: path inside `out` with forward slashes -> text (written as UTF-8) or bytes.
    language, units : str
        For the sentences in the files; figures are in SI, named in their columns.
    made : datetime, optional
        Time put into summary.json.
    force : bool
        Replace an earlier result of geoprune. A folder with anything else or anything changed in it is never touched.

    Returns
    -------
    Path
        `out`.

    Raises
    ------
    ValueError
        If there is no block.
    OutputError
        See `writing.folder.replace_folder`; also for a page whose path leaves the folder or
        names a file twice.
    """
    pages = dict(pages or {})
    if not plan.blocks:
        raise ValueError("a plan without a block cannot be written")
    check_pages(pages)

    def tell(message: Message) -> str:
        return clean(say(message, language, units))

    def fill(folder: Path) -> None:
        with told_as_output(folder, out):
            write_data(plan, folder, tell)
        for name, content in pages.items():
            write_page(folder / name, content)
        write_summary(build_summary(plan, say=tell, made=made), folder)

    return replace_folder(Path(out), fill, force=force)


@contextmanager
def told_as_output(folder: Path, out: Path) -> Iterator[None]:
    """Raise what the libraries raise on a full or failing disk as an `OutputError`."""
    try:
        yield
    except (DataSourceError, DataLayerError, sqlite3.Error, XlsxWriterException, RasterioError) as error:
        full = shutil.disk_usage(folder).free < NEARLY_FULL
        reason = "no space is left on the disk" if full else one_line(error)[:160]
        raise OutputError(f"{out}: cannot be written: {reason}") from error


def write_data(plan: EstatePlan, folder: Path, say: Say) -> None:
    """Write tables, layers, surfaces and waypoints."""
    tables = plan_tables(plan)
    prescription = prescription_table(plan)
    write_geopackage(tables, folder / "prescription.gpkg")
    write_csv(prescription, folder / "prescription.csv")
    write_workbook(tables, prescription, folder / "prescription.xlsx")
    folders = block_folders(block.name for block in plan.blocks)
    for block in plan.blocks:
        if block.surface_grid is not None:
            write_surface(block.surface_grid, plan.crs, folder / folders[block.name] / "vine_size.tif")
    write_places(tables, folder, say)


def write_places(tables: Mapping[str, pd.DataFrame], folder: Path, say: Say) -> None:
    """Write the posts to flag and the vines to weigh next as waypoints."""
    for layer, words in (("flags", flag_words), ("next_vines", next_vine_words)):
        places = waypoints(tables[layer], words, say)
        write_gpx(places, folder / f"{layer}.gpx")
        write_kml(places, folder / f"{layer}.kml")


def check_pages(pages: Mapping[str, Any]) -> None:
    """Refuse a page whose path would leave the folder."""
    for name in pages:
        path = PurePosixPath(name)
        if path.is_absolute() or ".." in path.parts or "\\" in name or ":" in name or not path.parts:
            raise OutputError(f"{name!r} is not a path inside the output folder")


def write_page(path: Path, content: str | bytes) -> None:
    """Write one page, never over another file."""
    path.parent.mkdir(parents=True, exist_ok=True)
    if path.exists():
        raise OutputError(f"{path.name}: written twice")
    path.write_bytes(content if isinstance(content, bytes) else content.encode("utf-8", errors="replace"))


def write_summary(summary: dict[str, Any], folder: Path) -> None:
    """Write summary.json last, with the list of all files and the digests by which they are known again."""
    digests = {p.relative_to(folder).as_posix(): digest(p) for p in sorted(folder.rglob("*")) if p.is_file()}
    listed = {**summary, "files": sorted({"summary.json", *digests}), "digests": digests}
    text = json.dumps(listed, indent=2, ensure_ascii=False, allow_nan=False)
    (folder / "summary.json").write_text(text + "\n", encoding="utf-8")
