"""Read and check a vineyard with its weighed vines, and report every problem of both files at once."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import geopandas as gpd
from pyproj import CRS

from geoprune.layers import Vineyard
from geoprune.reading.agreement import check_agreement
from geoprune.reading.blocks import check_blocks
from geoprune.reading.columns import RawTable
from geoprune.reading.declared import NOTHING, Declared, as_declared
from geoprune.reading.faults import Faults
from geoprune.reading.parts import check_bud_checks, check_rows, check_vines, read_bud_check_file, rows_as_drawn
from geoprune.reading.samples import check_samples, parse_crs, read_sample_file
from geoprune.reading.shares import joined, share_by_place
from geoprune.reading.vector_files import read_layers
from geoprune.rules import Training
from geoprune.sources import sources_noted

#: Columns that the checks look at where there are no samples.
NO_SAMPLES = ("block", "row", "vine", "vine_weight_kg", "source_place")
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
        GeoPackage, GeoJSON, zipped Shapefile or KML (docs/conventions.md).
    samples : str or Path, optional
        Weighed vines: CSV, XLSX or a file with a layer `samples`; the vineyard file's own layer if not given.
    bud_checks : str or Path, optional
        Buds cut open and counted: CSV or XLSX with lon and lat; the vineyard file's own layer if not given.
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
    found = read_layers(path, faults, layers)
    file = None if samples is None else Path(samples)
    raw_samples = None
    if need_samples:
        raw_samples = found.get("samples") if file is None else read_sample_file(file, faults, declared)
    if bud_checks is not None:
        found = {name: raw for name, raw in found.items() if name != "bud_checks"}
        checks = read_bud_check_file(Path(bud_checks), faults)
        found |= {} if checks is None else {"bud_checks": checks}
    found = {name: as_declared(raw, declared, faults) for name, raw in found.items() if name != "samples"}
    raw_samples = None if raw_samples is None else as_declared(raw_samples, declared, faults)
    if crs is not None and parse_crs(crs, faults) is None:
        crs = None
    tables, wanted_crs = _blocks(found, path, faults, trainings)
    if need_samples and file is None and found and raw_samples is None:
        faults.at(path.name, "samples").add("there are no samples", "Give --samples or a layer samples in the file")
    raws = found if raw_samples is None else found | {"samples": raw_samples}
    shares = share_by_place(raws, tables, crs)
    parts = [
        _part(share, blocks, faults, path.name, crs, alone=len(tables) == 1, need_samples=need_samples)
        for share, blocks in zip(shares, tables, strict=True)
    ]
    whole = parts[0] if len(parts) == 1 else joined(parts, tables[0]["block"])
    faults.problems[:] = dict.fromkeys(faults.problems)  # what is wrong with a whole column is reported once
    if book is None:
        faults.problems.stop()
    return replace(whole, remarks=tuple(faults.remarks), layers_crs=wanted_crs)


def _part(
    raws: Mapping[str, RawTable],
    blocks: gpd.GeoDataFrame,
    faults: Faults,
    file: str,
    crs: str | None,
    *,
    alone: bool,
    need_samples: bool,
) -> Vineyard:
    """The layers beside the blocks of one projection, checked, and held against each other."""
    parts = {name: check(raws[name], blocks, faults) for name, check in PARTS.items() if name in raws}
    raw_samples = raws.get("samples")
    weighed = None if raw_samples is None else check_samples(raw_samples, blocks, faults, crs=crs)
    empty = gpd.GeoDataFrame({name: [] for name in NO_SAMPLES}, geometry=[], crs=blocks.crs)
    vineyard = Vineyard(
        blocks=blocks if alone else blocks[blocks.geometry.notna()].reset_index(drop=True),
        rows=parts.get("rows"),
        vines=None if "vines" not in parts else rows_as_drawn(parts["vines"], parts.get("rows")),
        samples=empty if weighed is None else rows_as_drawn(weighed, parts.get("rows")),
        bud_checks=parts.get("bud_checks"),
        crs=blocks.crs,
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
    found: dict[str, RawTable], path: Path, faults: Faults, trainings: Mapping[str, Training] | None
) -> tuple[list[gpd.GeoDataFrame], CRS | None]:
    if "blocks" in found:
        return check_blocks(found["blocks"], faults, trainings)
    if found:
        faults.at(path.name, "blocks").add("the layer is missing", f"Name a layer blocks (found: {', '.join(found)})")
    return [gpd.GeoDataFrame({"block": []}, geometry=[])], None
