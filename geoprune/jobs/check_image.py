"""Rows as an image of the vineyard shows them: proposed where none are drawn, and held against what was given."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import shapely

from geoprune.covariates import read_image
from geoprune.errors import DataError
from geoprune.layers import Vineyard
from geoprune.reading import Faults
from geoprune.trellis.bearing import AGREE_DEG, turn_deg
from geoprune.trellis.periodicity import FEWEST_PIXELS, LARGEST, Seen, seen_rows

#: A row's distance is looked at in so many pixels; finer ones are averaged (design choice).
PIXELS_PER_ROW = 8.0


@dataclass
class Image:
    """An image of the vineyard, looked at block by block.

    Attributes
    ----------
    path : Path or None
        None where there is none: nothing is seen then.
    faults : Faults
        What is wrong with it, and what is told of it.
    seen : dict
        Block -> the rows that were seen in it; None where none were.
    """

    path: Path | None
    faults: Faults = field(default_factory=Faults)
    seen: dict[str, Seen | None] = field(default_factory=dict)

    def look(self, block: Any, crs: Any) -> Seen | None:
        """Return the rows of a block (a line of the checked layer); None where none can be told."""
        if self.path is None or not block.row_spacing_m > 0 or self.faults.problems:
            return None
        if block.block not in self.seen:
            try:
                self.seen[block.block] = self._look(block, crs)
            except DataError as error:
                self.faults.problems.keep(error.problems)
                return None
        return self.seen[block.block]

    def _look(self, block: Any, crs: Any) -> Seen | None:
        assert self.path is not None
        spacing = float(block.row_spacing_m)
        step = spacing / PIXELS_PER_ROW
        middle = block.geometry.representative_point().buffer(LARGEST * step / 2, cap_style="square")
        outline = gpd.GeoSeries([shapely.intersection(block.geometry, middle)], crs=crs)
        bands, step = read_image(self.path, outline, step)
        if spacing < FEWEST_PIXELS * step:
            fields = {"pixel_spacing_m": step, "row_spacing_m": spacing}
            self.faults.remark("warning", "image_coarse", block=block.block, **fields)
            return None
        seen = seen_rows(bands, step, spacing)
        if seen is None:
            self.faults.remark("assumed", "image_shows_nothing", block=block.block)
        return seen


def hold_against(image: Image, vineyard: Vineyard) -> None:
    """Tell where an image shows rows that run otherwise than they are drawn or given."""
    for part in vineyard.parts or (vineyard,):
        for block in part.blocks[part.blocks.geometry.notna()].itertuples() if len(part.blocks) else ():
            given = _drawn_deg(part.rows, str(block.block))
            given = block.row_bearing_deg if given is None else given
            seen = image.look(block, part.crs) if np.isfinite(given) else None
            turn = 0.0 if seen is None else turn_deg(float(given), seen.degrees)
            if abs(turn) > AGREE_DEG:
                image.faults.remark("warning", "image_differs", block=str(block.block), degrees=abs(turn))


def _drawn_deg(rows: gpd.GeoDataFrame | None, block: str) -> float | None:
    """Direction of the drawn rows of a block, degrees; None without any."""
    own = [] if rows is None else [line for line in rows.geometry[rows["block"] == block] if line is not None]
    steps = [np.subtract(*shapely.get_coordinates(line)[[-1, 0]]) for line in own if len(shapely.get_coordinates(line)) > 1]
    if not steps:
        return None
    doubled = sum(np.hypot(*step) * np.exp(2j * np.arctan2(*step)) for step in steps)
    return float(np.rad2deg(np.angle(doubled)) / 2 % 180.0)
