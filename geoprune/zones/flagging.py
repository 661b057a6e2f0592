"""Which post gets which tape, and the crew's row list, both in walking order; and following them back to zones."""

from __future__ import annotations

import re

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from geoprune.trellis import Trellis
from geoprune.zones.options import Floats, Labels

ROW_LIST = ["stop", "row", "from_post", "to_post", "first_vine", "last_vine", "zone", "bands", "buds_per_vine", "vines"]


def _ordered(trellis: Trellis) -> pd.DataFrame:
    """Panels by `alley` (the row's place in the walk) and number, with their place in `trellis.panels`.

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


def _ends(trellis: Trellis) -> tuple[Floats, Floats]:
    """First and last point of each panel: (P, 2) twice."""
    lines = np.asarray(trellis.panels.geometry.values)
    first, last = (shapely.get_coordinates(shapely.get_point(lines, place)) for place in (0, -1))
    return first, last


def walking_direction(trellis: Trellis) -> dict[int, bool]:
    """Whether each row (by its place in the walk) is walked from vine 1 up: to and fro, from the first row's vine 1.

    Each next row is entered at its nearer end, so rows whose numbers start at opposite ends are walked to and fro too.
    """
    start, end = _ends(trellis)
    ordered = _ordered(trellis).groupby("alley", sort=True)["panel_id"].agg(["first", "last"])
    upward: dict[int, bool] = {}
    here = start[ordered["first"].iloc[0]]
    for order, first, last in ordered.itertuples():
        low, high = start[first], end[last]
        upward[int(order)] = bool(np.hypot(*(here - low)) <= np.hypot(*(here - high)) + 1e-9)
        here = high if upward[int(order)] else low
    return upward


def row_list(trellis: Trellis, panel_zone: Labels, buds: Labels) -> pd.DataFrame:
    """Return the crew's list in walking order: one line per run of panels with the same zone.

    Parameters
    ----------
    panel_zone : (P,) zones 1..k
    buds : (k,) bud count of each zone

    Returns
    -------
    stop, row, from_post, to_post, first_vine, last_vine, zone, bands, buds_per_vine, vines (counted). Posts are
    counted from the end of vine 1 (post 0). from, to, first and last are told as they are met, so a row walked towards
    vine 1 has falling numbers.
    """
    panels = _ordered(trellis)
    panels["zone"] = np.asarray(panel_zone)[panels["panel_id"]]
    new = panels["zone"].ne(panels["zone"].shift()) | panels["alley"].ne(panels["alley"].shift())
    runs = panels.groupby(new.cumsum().to_numpy()).agg(
        alley=("alley", "first"),
        row=("row", "first"),
        low=("panel", "min"),
        high=("panel", "max"),
        low_vine=("first_vine", "min"),
        high_vine=("last_vine", "max"),
        zone=("zone", "first"),
        vines=("counted", "sum"),
    )
    up = runs["alley"].map(walking_direction(trellis)).to_numpy(dtype=bool)
    runs = runs.assign(
        from_post=np.where(up, runs["low"] - 1, runs["high"]),
        to_post=np.where(up, runs["high"], runs["low"] - 1),
        first_vine=np.where(up, runs["low_vine"], runs["high_vine"]),
        last_vine=np.where(up, runs["high_vine"], runs["low_vine"]),
        bands=runs["zone"] if len(np.unique(panel_zone)) > 1 else 0,
        buds_per_vine=np.asarray(buds)[runs["zone"].to_numpy() - 1],
        walked=np.where(up, runs["low"], -runs["low"]),
    )
    runs = runs.sort_values(["alley", "walked"], kind="stable").reset_index(drop=True)
    return runs.assign(stop=np.arange(1, len(runs) + 1))[ROW_LIST]


def flagging_list(trellis: Trellis, panel_zone: Labels) -> gpd.GeoDataFrame:
    """Return the posts that get tape, in walking order.

    Returns
    -------
    stop, row, post ("end" or "line"), after_vine (0 = before vine 1), zone (from here on, as walked), bands, action
    ("start": the row starts here; "change": the number changes here), geometry (the post). Stops are those of the row
    list: each run starts at its flag. Empty when the whole block is one zone: then nothing is taped.
    """
    runs = row_list(trellis, panel_zone, np.zeros(int(np.max(panel_zone)), dtype=np.int64))
    taped = runs[runs["bands"] > 0]
    posts = _posts(trellis).reindex(pd.MultiIndex.from_frame(taped[["row", "from_post"]]))
    first = taped["row"].ne(taped["row"].shift()).to_numpy()
    return gpd.GeoDataFrame(
        {
            "stop": taped["stop"].to_numpy(),
            "row": taped["row"].to_numpy(),
            "post": np.where(posts["end"].to_numpy(dtype=bool), "end", "line").astype(object),
            "after_vine": posts["after_vine"].to_numpy(dtype=np.int64),
            "zone": taped["zone"].to_numpy(),
            "bands": taped["bands"].to_numpy(),
            "action": np.where(first, "start", "change").astype(object),
        },
        geometry=shapely.points(posts[["easting", "northing"]].to_numpy(dtype=float).reshape(-1, 2)),
        crs=trellis.panels.crs,
    )


def _posts(trellis: Trellis) -> pd.DataFrame:
    """All posts, by row and number: end (bool), after_vine, easting, northing."""
    start, end = _ends(trellis)
    panels = _ordered(trellis)
    far = panels.assign(post=panels["panel"], after_vine=panels["last_vine"])
    far[["easting", "northing"]] = end[panels["panel_id"]]
    far["end"] = far["alley"].ne(far["alley"].shift(-1))
    near = panels[panels["alley"].ne(panels["alley"].shift())]
    near = near.assign(post=near["panel"] - 1, after_vine=near["first_vine"] - 1, end=True)
    near[["easting", "northing"]] = start[near["panel_id"]]
    posts = pd.concat([near, far])
    return posts.set_index(["row", "post"])[["end", "after_vine", "easting", "northing"]]


def follow(told: pd.DataFrame, trellis: Trellis) -> Labels:
    """Walk a row list, or a flagging list, and write down the zone of each panel: (P,).

    An empty flagging list is a block of one zone.

    Raises
    ------
    ValueError
        When the list leaves a panel without a zone, or names one twice.
    """
    panels = _ordered(trellis)
    if "from_post" in told.columns:
        stretches = [(r.row, *sorted((r.from_post, r.to_post)), r.zone) for r in told.itertuples()]
    elif len(told):
        stretches = _between_flags(told, panels)
    else:
        return np.ones(len(panels), dtype=np.int64)
    zone = np.zeros(len(panels), dtype=np.int64)
    by_row = dict(iter(panels.groupby("row", sort=False)))
    for row, low, high, label in stretches:
        here = by_row[row]
        inside = here.loc[(here["panel"] > low) & (here["panel"] <= high), "panel_id"].to_numpy()
        if zone[inside].any():
            raise ValueError(f"row {row}: a panel between posts {low} and {high} is told twice")
        zone[inside] = label
    if not zone.all():
        raise ValueError(f"{int((zone == 0).sum())} panels are told no zone")
    return zone


def _between_flags(flags: pd.DataFrame, panels: pd.DataFrame) -> list[tuple[str, int, int, int]]:
    """Stretches from each flag to the next in its row, or to the row's other end."""
    last = panels.groupby("row")["panel"].max()
    bottom = panels.groupby("row")["first_vine"].min() - 1
    posts = panels[["row", "last_vine", "panel"]].itertuples(index=False)
    number = {(row, vine): panel for row, vine, panel in posts}
    stretches = []
    for row, group in flags.sort_values("stop").groupby("row", sort=False):
        walked = [0 if v == bottom[row] else int(number[row, v]) for v in group["after_vine"]]
        other_end = int(last[row]) if walked[0] == 0 else 0
        for here, there, label in zip(walked, [*walked[1:], other_end], group["zone"], strict=True):
            stretches.append((str(row), min(here, there), max(here, there), int(label)))
    return stretches
