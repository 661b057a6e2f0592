"""Reading signs and row list back into zones, as someone in the row does it."""

from __future__ import annotations

import numpy as np
import pandas as pd

from geoprune.signs.walk import Floats, Labels, ordered_panels
from geoprune.trellis import Trellis


def look_both_ways(signs: pd.DataFrame, trellis: Trellis) -> Floats:
    """Return what someone in each panel reads on the nearest marked post towards vine 1, and on the other side.

    Parameters
    ----------
    signs : DataFrame
        As `sign_posts` gives it; read are row, post, and the zones on both sides. It may lack posts.

    Returns
    -------
    (P, 2) zones, in the order of `trellis.panels`; NaN where no marked post, or no tape on the side that faces the panel
    """
    panels = ordered_panels(trellis)
    read = np.full((len(panels), 2), np.nan)
    by_row = dict(iter(signs.groupby("row", sort=False)))
    for row, here in panels.groupby("row", sort=False):
        if row in by_row:
            number = here["panel"].to_numpy()
            read[here["panel_id"], 0] = _nearest(by_row[row], "high", number - 1)
            read[here["panel_id"], 1] = _nearest(by_row[row], "low", number)
    return read


def _nearest(marked: pd.DataFrame, side: str, post: Labels) -> Floats:
    """The zone on one side of the nearest marked post at or beyond each post number.

    Looking towards vine 1 that is the high side, looking away the low side. Of the two posts at an alley, which have one
    number, the one on this side of it is nearer: it is the one marked on the side looked at.
    """
    away = 1 if side == "low" else -1
    zone = marked[f"{side}_zone"].astype(float).to_numpy()
    order = np.lexsort((np.isnan(zone), away * marked["post"].to_numpy()))
    places, zone = away * marked["post"].to_numpy()[order], zone[order]
    found = np.searchsorted(places, away * post)
    return np.where(found < len(places), zone[np.minimum(found, len(places) - 1)], np.nan)


def follow(directions: pd.DataFrame, trellis: Trellis) -> Labels:
    """Follow a row list, or the signs, and write down the zone of each panel: (P,).

    Signs are read from every panel to both sides. A table of signs without a line is a block of one zone.

    Raises
    ------
    ValueError
        When the row list leaves a panel without a zone or names one twice; when the signs a panel sees do not say the same.
    """
    if "from_post" in directions.columns:
        return _follow_list(directions, trellis)
    if not len(directions):
        return np.ones(len(trellis.panels), dtype=np.int64)
    low, high = look_both_ways(directions, trellis).T
    wrong = np.flatnonzero(low != high)  # what is not there (NaN) is not equal to anything
    if len(wrong):
        panel = trellis.panels.iloc[wrong[0]]
        raise ValueError(
            f"row {panel['row']}, panel {panel['panel']}: the two sides say {low[wrong[0]]:g} and {high[wrong[0]]:g}"
        )
    return low.astype(np.int64)


def _follow_list(directions: pd.DataFrame, trellis: Trellis) -> Labels:
    panels = ordered_panels(trellis)
    zone = np.zeros(len(panels), dtype=np.int64)
    by_row = dict(iter(panels.groupby("row", sort=False)))
    for run in directions.itertuples():
        low, high = sorted((run.from_post, run.to_post))
        here = by_row[run.row]
        inside = here.loc[(here["panel"] > low) & (here["panel"] <= high), "panel_id"].to_numpy()
        if zone[inside].any():
            raise ValueError(f"row {run.row}: a panel between posts {low} and {high} is listed twice")
        zone[inside] = run.zone
    if not zone.all():
        raise ValueError(f"{int((zone == 0).sum())} panels are given no zone")
    return zone
