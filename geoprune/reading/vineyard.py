"""Read and check a vineyard with its weighed vines, and tell every problem of both files at once."""

from __future__ import annotations

import hashlib
from pathlib import Path

import geopandas as gpd

from geoprune.layers import Source, Vineyard
from geoprune.reading.agreement import check_agreement
from geoprune.reading.blocks import check_blocks
from geoprune.reading.columns import RawTable
from geoprune.reading.faults import Faults
from geoprune.reading.parts import check_bud_checks, check_rows, check_vines, rows_as_drawn
from geoprune.reading.samples import check_samples, parse_crs, read_sample_file
from geoprune.reading.vector_files import read_layers

PARTS = {"rows": check_rows, "vines": check_vines, "bud_checks": check_bud_checks}


def read_vineyard(
    path: str | Path,
    *,
    samples: str | Path | None = None,
    crs: str | None = None,
    faults: Faults | None = None,
) -> Vineyard:
    """Read and check a vineyard file and its samples.

    Parameters
    ----------
    path : str or Path
        GeoPackage, GeoJSON, zipped Shapefile or KML (docs/conventions.md).
    samples : str or Path, optional
        Weighed vines: CSV, XLSX or a file with a layer `samples`; the vineyard file's own layer if not given.
    crs : str, optional
        CRS of `easting` and `northing` in the samples, such as "EPSG:32617".
    faults : Faults, optional
        A book for the problems, to tell them together with those of other files; nothing is raised then.

    Returns
    -------
    Vineyard
        Everything in SI and in one projected metre CRS; with problems in the book, what could be read.

    Raises
    ------
    DataError
        With every problem found in both files: file, layer, row, what is wrong, how to mend it.
    """
    path = Path(path)
    book, faults = faults, Faults(path.name) if faults is None else faults.at(path.name)
    layers = read_layers(path, faults)
    file = None if samples is None else Path(samples)
    raw_samples = layers.get("samples") if file is None else read_sample_file(file, faults)
    if crs is not None and parse_crs(crs, faults) is None:
        crs = None
    blocks = _blocks(layers, path, faults)
    parts = {name: check(layers[name], blocks, faults) for name, check in PARTS.items() if name in layers}
    weighed = None if raw_samples is None else check_samples(raw_samples, blocks, faults, crs=crs)
    if file is None and layers and raw_samples is None:
        faults.at(path.name, "samples").add("there are no samples", "Give --samples or a layer samples in the file")
    empty = gpd.GeoDataFrame({"block": []}, geometry=[], crs=blocks.crs)
    vineyard = Vineyard(
        blocks=blocks,
        rows=parts.get("rows"),
        vines=None if "vines" not in parts else rows_as_drawn(parts["vines"], parts.get("rows")),
        samples=empty if weighed is None else rows_as_drawn(weighed, parts.get("rows")),
        bud_checks=parts.get("bud_checks"),
        crs=blocks.crs,
    )
    if weighed is not None and raw_samples is not None and blocks.crs is not None:
        check_agreement(vineyard, faults, file=path.name, samples_file=raw_samples.file)
    if book is None:
        faults.problems.stop()
    sources = tuple(_source(given) for given in (path, file) if given is not None and given.exists())
    return Vineyard(**{**vars(vineyard), "sources": sources, "remarks": tuple(faults.remarks)})


def _blocks(layers: dict[str, RawTable], path: Path, faults: Faults) -> gpd.GeoDataFrame:
    if "blocks" in layers:
        return check_blocks(layers["blocks"], faults)
    if layers:
        faults.at(path.name, "blocks").add("the layer is missing", f"Name a layer blocks (found: {', '.join(layers)})")
    return gpd.GeoDataFrame({"block": []}, geometry=[])


def _source(path: Path) -> Source:
    return Source(path.name, hashlib.sha256(path.read_bytes()).hexdigest())
