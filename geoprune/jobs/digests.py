"""A digest of what a block is planned from: the same tables, settings and options give the same digest in any run."""

from __future__ import annotations

import dataclasses
import hashlib
from collections.abc import Callable, Mapping
from datetime import date
from enum import Enum
from pathlib import PurePath
from typing import Any

import numpy as np
import pandas as pd
import shapely
from pyproj import CRS

Feed = Callable[[bytes], Any]
PLAIN = (str, bytes, int, float, complex, bool, type(None), date, PurePath, Enum, np.generic)


def digest_of(*values: Any) -> str:
    """Return the SHA-256 of values: numbers, texts, tables, arrays, shapes and what is composed of them.

    Raises
    ------
    TypeError
        If a value is of another kind: nothing is taken for equal that is not known to be.

    Examples
    --------
    >>> digest_of({"a": 1.0}) == digest_of({"a": 1.0}), digest_of(1) == digest_of(1.0)
    (True, False)
    """
    found = hashlib.sha256()
    _feed(values, found.update)
    return found.hexdigest()


def _feed(value: Any, feed: Feed) -> None:
    feed(f"<{type(value).__module__}.{type(value).__qualname__}>".encode())
    if isinstance(value, PLAIN) or value is pd.NA or value is pd.NaT:
        feed(repr(value).encode("utf-8", "surrogatepass"))
    elif isinstance(value, pd.DataFrame | pd.Series):
        _feed_table(value, feed)
    elif isinstance(value, np.ndarray):
        _feed_array(value, feed)
    elif isinstance(value, shapely.Geometry):
        feed(shapely.to_wkb(value))
    elif isinstance(value, CRS):
        feed(value.to_wkt().encode())
    elif isinstance(value, Mapping):
        _feed_all([part for item in value.items() for part in item], feed)
    elif dataclasses.is_dataclass(value) and not isinstance(value, type):
        _feed_all([getattr(value, field.name) for field in dataclasses.fields(value)], feed)
    elif isinstance(value, tuple | list):
        _feed_all(list(value), feed)
    elif isinstance(value, set | frozenset):
        _feed_all(sorted(value, key=repr), feed)
    else:
        raise TypeError(f"no digest of {type(value).__name__}")


def _feed_all(parts: list[Any], feed: Feed) -> None:
    feed(f"{len(parts)}:".encode())
    for part in parts:
        _feed(part, feed)
        feed(b";")


def _feed_table(table: pd.DataFrame | pd.Series, feed: Feed) -> None:
    columns = table.to_frame("") if isinstance(table, pd.Series) else table
    _feed_all([*map(str, columns.columns), np.asarray(columns.index)], feed)
    for place in range(columns.shape[1]):
        values = columns.iloc[:, place]
        feed(str(values.dtype).encode())
        crs = getattr(values, "crs", None)
        _feed(None if crs is None else crs.to_wkt(), feed)
        _feed_array(np.asarray(values, dtype=None if values.dtype.kind in "iufbM" else object), feed)


def _feed_array(array: np.ndarray, feed: Feed) -> None:
    feed(f"{array.dtype.str}{array.shape}".encode())
    if array.dtype != object:
        feed(np.ascontiguousarray(array).tobytes())
    elif array.size and shapely.is_geometry(array).all():
        _feed_all(shapely.to_wkb(array.ravel()).tolist(), feed)
    elif all(type(value) is str for value in array.flat):
        feed(repr(array.ravel().tolist()).encode("utf-8", "surrogatepass"))
    else:
        _feed_all(array.ravel().tolist(), feed)
