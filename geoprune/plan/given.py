"""Zones drawn by others, block by block."""

from __future__ import annotations

from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import shapely
from pyproj import CRS
from shapely import MultiPolygon

from geoprune.errors import DataError, Message, Problem, Remark
from geoprune.trellis import Trellis
from geoprune.zones import GivenLabels, labels_from_layer

#: More zones than this have no patterns, words or tape of their own.
MOST_GIVEN_ZONES = 4
#: Polygons that hold less of a block are its neighbours', drawn a little over the border (design choice).
LEAST_COVERED = 0.05


@dataclass(frozen=True, eq=False)
class GivenZones:
    """Zones drawn by others: a layer of panels or polygons, the column of their names, the file for messages."""

    layer: gpd.GeoDataFrame
    column: str | None = None
    file: str = ""

    def cover(self, block: str, polygon: MultiPolygon, crs: CRS) -> bool:
        """Whether the layer holds something for a block: by its name, or on its ground."""
        if "block" in self.layer.columns:
            return bool((self.layer["block"].astype(str) == block).any())
        here = self.layer if self.layer.crs is None else self.layer.to_crs(crs)
        touching = np.asarray(here.geometry[here.intersects(polygon)].values)
        areal = np.isin(shapely.get_type_id(touching), [3, 6])
        held = shapely.intersection(shapely.make_valid(touching[areal]), polygon)
        return not areal.all() or shapely.area(shapely.union_all(held)) > LEAST_COVERED * polygon.area


def find_given(
    given: GivenZones | None, trellis: Trellis, polygon: MultiPolygon, block: str
) -> tuple[GivenLabels | None, tuple[Remark, ...]]:
    """Return the labels given for a block's panels, None where there are none, and what is to be said.

    Raises
    ------
    DataError
        If the layer does not fit the block (`zones.labels_from_layer`), or names more than four zones.
    """
    if given is None:
        return None, ()
    if not given.cover(block, polygon, trellis.panels.crs):
        return None, (Remark("assumed", Message("plan.no_given_zones", {"file": given.file}), block),)
    labels = labels_from_layer(trellis, given.layer, column=given.column, file=given.file, block=block)
    if len(labels.names) > MOST_GIVEN_ZONES:
        what = f"{len(labels.names)} zones: {', '.join(labels.names)}"
        raise DataError([Problem(given.file, "", f"block '{block}'", what, f"Join them to {MOST_GIVEN_ZONES} or fewer")])
    return labels, tuple(Remark("assumed", message, block) for message in labels.messages)
