"""Read and check a vineyard with its weighed vines, and report every problem of both files at once."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import geopandas as gpd
from pyproj import CRS

from geoprune.layers import Vineyard
from geoprune.reading.agreement import check_agreement
from geoprune.reading.blocks import check_blocks
from geoprune.reading.columns import RawTable, clean_name, name_text
from geoprune.reading.declared import NOTHING, Declared, as_declared
from geoprune.reading.faults import Faults
from geoprune.reading.parts import check_bud_checks, check_rows, check_vines, read_bud_check_file, rows_as_drawn
from geoprune.reading.places import LONLAT
from geoprune.reading.samples import check_samples, parse_crs, read_sample_file
from geoprune.reading.shares import joined, share_by_place, with_block_or_place
from geoprune.reading.vector_files import read_layers
from geoprune.rules import Training
from geoprune.sources import sources_noted

#: Columns that the checks look at where there are no samples.
NO_SAMPLES = ("block", "row", "vine", "vine_weight_kg", "source_place")
#: Endings of the files of a folder that are vineyard files. Others (tables, settings, rasters) may lie there too.
FOLDER_ENDINGS = (".gpkg", ".geojson", ".zip", ".kml", ".kmz", ".fgb", ".parquet", ".geoparquet")
PARTS = {"rows": check_rows, "vines": check_vines, "bud_checks": check_bud_checks}


def read_vineyard(
    path: str | Path,
    *,
    samples: str | Path | None = None,
    bud_checks: str | Path | None = None,
    crs: str | None = None,
    faults: Faults | None = None,
    columns: Mapping[str, Mapping[str, str]] = NOTHING,
    values: Mapping[str, Mapping[str, Any]] = NOTHING,
    block_values: Mapping[str, Mapping[str, Any]] = NOTHING,
    decimal_mark: str | None = None,
    sheet: str | None = None,
    header_row: int | Sequence[int] | None = None,
    layers: Mapping[str, str] = NOTHING,
    trainings: Mapping[str, Training] | None = None,
    need_samples: bool = True,
) -> Vineyard:
    """Read and check a vineyard file and its samples.

    Parameters
    ----------
    path : str or Path
        GeoPackage, GeoJSON, zipped Shapefile or KML (docs/conventions.md), or a folder of such files.
    samples : str or Path, optional
        Weighed vines: CSV, XLSX or a file with a layer `samples`; the vineyard file's own layer if not given.
    bud_checks : str or Path, optional
        Buds cut open and counted: CSV or XLSX with lon and lat, or points; the vineyard file's own layer if not given.
    crs : str, optional
        CRS of `easting` and `northing` in the samples, such as "EPSG:32617".
    faults : Faults, optional
        A book for the problems, to report them together with those of other files; nothing is raised then.
    columns : mapping, optional
        Layer -> wanted name, with its unit -> name in the file: ``{"samples": {"pruning_weight_g": "peso de poda"}}``.
    values : mapping, optional
        Column -> word in the files -> word of geoprune: ``{"training": {"royat": "low cordon"}}``. The word "otherwise"
        fills in what the layer of blocks does not give: ``{"rule": {"otherwise": "20+20"}}``.
    block_values : mapping, optional
        Block -> column of the layer of blocks -> value; it wins over the file.
    decimal_mark : {",", "."}, optional
        Of every number written as text; found from each file if not given.
    sheet : str, optional
        Sheet of the workbook of samples.
    header_row : int or sequence of int, optional
        Lines of the table of samples that name its columns, counted from 1.
    layers : mapping, optional
        Layer -> what it is called in the vineyard file.
    trainings : mapping, optional
        The trainings there are, as `rules.load_trainings` gives them.
    need_samples : bool
        False where vines are yet to be weighed, or weights are looked at apart: no samples are read, also not those of
        the vineyard file.

    Returns
    -------
    Vineyard
        Everything in SI, on a grid true to length (see `Vineyard`); with problems in the book, what could be read.

    Raises
    ------
    DataError
        With every problem found in both files: file, layer, row, what is wrong, how to mend it.
    """
    declared = Declared(columns, values, block_values, decimal_mark or "", sheet or "", _lines(header_row))
    with sources_noted() as sources:
        read = _read(Path(path), samples, bud_checks, crs, faults, declared, layers, trainings, need_samples)
    return replace(read, sources=tuple(sources))


def _read(
    path: Path,
    samples: str | Path | None,
    bud_checks: str | Path | None,
    crs: str | None,
    faults: Faults | None,
    declared: Declared,
    layers: Mapping[str, str],
    trainings: Mapping[str, Training] | None,
    need_samples: bool,
) -> Vineyard:
    book, faults = faults, Faults(path.name) if faults is None else faults.at(path.name)
    apart = [Path(file) for file in (samples, bud_checks) if file is not None]
    files = vineyard_files(path, faults, apart=apart) if path.is_dir() else [path]
    layers_of = {file: read_layers(file, faults.at(file.name), layers) for file in files}
    beside = _tables_beside(samples if need_samples else None, bud_checks, faults, declared)
    unread = {*beside, *(() if need_samples and samples is None else ("samples",))}
    if bud_checks is not None:
        unread.add("bud_checks")
    declared_for = _declared_for(layers_of, declared)
    found = {
        file: {name: as_declared(raw, declared_for[file], faults) for name, raw in raws.items() if name not in unread}
        for file, raws in layers_of.items()
    }
    if crs is not None and parse_crs(crs, faults) is None:
        crs = None
    sheets = [Sheet(file.name, raws, *_blocks(raws, file, faults, trainings)) for file, raws in found.items()]
    if need_samples and samples is None and any(found.values()) and not any("samples" in raws for raws in found.values()):
        faults.at(path.name, "samples").add("there are no samples", "Give --samples or a layer samples in the file")
    parts = [
        _part(*one, faults, crs, alone=len(sheets) == 1 == len(sheets[0].tables), need_samples=need_samples)
        for one in _shared(sheets, beside, faults, crs)
    ]
    names = [name for sheet in sheets for name in sheet.tables[0]["block"]]
    if not parts:
        whole = Vineyard(gpd.GeoDataFrame({"block": []}, geometry=[]), None, None, _no_samples(None), None, CRS(LONLAT))
    else:
        whole = parts[0] if len(parts) == 1 else joined(parts, names)
    faults.problems[:] = dict.fromkeys(faults.problems)  # what is wrong with a whole column is reported once
    if book is None:
        faults.problems.stop()
    wanted = {sheet.layers_crs for sheet in sheets}
    return replace(whole, remarks=tuple(faults.remarks), layers_crs=wanted.pop() if len(wanted) == 1 else CRS(LONLAT))


@dataclass(frozen=True)
class Sheet:
    """What was read of one vineyard file: its layers, its blocks in each projection, and the CRS people get layers in."""

    file: str
    raws: Mapping[str, RawTable]
    tables: list[gpd.GeoDataFrame]
    layers_crs: CRS | None


def vineyard_files(folder: Path, faults: Faults, *, apart: Sequence[Path] = ()) -> list[Path]:
    """Return the vineyard files of a folder by name, without those named `apart`; a problem is noted where there is none."""
    left_out = {file.resolve() for file in apart}
    files = [
        file
        for file in sorted(folder.iterdir())
        if file.suffix.lower() in FOLDER_ENDINGS and not file.name.startswith(".") and file.resolve() not in left_out
    ]
    if not files:
        faults.add("there is no vineyard file in the folder", f"Put files ending in {', '.join(FOLDER_ENDINGS)} there")
    return files


def _declared_for(layers_of: Mapping[Path, Mapping[str, RawTable]], declared: Declared) -> dict[Path, Declared]:
    """What is declared, by file: that of single blocks goes to the file that has the block, of no block to the first."""
    if len(layers_of) < 2 or not declared.blocks:
        return dict.fromkeys(layers_of, declared)
    column = clean_name(declared.columns.get("blocks", NOTHING).get("block", "block"))
    homes: dict[str, Path] = {}
    for file, raws in layers_of.items():
        named = raws["blocks"].table.get(column, ()) if "blocks" in raws else ()
        homes |= {name_text(name).casefold(): file for name in named}
    own: dict[Path, dict[str, Mapping[str, Any]]] = {file: {} for file in layers_of}
    for block, values in declared.blocks.items():
        own[homes.get(block.strip().casefold(), next(iter(layers_of)))][block] = values
    return {file: replace(declared, blocks=blocks) for file, blocks in own.items()}


def _tables_beside(
    samples: str | Path | None, bud_checks: str | Path | None, faults: Faults, declared: Declared
) -> dict[str, RawTable]:
    """The tables that are given beside the vineyard, for all its files."""
    read: dict[str, RawTable | None] = {}
    if samples is not None:
        raw = read_sample_file(Path(samples), faults, declared)
        read["samples"] = None if raw is None else as_declared(raw, declared, faults)
    if bud_checks is not None:
        read["bud_checks"] = read_bud_check_file(Path(bud_checks), faults, declared)
    return {name: raw for name, raw in read.items() if raw is not None}


def _shared(
    sheets: Sequence[Sheet], beside: Mapping[str, RawTable], faults: Faults, crs: str | None
) -> list[tuple[dict[str, RawTable], gpd.GeoDataFrame, str]]:
    """Layers, blocks and file of each projection of each file.

    Lines of a table beside several files go where their block is.
    """
    tables = [(table, sheet.file) for sheet in sheets for table in sheet.tables]
    if len(sheets) == 1:
        shares = share_by_place({**sheets[0].raws, **beside}, sheets[0].tables, crs)
        return [(share, *tables_of) for share, tables_of in zip(shares, tables, strict=True)]
    _check_names(sheets, faults)
    shares = [share for sheet in sheets for share in share_by_place(sheet.raws, sheet.tables, crs)]
    for name, raw in beside.items():
        placed = with_block_or_place(raw, faults) if len(tables) > 1 else raw
        for share, more in zip(shares, share_by_place({name: placed}, [table for table, _ in tables], crs), strict=True):
            share |= more
    return [(share, *tables_of) for share, tables_of in zip(shares, tables, strict=True)]


def _check_names(sheets: Sequence[Sheet], faults: Faults) -> None:
    """Note blocks of one name in several files."""
    homes: dict[str, str] = {}
    for sheet in sheets:
        for name in filter(None, sheet.tables[0]["block"]):
            other = homes.setdefault(name, sheet.file)
            if other != sheet.file:
                faults.at(sheet.file, "blocks").add(f"block '{name}' stands in {other} too", "Give each block its own name")


def _no_samples(crs: CRS | None) -> gpd.GeoDataFrame:
    return gpd.GeoDataFrame({name: [] for name in NO_SAMPLES}, geometry=[], crs=crs)


def _part(
    raws: Mapping[str, RawTable],
    blocks: gpd.GeoDataFrame,
    file: str,
    faults: Faults,
    crs: str | None,
    *,
    alone: bool,
    need_samples: bool,
) -> Vineyard:
    """The layers beside the blocks of one projection, checked, and held against each other."""
    faults = faults.at(file)
    parts = {name: check(raws[name], blocks, faults) for name, check in PARTS.items() if name in raws}
    raw_samples = raws.get("samples")
    weighed = None if raw_samples is None else check_samples(raw_samples, blocks, faults, crs=crs)
    vineyard = Vineyard(
        blocks=blocks if alone else blocks[blocks.geometry.notna()].reset_index(drop=True),
        rows=parts.get("rows"),
        vines=None if "vines" not in parts else rows_as_drawn(parts["vines"], parts.get("rows")),
        samples=_no_samples(blocks.crs) if weighed is None else rows_as_drawn(weighed, parts.get("rows")),
        bud_checks=parts.get("bud_checks"),
        crs=blocks.crs,
        file=file,
    )
    if (weighed is not None or not need_samples) and blocks.crs is not None:
        check_agreement(vineyard, faults, file=file, samples_file=raw_samples.file if raw_samples else "")
    elif not alone:
        for name in vineyard.blocks["block"]:
            faults.remark("dropped", "block_without_samples", block=name)
    return vineyard


def _lines(header_row: int | Sequence[int] | None) -> tuple[int, ...]:
    if header_row is None:
        return ()
    return (header_row,) if isinstance(header_row, int) else tuple(header_row)


def _blocks(
    found: Mapping[str, RawTable], path: Path, faults: Faults, trainings: Mapping[str, Training] | None
) -> tuple[list[gpd.GeoDataFrame], CRS | None]:
    if "blocks" in found:
        return check_blocks(found["blocks"], faults, trainings)
    if found:
        faults.at(path.name, "blocks").add("the layer is missing", f"Name a layer blocks (found: {', '.join(found)})")
    return [gpd.GeoDataFrame({"block": []}, geometry=[])], None
