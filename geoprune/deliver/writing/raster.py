"""The vine-size surface as a Cloud-Optimized GeoTIFF: band 1 size, band 2 its standard error."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import rasterio
import rasterio.shutil
from affine import Affine
from pyproj import CRS
from rasterio.io import MemoryFile

BANDS = ("vine_size_kg", "vine_size_se_kg")
MEANINGS = ("vine size, kg per vine", "standard error of vine size, kg per vine")


def surface_bytes(grid: Mapping[str, Any], crs: CRS) -> bytes:
    """Return a block's surface grid as the bytes of a file.

    Parameters
    ----------
    grid : dict
        "transform" (affine six: a, b, c, d, e, f), "vine_size_kg" and "vine_size_se_kg" (H, W), NaN outside.
    crs : CRS
        CRS of the grid, metres.
    """
    bands = [np.asarray(grid[name], dtype="float32") for name in BANDS]
    height, width = bands[0].shape
    profile = {
        "driver": "GTiff",
        "dtype": "float32",
        "count": len(bands),
        "height": height,
        "width": width,
        "crs": rasterio.crs.CRS.from_wkt(crs.to_wkt()),
        "transform": Affine(*list(grid["transform"])[:6]),
        "nodata": float("nan"),
    }
    packing = {"driver": "COG", "compress": "DEFLATE", "predictor": "FLOATING_POINT", "overviews": "AUTO"}
    with MemoryFile() as memory, MemoryFile(ext=".tif") as packed:
        with memory.open(**profile) as target:
            for index, band in enumerate(bands, start=1):
                target.write(band, index)
                target.set_band_description(index, MEANINGS[index - 1])
            target.units = ("kg",) * len(bands)
        with memory.open() as source:
            rasterio.shutil.copy(source, packed.name, **packing)
        return bytes(packed.read())
