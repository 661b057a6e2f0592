"""The vine-size surface as Cloud-Optimized GeoTIFFs of one band each, so that a GIS draws it as a map, and their styles."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any
from xml.etree import ElementTree as ET

import numpy as np
import rasterio
import rasterio.shutil
from affine import Affine
from numpy.typing import NDArray
from pyproj import CRS
from rasterio.io import MemoryFile

from geoprune.deliver.writing.styles import value_range
from geoprune.drivers import RASTER_OPTIONS
from geoprune.look import SIZE_RAMP

#: Name of a file, without its ending -> its grid and what its band holds.
FILES = {
    "vine_size": ("vine_size_kg", "vine size, kg per vine"),
    "vine_size_error": ("vine_size_se_kg", "standard error of vine size, kg per vine"),
}


def surface_files(grid: Mapping[str, Any], crs: CRS) -> dict[str, bytes]:
    """Return a block's surface as files: name -> content; beside each raster a style that the desktop GIS takes with it.

    Parameters
    ----------
    grid : dict
        "transform" (affine six: a, b, c, d, e, f), "vine_size_kg" and "vine_size_se_kg" (H, W), NaN outside.
    crs : CRS
        CRS of the grid, metres.
    """
    files = {}
    for name, (held, meaning) in FILES.items():
        values = np.asarray(grid[held], dtype="float32")
        files[f"{name}.tif"] = _raster(values, Affine(*list(grid["transform"])[:6]), crs, meaning)
        files[f"{name}.qml"] = raster_style(values).encode("utf-8")
    return files


def raster_style(values: NDArray[np.float32]) -> str:
    """Return the style of a raster: the colours of vine sizes from its smallest to its largest value."""
    low, high = value_range(values)
    root = ET.Element("qgis", {"version": "3.22.0", "styleCategories": "Symbology"})
    drawn = ET.SubElement(
        ET.SubElement(root, "pipe"),
        "rasterrenderer",
        {
            "type": "singlebandpseudocolor",
            "band": "1",
            "opacity": "1",
            "classificationMin": f"{low:.6g}",
            "classificationMax": f"{high:.6g}",
        },
    )
    shader = ET.SubElement(
        ET.SubElement(drawn, "rastershader"),
        "colorrampshader",
        {
            "colorRampType": "INTERPOLATED",
            "classificationMode": "1",
            "clip": "0",
            "minimumValue": f"{low:.6g}",
            "maximumValue": f"{high:.6g}",
        },
    )
    for value, colour in zip(np.linspace(low, high, len(SIZE_RAMP)), SIZE_RAMP, strict=True):
        entry = {"value": f"{value:.6g}", "color": colour, "alpha": "255", "label": f"{value:.2f} kg"}
        ET.SubElement(shader, "item", entry)
    return "<!DOCTYPE qgis PUBLIC 'http://mrcc.com/qgis.dtd' 'SYSTEM'>\n" + ET.tostring(root, encoding="unicode")


def _raster(values: NDArray[np.float32], transform: Affine, crs: CRS, meaning: str) -> bytes:
    """One band as the bytes of a file."""
    height, width = values.shape
    profile = {
        "driver": "GTiff",
        "dtype": "float32",
        "count": 1,
        "height": height,
        "width": width,
        "crs": rasterio.crs.CRS.from_wkt(crs.to_wkt()),
        "transform": transform,
        "nodata": float("nan"),
    }
    packing = {"driver": "COG", "compress": "DEFLATE", "predictor": "FLOATING_POINT", "overviews": "AUTO"}
    with rasterio.Env(**RASTER_OPTIONS), MemoryFile() as memory, MemoryFile(ext=".tif") as packed:
        with memory.open(**profile) as target:
            target.write(values, 1)
            target.set_band_description(1, meaning)
            target.units = ("kg",)
        with memory.open() as source:
            rasterio.shutil.copy(source, packed.name, **packing)
        return bytes(packed.read())
