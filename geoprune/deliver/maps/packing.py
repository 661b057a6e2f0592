"""Tables into few bytes: integers in columns, gzip, base64. The page's script unpacks them in the same order.

A vine's place follows from its row: per row a line that carries vine numbers, not a point per vine. Places are whole
1e-7 degrees (about 1 cm) from the bundle's origin, each as the step from the one before, which packs well.
"""

from __future__ import annotations

import base64
import gzip
import json
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from pyproj import CRS, Transformer

Ints = NDArray[np.int64]
DEGREES_PER_STEP = 1e-7
#: A vine may stand this far from where its row's line puts it.
VINE_TOLERANCE_M = 0.15


class Bundle:
    """Text and number columns that travel in a page together.

    Parameters
    ----------
    crs : CRS
        Of the geometry handed to `add_*`; metres.
    corner : tuple of float
        Easting and northing that become the origin of all places.
    """

    def __init__(self, crs: CRS, corner: tuple[float, float]) -> None:
        self._to_lonlat = Transformer.from_crs(crs, CRS.from_epsg(4326), always_xy=True)
        lon, lat = self._to_lonlat.transform(*corner)
        self.origin = np.rint(np.array([lon, lat]) / DEGREES_PER_STEP).astype(np.int64)
        self._columns: list[tuple[str, NDArray[Any]]] = []

    def lonlat(self, easting: Any, northing: Any) -> NDArray[np.float64]:
        """Return (n, 2) longitude and latitude in degrees; longitudes within 180 of the origin's, whatever the meridian."""
        lon, lat = self._to_lonlat.transform(np.asarray(easting), np.asarray(northing))
        turn = 360.0 * np.rint((lon - self.origin[0] * DEGREES_PER_STEP) / 360.0)
        return np.column_stack([lon - turn, lat])

    def steps(self, places: NDArray[np.float64]) -> Ints:
        """Return (n, 2) whole steps of 1e-7 degree from the origin, for (n, 2) easting and northing."""
        if not len(places):
            return np.zeros((0, 2), dtype=np.int64)
        lonlat = self.lonlat(places[:, 0], places[:, 1])
        return np.rint(lonlat / DEGREES_PER_STEP).astype(np.int64) - self.origin

    def add(self, name: str, values: Any, *, kind: str) -> None:
        """Add a column; `kind` is "u8", "u16", "u32" or "i32".

        Raises
        ------
        ValueError
            If a value does not fit.
        """
        wanted = np.dtype({"u8": "<u1", "u16": "<u2", "u32": "<u4", "i32": "<i4"}[kind])
        whole = np.asarray(values, dtype=np.int64).ravel()
        limits = np.iinfo(wanted)
        if len(whole) and (whole.min() < limits.min or whole.max() > limits.max):
            raise ValueError(f"column {name} does not fit {kind}: {whole.min()} to {whole.max()}")
        self._columns.append((name, whole.astype(wanted)))

    def add_places(self, name: str, places: NDArray[np.float64]) -> None:
        """Add (n, 2) easting and northing as steps, each from the one before."""
        steps = self.steps(np.asarray(places, dtype=float).reshape(-1, 2))
        self.add(name, np.diff(steps, axis=0, prepend=np.zeros((1, 2), np.int64)), kind="i32")

    def add_polygons(self, name: str, polygons: Any, *, tolerance_m: float = 0.05) -> None:
        """Add polygons: `<name>_owner` (which polygon a ring is of), `<name>_ends` (where it ends), places.

        Corners within `tolerance_m` of a straight side are left out.
        """
        flat = shapely.simplify(np.asarray(polygons, dtype=object), tolerance_m, preserve_topology=True)
        parts, part_owner = shapely.get_parts(flat, return_index=True)
        rings, ring_part = shapely.get_rings(parts, return_index=True)
        owner = part_owner[ring_part] if len(rings) else []
        self.add(f"{name}_owner", owner, kind="u16")
        self.add(f"{name}_ends", np.cumsum(shapely.get_num_coordinates(rings)), kind="u32")
        self.add_places(name, shapely.get_coordinates(rings))

    def add_rows(self, name: str, group: NDArray[Any], places: NDArray[np.float64]) -> None:
        """Add rows of vines: per row its knots, each a vine's index and place; vines between stand evenly.

        Parameters
        ----------
        group : ndarray of int, (n,)
            Row of each vine, non-decreasing from 0; the vines of a row in their order.
        places : ndarray, (n, 2)
            Easting and northing.
        """
        knots = row_knots(np.asarray(group), np.asarray(places, dtype=float))
        rows = int(group[-1]) + 1 if len(group) else 0
        self.add(f"{name}_counts", np.bincount(group, minlength=rows), kind="u16")
        self.add(f"{name}_ends", np.cumsum(np.bincount(group[knots], minlength=rows)), kind="u32")
        self.add(f"{name}_knots", np.diff(knots, prepend=0), kind="u16")
        self.add_places(name, places[knots])

    def payload(self, record: dict[str, Any]) -> str:
        """Return everything as base64 of gzip: length of the text, the text as JSON, the columns.

        Raises
        ------
        ValueError
            If `record` holds NaN or infinity; missing is None.
        """
        directory, place, chunks = [], 0, []
        for name, values in self._columns:
            data = values.tobytes()
            directory.append([name, f"{values.dtype.kind}{values.dtype.itemsize}", place, len(values)])
            padding = -len(data) % 4
            chunks.append(data + b"\0" * padding)
            place += len(data) + padding
        whole = {**record, "origin": self.origin.tolist(), "columns": directory}
        spoken = json.dumps(whole, allow_nan=False, ensure_ascii=False, separators=(",", ":"))
        text = spoken.encode("utf-8", errors="replace")
        text += b" " * (-len(text) % 4)
        raw = len(text).to_bytes(4, "little") + text + b"".join(chunks)
        return base64.b64encode(gzip.compress(raw, compresslevel=9, mtime=0)).decode("ascii")


def row_knots(group: Ints, places: NDArray[np.float64], *, tolerance_m: float = VINE_TOLERANCE_M) -> Ints:
    """Return the vines that must be given so that even spacing between them puts every vine within `tolerance_m`.

    Parameters
    ----------
    group : ndarray of int, (n,)
        Row of each vine, non-decreasing.
    places : ndarray, (n, 2)
        Easting and northing, m.

    Returns
    -------
    ndarray of int
        Positions into `places`, increasing; the first and last vine of each row are among them. The farthest vine
        from the line is added until none is too far (Ramer 1972, Douglas & Peucker 1973, with the vine's number as
        parameter instead of the distance to the line).
    """
    if not len(group):
        return np.zeros(0, dtype=np.int64)
    first = np.flatnonzero(np.diff(group, prepend=group[0] - 1))
    last = np.append(first[1:] - 1, len(group) - 1)
    known = np.unique(np.concatenate([first, last]))
    while True:
        off = _offsets(known, places)
        span = np.searchsorted(known, np.arange(len(places)), side="right") - 1
        order = np.lexsort((off, span))
        farthest = order[np.flatnonzero(np.diff(span[order], append=-1))]
        new = farthest[off[farthest] > tolerance_m]
        if not len(new):
            return known
        known = np.unique(np.concatenate([known, new]))


def _offsets(known: Ints, places: NDArray[np.float64]) -> NDArray[np.float64]:
    """Distance of each vine from where even spacing between its neighbouring knots puts it."""
    at = np.arange(len(places))
    laid = np.column_stack([np.interp(at, known, places[known, axis]) for axis in (0, 1)])
    return np.hypot(*(laid - places).T)


def scale_bytes(values: Any) -> tuple[NDArray[np.uint8], float, float]:
    """Return values as bytes 1..255 between their least and greatest (0 = missing), and those two.

    Returns
    -------
    tuple
        Bytes, least, greatest; both 0.0 where nothing is known.
    """
    array = np.asarray(values, dtype=float)
    known = np.isfinite(array)
    if not known.any():
        return np.zeros(array.shape, dtype=np.uint8), 0.0, 0.0
    low, high = float(array[known].min()), float(array[known].max())
    share = (np.where(known, array, low) - low) / (high - low) if high > low else np.zeros(array.shape)
    return np.where(known, 1 + np.rint(254 * share), 0).astype(np.uint8), low, high
