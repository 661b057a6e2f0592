"""What the page is given is what the plan holds: places to a centimetre, vines where they stand."""

from __future__ import annotations

import base64
import gzip
import json

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from pyproj import CRS, Geod

from geoprune.deliver.maps.packing import Bundle, row_knots, scale_bytes

UTM = CRS.from_epsg(32610)
CORNER = (560_000.0, 4_255_000.0)


def unpack(payload: str) -> tuple[dict, dict]:
    """Read the packed data as its description says, without the page's script."""
    raw = gzip.decompress(base64.b64decode(payload))
    length = int.from_bytes(raw[:4], "little")
    said = json.loads(raw[4 : 4 + length])
    kinds = {"u1": "<u1", "u2": "<u2", "u4": "<u4", "i4": "<i4"}
    columns = {
        name: np.frombuffer(raw, dtype=kinds[kind], count=count, offset=4 + length + place)
        for name, kind, place, count in said["columns"]
    }
    return said, columns


def lonlat(said: dict, steps: np.ndarray) -> np.ndarray:
    return (np.array(said["origin"]) + np.cumsum(steps.reshape(-1, 2), axis=0)) * 1e-7


def test_places_come_back_within_a_centimetre() -> None:
    # The check is pyproj's own geodesic distance, not our arithmetic.
    rng = np.random.default_rng(3)
    places = np.array(CORNER) + rng.uniform(0, 2000, (500, 2))
    bundle = Bundle(UTM, CORNER)
    bundle.add_places("spots", places)
    said, columns = unpack(bundle.payload({}))
    got = lonlat(said, columns["spots"])
    want = bundle.lonlat(*places.T)
    off = Geod(ellps="WGS84").inv(*got.T, *want.T)[2]
    assert np.max(off) < 0.01


def test_straight_rows_are_two_knots_each() -> None:
    group = np.repeat(np.arange(50), 200)
    along = np.tile(np.arange(200) * 1.8, 50)
    places = np.column_stack([group * 2.7, along])
    assert len(row_knots(group, places)) == 100


@given(st.integers(0, 2**32 - 1), st.integers(1, 6), st.integers(1, 60))
@settings(max_examples=60, deadline=None)
def test_vines_between_knots_stand_where_they_should(seed: int, rows: int, vines: int) -> None:
    rng = np.random.default_rng(seed)
    group = np.repeat(np.arange(rows), vines)
    steps = rng.uniform(0.5, 3.0, (rows * vines, 2)) * rng.choice([1, 1, 1, 6], (rows * vines, 1))
    places = np.cumsum(steps, axis=0)
    knots = row_knots(group, places, tolerance_m=0.15)
    at = np.arange(len(places))
    laid = np.column_stack([np.interp(at, knots, places[knots, axis]) for axis in (0, 1)])
    assert np.hypot(*(laid - places).T).max() <= 0.15 + 1e-9
    assert set(np.flatnonzero(np.diff(group, prepend=-1))) <= set(knots)


def test_polygons_keep_holes_and_owners() -> None:
    ring = shapely.box(0, 0, 30, 30) - shapely.box(10, 10, 20, 20)
    moved = shapely.transform(shapely.MultiPolygon([ring]), lambda xy: xy + np.array(CORNER))
    other = shapely.transform(shapely.box(50, 0, 60, 9), lambda xy: xy + np.array(CORNER))
    bundle = Bundle(UTM, CORNER)
    bundle.add_polygons("zones", [moved, other])
    _, columns = unpack(bundle.payload({}))
    assert columns["zones_owner"].tolist() == [0, 0, 1]
    assert columns["zones_ends"].tolist() == [5, 10, 15]


def test_bytes_of_a_surface_keep_order_and_gaps() -> None:
    values, low, high = scale_bytes(np.array([np.nan, 0.2, 0.7, 1.2]))
    assert values.tolist() == [0, 1, 128, 255]
    assert (low, high) == (0.2, 1.2)
    assert scale_bytes(np.full(3, np.nan))[0].tolist() == [0, 0, 0]
    assert scale_bytes(np.full(2, 0.5))[0].tolist() == [1, 1]


def test_a_value_that_does_not_fit_is_refused() -> None:
    with pytest.raises(ValueError, match="column zone does not fit u8: 1 to 300"):
        Bundle(UTM, CORNER).add("zone", [1, 300], kind="u8")


def test_missing_numbers_never_become_invalid_json() -> None:
    with pytest.raises(ValueError, match="JSON"):
        Bundle(UTM, CORNER).payload({"size": float("nan")})
