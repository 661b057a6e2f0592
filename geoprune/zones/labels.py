"""Zones given by others: a panels layer edited by hand, or any layer of polygons."""

from __future__ import annotations

from dataclasses import dataclass, replace

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from geoprune.errors import DataError, Message, Problem
from geoprune.trellis import Trellis
from geoprune.zones.options import Labels

MOST_LABELS = 9
NAMES_OF_ZONES = ("zone", "class", "name", "label")
#: Share of panels outside all polygons beyond which the layer is not this block's.
MOST_OUTSIDE = 0.5
#: Share of a panel's length that is not worth a word.
SLIVER = 0.01


@dataclass(frozen=True)
class GivenLabels:
    """Labels of panels found in a layer.

    panel_zone : (P,) 1..k, in the order of `names`
    names : (k,) what each label is called in the layer
    messages : what was assumed
    """

    panel_zone: Labels
    names: tuple[str, ...]
    messages: tuple[Message, ...] = ()


def labels_from_layer(
    trellis: Trellis,
    layer: gpd.GeoDataFrame,
    *,
    column: str | None = None,
    file: str = "",
    block: str | None = None,
) -> GivenLabels:
    """Read the label of every panel from a layer.

    A layer with `row`, `panel` and `zone` is taken as a panels layer given back: every panel of the block must be
    in it once. Any other layer must hold polygons: each panel gets the label of the polygon that holds most of its
    length, or of the nearest one when it touches none (and that is said).

    Parameters
    ----------
    layer : panels or polygons, in any declared CRS; with a `block` column only the lines of `block` are used
    column : of the labels; default for polygons: zone, class, name or label, else the only column of text, else each polygon
        is its own
    file : named in problems
    block : the block's name

    Raises
    ------
    DataError
        Listing all problems: panels unknown, doubled or left out; labels missing; no polygons; no CRS; more than 9
        labels; or more than half of the block outside the polygons.
    """
    if block is not None and "block" in layer.columns:
        layer = layer[layer["block"].astype(str) == block]
    if not len(layer):
        what = "the layer is empty" if block is None else f"the layer holds nothing for block '{block}'"
        raise DataError([Problem(file, "", "", what, "Give a layer that covers it")])
    if {"row", "panel", column or "zone"} <= set(layer.columns):
        return _from_panels(trellis, layer, column or "zone", file)
    return _from_polygons(trellis, layer, column, file)


def _plain(value: object) -> str:
    """Return a name as written: 12.0, as a table reader makes of 12, is 12; a missing value is ""."""
    if pd.isna(value):
        return ""
    if isinstance(value, float | np.floating) and float(value).is_integer():
        return str(int(value))
    return str(value).strip()


def _codes(values: pd.Series, file: str, layer: str) -> tuple[Labels, tuple[str, ...]]:
    """Number labels from 1: numbers in their order, words in theirs."""
    names = [_plain(value) for value in values]
    number = pd.to_numeric(pd.Series(sorted(set(names))), errors="coerce")
    ranked = sorted(set(names), key=float) if number.notna().all() else sorted(set(names))
    if len(ranked) > MOST_LABELS:
        what = f"{len(ranked)} different labels"
        raise DataError([Problem(file, layer, "", what, f"Join them to {MOST_LABELS} or fewer")])
    code = {name: i + 1 for i, name in enumerate(ranked)}
    return np.array([code[name] for name in names], dtype=np.int64), tuple(ranked)


def _from_panels(trellis: Trellis, layer: gpd.GeoDataFrame, column: str, file: str) -> GivenLabels:
    panels = trellis.panels
    known = {(_plain(r), str(p)): i for i, (r, p) in enumerate(zip(panels["row"], panels["panel"], strict=True))}
    given: dict[int, str] = {}
    seen: set[int] = set()
    faults: list[tuple[str, str, str]] = []
    for row, panel, label in zip(layer["row"], layer["panel"], layer[column], strict=True):
        where = f"row '{_plain(row)}', panel {_plain(panel)}"
        place = known.get((_plain(row), _plain(panel)))
        if place is None:
            faults.append((where, "no such panel in the block", "Give back the layer as it was written"))
        elif place in seen:
            faults.append((where, "the panel is there twice", "Keep one of the two"))
        elif not _plain(label):
            faults.append((where, f"no {column}", "Fill it in"))
        else:
            given[place] = _plain(label)
        if place is not None:
            seen.add(place)
    for (row, panel), place in known.items():
        if place not in seen:
            faults.append((f"row '{row}', panel {panel}", "the panel is left out", "Give back all panels"))
    if faults:
        raise DataError(Problem(file, "panels", *fault) for fault in faults)
    return GivenLabels(*_codes(pd.Series([given[i] for i in range(len(known))]), file, "panels"))


def _from_polygons(trellis: Trellis, layer: gpd.GeoDataFrame, column: str | None, file: str) -> GivenLabels:
    problems = []
    polygonal = layer.geometry.geom_type.isin(["Polygon", "MultiPolygon"])
    if not polygonal.any():
        problems.append(Problem(file, "", "", "neither panels nor polygons", "Give row, panel and zone, or polygons"))
    if layer.crs is None:
        problems.append(Problem(file, "", "", "the layer has no CRS", "Declare it"))
    if column is not None and column not in layer.columns:
        have = ", ".join(str(c) for c in layer.columns if c != layer.geometry.name)
        problems.append(Problem(file, "", "", f"no column '{column}'", f"It has: {have}"))
    if problems:
        raise DataError(problems)
    polygons = layer[polygonal].to_crs(trellis.panels.crs).reset_index(drop=True)
    found = column or _name_column(polygons)
    values = polygons[found] if found else pd.Series([str(i + 1) for i in range(len(polygons))])
    named = values.notna().to_numpy()
    if not named.any():
        raise DataError([Problem(file, "", "", f"column '{found}' is empty", "Name another column")])
    codes, names = _codes(values[named], file, "")
    labels = _overlay(trellis, shapely.make_valid(np.asarray(polygons.geometry.values)[named]), codes, names, file)
    if found in (None, "zone") or column is not None:
        return labels
    return replace(labels, messages=(Message("zones.named_by", {"column": found}), *labels.messages))


def _name_column(polygons: gpd.GeoDataFrame) -> str | None:
    """The column that names polygons: one called so, else the only column of text beside the block's name."""
    called = {str(column).lower(): str(column) for column in reversed(polygons.columns)}
    beside = [column for column in polygons.columns if column not in ("block", polygons.geometry.name)]
    text = [str(column) for column in beside if polygons[column].map(lambda value: isinstance(value, str)).any()]
    return next((called[name] for name in NAMES_OF_ZONES if name in called), text[0] if len(text) == 1 else None)


def _overlay(trellis: Trellis, ground: np.ndarray, codes: Labels, names: tuple[str, ...], file: str) -> GivenLabels:
    lines = np.asarray(trellis.panels.geometry.values)
    tree = shapely.STRtree(ground)
    panel, polygon = tree.query(lines, predicate="intersects")
    share = np.zeros((len(lines), len(names)))
    inside = shapely.length(shapely.intersection(lines[panel], ground[polygon])) / shapely.length(lines[panel])
    np.add.at(share, (panel, codes[polygon] - 1), inside)
    outside = share.max(axis=1) <= 0
    if outside.mean() > MOST_OUTSIDE:
        what = f"{int(outside.sum())} of {len(lines)} panels lie outside the polygons"
        mend = "Give a layer that covers the block, and check its CRS"
        raise DataError([Problem(file, "", "", what, mend)])
    label = share.argmax(axis=1) + 1
    if outside.any():
        label[outside] = codes[tree.nearest(lines[outside])]
    overlapped = np.minimum(share, 1.0).sum(axis=1) > 1.0 + SLIVER
    split = ~overlapped & ((share > SLIVER).sum(axis=1) > 1)
    found = {"panels_outside": outside, "polygons_overlap": overlapped, "panels_split": split}
    messages = tuple(Message(f"zones.{key}", {"panels": int(which.sum())}) for key, which in found.items() if which.any())
    used, panel_zone = np.unique(label, return_inverse=True)
    return GivenLabels(panel_zone.astype(np.int64) + 1, tuple(names[u - 1] for u in used), messages)
