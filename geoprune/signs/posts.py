"""Which post carries which tape: each run of one number is marked at both its ends, on the side of the post that faces it.

Why both ends, and why on a side: whoever looks from the first vine of a run away from it must find the run's own number
on the next marked post, and so must whoever looks the other way from its last vine. A post between two numbers is looked at
from both sides and must show each side its own. Two marks a run are therefore the fewest with which a look either way is
right; `docs/signs.md` measures it against other schemes.
"""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from geoprune.signs.walk import Floats, Labels, bands_of, ordered_panels, panel_ends, walking_direction
from geoprune.trellis import Trellis

#: A row goes on from panel to panel where one begins within this of where the last one ended; farther, there is an alley.
ONE_POST_M = 0.05


def sign_posts(trellis: Trellis, panel_zone: Labels, buds: Labels | Floats) -> gpd.GeoDataFrame:
    """Return the posts that carry tape, in walking order.

    Marked are the posts where the number changes, on both sides, and every post at an end of a row, or at an alley that
    cuts it, on the side of the vines.

    Parameters
    ----------
    panel_zone : (P,) zones 1..k
    buds : (k,) bud count of each zone; NaN where it has no number

    Returns
    -------
    GeoDataFrame, RangeIndex, in the trellis' CRS
        stop (1.. in walking order), row, post (number, 0 at the end of vine 1), kind ("end" of a row or at an alley, or
        "line"), after_vine (0 = before vine 1), low_zone, low_bands, low_buds: what hangs on the side of the lower vine
        numbers, high_zone, high_bands, high_buds: on the side of the higher ones (missing where no vines stand there;
        buds are missing, too, where the zone has no number), geometry (the post). The two posts at an alley have one
        number. No line where the whole block has one number: then nothing is taped, as between
        zones of one number.
    """
    bands = bands_of(buds)
    panels = _numbered(trellis, panel_zone, bands)
    sides = pd.concat([_lower_posts(panels), _upper_posts(panels)])
    shown = sides if panels["sign"].nunique() > 1 else sides.iloc[:0]
    posts = shown.groupby(["alley", "post", "stretch"], sort=True).agg(
        row=("row", "first"),
        at_end=("at_end", "any"),
        after_vine=("after_vine", "first"),
        easting=("easting", "first"),
        northing=("northing", "first"),
        low_zone=("low_zone", "max"),
        high_zone=("high_zone", "max"),
    )
    posts = _as_walked(posts.reset_index(), trellis)
    columns = {
        "stop": np.arange(1, len(posts) + 1),
        "row": posts["row"],
        "post": posts["post"],
        "kind": np.where(posts["at_end"].to_numpy(dtype=bool), "end", "line").astype(object),
        "after_vine": posts["after_vine"],
        **_side("low", posts["low_zone"], buds, bands),
        **_side("high", posts["high_zone"], buds, bands),
    }
    places = shapely.points(posts[["easting", "northing"]].to_numpy(dtype=float).reshape(-1, 2))
    return gpd.GeoDataFrame(columns, geometry=places, crs=trellis.panels.crs)


def _numbered(trellis: Trellis, panel_zone: Labels, bands: Labels) -> pd.DataFrame:
    """Panels in order with zone, sign, both ends, `stretch` (an unbroken piece of row), and where runs begin and end."""
    panels = ordered_panels(trellis)
    start, end = (points[panels["panel_id"]] for points in panel_ends(trellis))
    panels["zone"] = np.asarray(panel_zone, dtype=np.int64)[panels["panel_id"]]
    panels["sign"] = bands[panels["zone"] - 1]
    panels[["start_easting", "start_northing"]] = start
    panels[["end_easting", "end_northing"]] = end
    broken = np.r_[True, np.hypot(*(start[1:] - end[:-1]).T) > ONE_POST_M]
    broken |= panels["alley"].ne(panels["alley"].shift()).to_numpy()
    begins = broken | panels["sign"].ne(panels["sign"].shift()).to_numpy()
    return panels.assign(
        stretch=np.cumsum(broken),
        first=broken,
        last=np.r_[broken[1:], True],
        begins=begins,
        ends=np.r_[begins[1:], True],
    )


def _lower_posts(panels: pd.DataFrame) -> pd.DataFrame:
    """The post at the lower end of each run, marked on its high side."""
    runs = panels[panels["begins"]]
    return pd.DataFrame(
        {
            **{name: runs[name] for name in ("alley", "row", "stretch")},
            "post": runs["panel"] - 1,
            "at_end": runs["first"],
            "after_vine": runs["first_vine"] - 1,
            "easting": runs["start_easting"],
            "northing": runs["start_northing"],
            "low_zone": np.nan,
            "high_zone": runs["zone"],
        }
    )


def _upper_posts(panels: pd.DataFrame) -> pd.DataFrame:
    """The post at the upper end of each run, marked on its low side."""
    runs = panels[panels["ends"]]
    return pd.DataFrame(
        {
            **{name: runs[name] for name in ("alley", "row", "stretch")},
            "post": runs["panel"],
            "at_end": runs["last"],
            "after_vine": runs["last_vine"],
            "easting": runs["end_easting"],
            "northing": runs["end_northing"],
            "low_zone": runs["zone"],
            "high_zone": np.nan,
        }
    )


def _as_walked(posts: pd.DataFrame, trellis: Trellis) -> pd.DataFrame:
    up = posts["alley"].map(walking_direction(trellis)).to_numpy(dtype=bool)
    along = np.where(up, 1, -1)
    posts = posts.assign(along_post=along * posts["post"], along_stretch=along * posts["stretch"])
    return posts.sort_values(["alley", "along_post", "along_stretch"], kind="stable").reset_index(drop=True)


def _side(side: str, zone: pd.Series, buds: Labels | Floats, bands: Labels) -> dict[str, pd.Series]:
    """What hangs on one side of each post: the nearest zone, the bands of its number, and the number of buds."""
    there = zone.notna().to_numpy()
    number, sign = np.full(len(zone), np.nan), np.full(len(zone), np.nan)
    place = zone.to_numpy(dtype=float)[there].astype(int) - 1
    number[there], sign[there] = np.asarray(buds, dtype=float)[place], bands[place]
    figures = {"bands": pd.Series(sign).astype("Int64"), "buds": pd.Series(number).astype("Int64")}
    return {f"{side}_zone": zone.astype("Int64")} | {f"{side}_{name}": values for name, values in figures.items()}
