"""Weights of earlier winters, from the folders of their results, put beside this winter's: one model hears them all."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd

from geoprune.errors import Problem, Problems
from geoprune.layers import Vineyard
from geoprune.reading.results import read_result_layers

#: Columns that are needed of the layer of samples.
NEEDED = ("block", "vine_weight_kg", "vines_weighed", "season", "used")
NO_SEASON = "weights without a season: nobody knows of which winter they are"


def earlier_folders(paths: Sequence[Path]) -> list[Path]:
    """Return those of the earlier results that are named as folders: their weights are wanted."""
    return [path for path in paths if path.is_dir()]


def add_earlier_weights(
    vineyard: Vineyard, folders: Sequence[Path], found: Problems
) -> tuple[Vineyard, dict[Path, set[str]]]:
    """Put the weights of earlier winters beside this winter's.

    Of a block that is weighed this winter every earlier winter is taken from one place: from the vineyard's own weights
    where they hold it, else from the first folder that does.

    Parameters
    ----------
    vineyard : Vineyard
    folders : sequence of Path
        Results of `geoprune prescribe`.
    found : Problems
        Where weights without a season, folders that cannot be read and those of no earlier winter are noted.

    Returns
    -------
    Vineyard
        With the weights, each at the place where it was weighed.
    dict
        Folder -> blocks whose weights were taken from it or stand among the vineyard's own: what its summary says of them
        is said already.
    """
    own = vineyard.samples
    if not folders or not len(own):
        return vineyard, {}
    if own["season"].isna().any():
        mend = (
            "Give `season`, the year of the pruning, with this winter's weights; or name the folder's summary.json instead"
        )
        file = vineyard.sources[-1].name if vineyard.sources else ""
        found.append(Problem(file, "samples", "", f"{NO_SEASON}, and earlier winters are given", mend))
        return vineyard, {}
    newest = own.groupby("block")["season"].max()
    held = set(zip(own["block"], own["season"], strict=True))
    taken: list[gpd.GeoDataFrame] = []
    spoken: dict[Path, set[str]] = {}
    for folder in folders:
        before = len(found)
        table = _weights_of(folder, found)
        if table is None:
            continue
        table = table[table["block"].isin(newest.index)]
        latest = table["block"].map(newest)
        if (table["season"] >= latest).any():
            year = int(table.loc[table["season"] >= latest, "season"].max())
            what = f"its newest weights are of {year}, no earlier than this winter's"
            found.append(Problem(folder.name, "samples", "", what, "Give results of earlier winters"))
        if len(found) > before:
            continue
        keys = pd.MultiIndex.from_frame(table[["block", "season"]])
        new = table[~keys.isin(list(held))]
        held |= set(zip(new["block"], new["season"], strict=True))
        taken.append(new)
        spoken[folder] = set(table["block"])
    return _joined(vineyard, [table for table in taken if len(table)]), spoken


def _weights_of(folder: Path, found: Problems) -> gpd.GeoDataFrame | None:
    """The weights that were used in a folder of results; None where they cannot be read, and `found` says why."""
    problems: list[Problem] = []
    layers = read_result_layers(folder, {"samples": NEEDED}, problems, geometry=True)
    found.keep(problems)
    if "samples" not in layers:
        return None
    table = layers["samples"]
    table = table[table["used"].astype(bool)].reset_index(drop=True)
    if table["season"].isna().any():
        mend = "Name its summary.json instead, or give `season` with those weights and run them again"
        found.append(Problem(folder.name, "samples", "", NO_SEASON, mend))
        return None
    return table


def _joined(vineyard: Vineyard, tables: Sequence[gpd.GeoDataFrame]) -> Vineyard:
    """The vineyard, and each of its parts, with the weights of its blocks in its own CRS."""
    if not tables:
        return vineyard
    parts = tuple(_joined(part, tables) for part in vineyard.parts)
    more = [as_samples(table[table["block"].isin(vineyard.blocks["block"])], vineyard.samples) for table in tables]
    more = [table for table in more if len(table)]
    if not more:
        return replace(vineyard, parts=parts)
    samples = pd.concat([vineyard.samples, *more], ignore_index=True)
    return replace(vineyard, samples=gpd.GeoDataFrame(samples, geometry="geometry", crs=vineyard.samples.crs), parts=parts)


def as_samples(table: gpd.GeoDataFrame, like: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Earlier weights in the columns of this winter's: each by its place alone, since rows may be called otherwise now;
    `source_row` 0, for they stand in no file that was given."""
    count = len(table)
    weighed = np.maximum(table["vines_weighed"].to_numpy(dtype=float), 1.0)
    weight = table["vine_weight_kg"].to_numpy(dtype=float)
    known: Mapping[str, object] = {
        "block": table["block"].to_numpy(dtype=object),
        "row": np.full(count, "", dtype=object),
        "vine": np.full(count, np.nan),
        "pruning_weight_kg": weight * weighed,
        "vine_weight_kg": weight,
        "vines_weighed": weighed.astype(np.int64),
        "season": table["season"].to_numpy(dtype=float),
        "source_row": np.zeros(count, dtype=np.int64),
        "source_place": [f"a weight of {season:.0f}" for season in table["season"]],
        "geometry": table.geometry.to_crs(like.crs).to_numpy(),
    }
    texts = [name for name in ("date", "note") if name in like]
    rest = {name: np.full(count, np.nan) for name in like if name not in known and name not in texts}
    columns = {**known, **rest, **{name: np.full(count, "", dtype=object) for name in texts}}
    return gpd.GeoDataFrame({name: columns[name] for name in like}, geometry="geometry", crs=like.crs)
