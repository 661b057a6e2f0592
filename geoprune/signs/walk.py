"""The order in which a block is walked, and the crew's row list."""

from __future__ import annotations

import re

import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from geoprune.trellis import Trellis

Floats = NDArray[np.float64]
Labels = NDArray[np.int64]

ROW_LIST = ["stop", "row", "from_post", "to_post", "first_vine", "last_vine", "zone", "bands", "buds_per_vine", "vines"]

#: Figures of a run: name, column of its panels, and how these are gathered.
RUN_FIGURES = (
    ("low", "panel", np.minimum),
    ("high", "panel", np.maximum),
    ("low_vine", "first_vine", np.minimum),
    ("high_vine", "last_vine", np.maximum),
    ("vines", "counted", np.add),
)


def ordered_panels(trellis: Trellis) -> pd.DataFrame:
    """Panels by `alley` (the row's place in the walk) and number, with their place in `trellis.panels` (`panel_id`).

    The walk begins on the side of the block whose row has the lower name.
    """
    panels = pd.DataFrame(trellis.panels.drop(columns="geometry"))
    order = panels["row_order"].to_numpy()
    first, last = (panels["row"].iloc[place] for place in (order.argmin(), order.argmax()))
    alley = order if _spoken(first) <= _spoken(last) else order.max() - order
    panels = panels.assign(panel_id=np.arange(len(panels)), alley=alley)
    return panels.sort_values(["alley", "panel"], kind="stable")


def _spoken(name: object) -> list[tuple[int, str]]:
    """Sort key of a row's name as people count: B9 before B10."""
    return [(int(part), "") if part.isdecimal() else (-1, part) for part in re.split(r"(\d+)", str(name)) if part]


def panel_ends(trellis: Trellis) -> tuple[Floats, Floats]:
    """First and last point of each panel, easting and northing: (P, 2) twice."""
    lines = np.asarray(trellis.panels.geometry.values)
    first, last = (shapely.get_coordinates(shapely.get_point(lines, place)) for place in (0, -1))
    return first, last


def walking_direction(trellis: Trellis) -> dict[int, bool]:
    """Whether each row (by its place in the walk) is walked from vine 1 up: to and fro, from the first row's vine 1.

    Each next row is entered at its nearer end, so rows whose numbers start at opposite ends are walked to and fro too.
    """
    start, end = panel_ends(trellis)
    ordered = ordered_panels(trellis)
    alley, panel = ordered["alley"].to_numpy(), ordered["panel_id"].to_numpy()
    begins = np.flatnonzero(np.diff(alley, prepend=alley[0] - 1))
    rows = zip(alley[begins].tolist(), panel[begins], panel[np.append(begins[1:], len(panel)) - 1], strict=True)
    upward: dict[int, bool] = {}
    here = start[panel[0]]
    for order, first, last in rows:
        low, high = start[first], end[last]
        upward[int(order)] = bool(np.hypot(*(here - low)) <= np.hypot(*(here - high)) + 1e-9)
        here = high if upward[int(order)] else low
    return upward


def bands_of(buds: Labels | Floats) -> Labels:
    """Return how many bands of tape stand for each zone (k,), 1 at least: zones of one number have one sign.

    Zones without a number keep signs of their own, because what is done there may differ.

    Examples
    --------
    >>> bands_of(np.array([20.0, 30.0, 20.0, np.nan])).tolist()
    [1, 2, 1, 3]
    """
    numbers = np.asarray(buds, dtype=float)
    firsts = [zone if np.isnan(number) else int(np.argmax(numbers == number)) for zone, number in enumerate(numbers)]
    return np.unique(firsts, return_inverse=True)[1] + 1


def row_list(trellis: Trellis, panel_zone: Labels, buds: Labels | Floats) -> pd.DataFrame:
    """Return the crew's list in walking order: one line per run of panels with the same zone.

    Parameters
    ----------
    panel_zone : (P,) zones 1..k
    buds : (k,) bud count of each zone; NaN where it has no number

    Returns
    -------
    stop, row, from_post, to_post, first_vine, last_vine, zone, bands, buds_per_vine, vines (counted). Posts are
    counted from the end of vine 1 (post 0). from, to, first and last are given as they are met, so a row walked towards
    vine 1 has falling numbers. `bands` is 0 where the block has one sign: nothing is taped then.
    """
    panels, bands = ordered_panels(trellis), bands_of(buds)
    panels["zone"] = np.asarray(panel_zone)[panels["panel_id"]]
    new = panels["zone"].ne(panels["zone"].shift()) | panels["alley"].ne(panels["alley"].shift())
    begins = np.flatnonzero(new)
    runs = panels[["alley", "row", "zone"]].iloc[begins].reset_index(drop=True)
    for name, column, gathered in RUN_FIGURES:
        runs[name] = gathered.reduceat(panels[column].to_numpy(), begins)
    up = runs["alley"].map(walking_direction(trellis)).to_numpy(dtype=bool)
    runs = runs.assign(
        from_post=np.where(up, runs["low"] - 1, runs["high"]),
        to_post=np.where(up, runs["high"], runs["low"] - 1),
        first_vine=np.where(up, runs["low_vine"], runs["high_vine"]),
        last_vine=np.where(up, runs["high_vine"], runs["low_vine"]),
        bands=bands[runs["zone"] - 1] if len(np.unique(bands[np.asarray(panel_zone) - 1])) > 1 else 0,
        buds_per_vine=np.asarray(buds)[runs["zone"].to_numpy() - 1],
        walked=np.where(up, runs["low"], -runs["low"]),
    )
    runs = runs.sort_values(["alley", "walked"], kind="stable").reset_index(drop=True)
    return runs.assign(stop=np.arange(1, len(runs) + 1))[ROW_LIST]
