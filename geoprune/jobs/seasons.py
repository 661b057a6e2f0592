"""Winters of a vineyard beside each other, from the folders that `geoprune prescribe` wrote."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from geoprune.errors import DataError, Message, Problem, Problems
from geoprune.layers import Vineyard
from geoprune.reading import Winter, read_harvest, read_left, read_winter
from geoprune.rules import RuleBook, grape_kind, load_rules
from geoprune.seasons import BlockYears, Comparison, TooFewWeights, Weights, compare, lasting_evidence, row_crops

NO_YIELDS = pd.DataFrame({"block": [], "zone": pd.array([], dtype="Int64"), "row": [], "season": [], "yield_kg": []})
NO_LEFT = pd.DataFrame({"block": [], "zone": [], "buds_asked": [], "buds_left": []})


@dataclass(frozen=True, eq=False)
class Seasons:
    """Comparisons of all blocks that have two winters, and what is said of the others."""

    comparisons: tuple[Comparison, ...]
    remarks: tuple[Message, ...]


def compare_winters(folders: Sequence[Path], *, harvest: Path | None = None, left: Path | None = None) -> Seasons:
    """Compare the newest winter with the one before it, block by block.

    Parameters
    ----------
    folders : sequence of Path
        Results of `geoprune prescribe`, one of each winter in any order; one alone where its weights are of
        several winters.
    harvest : Path, optional
        Yields by block or zone, for crop load and to check the crop that an earlier winter expected.
    left : Path, optional
        left.csv of `geoprune audit read`: what was really left.

    Raises
    ------
    DataError
        With every problem of folders and tables, weights without a year, or when no block can be compared.
    """
    found = Problems()
    read = [found.gather(read_winter, folder) for folder in folders]
    found.stop()
    winters = [winter for winter in read if winter is not None]
    found.keep(_without_season(winters))
    found.stop()
    winters.sort(key=_newest)
    last = winters[-1]
    rows = last.layers["panels"].groupby("block")["row"].unique().to_dict()
    yields = NO_YIELDS if harvest is None else found.gather(read_harvest, harvest, _as_vineyard(winters), rows=rows)
    left_buds = NO_LEFT if left is None else found.gather(read_left, left, last.blocks)
    found.stop()
    comparisons, remarks, known, book = [], [], [], load_rules()
    for block in last.blocks:
        here = [winter for winter in winters if block in winter.blocks]
        if len(here) < len(winters):
            remarks.append(Message("seasons.not_there", {"block": block}))
        years = _years(block, here, yields, left_buds, book)
        if len(years.weights.seasons) < 2:
            remarks.append(Message("seasons.one_winter", {"block": block}))
        else:
            known.append(years)
    lone = len(known) == 1  # no other block to hear, and so no need to work out what this one says
    evidence = [np.zeros(1) if lone else lasting_evidence(years.weights) for years in known]
    for years, own in zip(known, evidence, strict=True):
        try:
            comparisons.append(compare(years, sum(evidence) - own))
        except TooFewWeights:
            remarks.append(Message("seasons.too_few", {"block": years.block}))
    if not comparisons:
        what = "no block has enough weights of two winters"
        raise DataError([Problem(", ".join(f.name for f in folders), "samples", "", what, "Give a folder of each winter")])
    return Seasons(tuple(comparisons), tuple(remarks))


def _without_season(winters: list[Winter]) -> list[Problem]:
    """Problems of folders whose weights have no year, and of two folders of the same winter."""
    problems = []
    for winter in winters:
        used = winter.layers["samples"]
        if used.loc[used["used"].astype(bool), "season"].isna().any():
            what = "weights without a season: nobody knows of which winter they are"
            problems.append(Problem(winter.folder, "samples", "", what, "Give `season` with the weights and run it again"))
    newest = [_newest(winter) for winter in winters]
    for winter, year in zip(winters, newest, strict=True):
        if not problems and newest.count(year) > 1:
            what = f"its newest weights are of {year}, as in another folder"
            problems.append(Problem(winter.folder, "", "", what, "Give one folder of each winter"))
    return problems


def _newest(winter: Winter) -> int:
    seasons = winter.layers["samples"]["season"].dropna()
    return int(seasons.max()) if len(seasons) else 0


def _years(
    block: str, winters: list[Winter], yields: pd.DataFrame | None, left: pd.DataFrame | None, book: RuleBook
) -> BlockYears:
    last = winters[-1]
    panels = last.of("panels", block)
    panels = panels[panels["vines"] > 0].reset_index(drop=True)
    assert yields is not None
    assert left is not None
    return BlockYears(
        block=block,
        panels=panels,
        weights=_weights(block, winters, panels),
        zones=pd.DataFrame(last.of("zones", block)),
        yields=yields[yields["block"] == block],
        left=left[left["block"] == block],
        forecast=_forecast(block, winters),
        expected=_row_crops(block, winters[-2::-1]),
        coming=_row_crops(block, winters[-1:]),
        judged=_is_winegrape(last, block, book),
    )


def _is_winegrape(winter: Winter, block: str, book: RuleBook) -> bool:
    """Whether a block's grapes are known to be of those that the published range of yield over prunings is of."""
    here = winter.of("blocks", block)
    variety = str(here["variety"].iloc[0]) if "variety" in here else ""
    return grape_kind(book.group_of(variety)) == "winegrape"


def _weights(block: str, winters: list[Winter], panels: gpd.GeoDataFrame) -> Weights:
    """Weights of all winters, each once, about the block's middle."""
    parts = [winter.of("samples", block).to_crs(panels.crs) for winter in winters]
    table = pd.concat([part[part["used"].astype(bool)] for part in parts], ignore_index=True)
    table = table.drop_duplicates(["season", "row", "vine", "vine_weight_kg", "vines_weighed"], ignore_index=True)
    place = shapely.get_coordinates(table["geometry"].to_numpy())
    return Weights(
        place=place,
        season=table["season"].to_numpy(dtype=np.int64),
        size_kg=table["vine_weight_kg"].to_numpy(dtype=float),
        weighed=np.maximum(table["vines_weighed"].to_numpy(dtype=float), 1.0),
        vine=table.groupby(["row", "vine"], sort=False).ngroup().to_numpy(dtype=np.int64),
    )


def _forecast(block: str, winters: list[Winter]) -> tuple[float, float, float] | None:
    """The crop that the winter before the newest expected of the block, kg."""
    for winter in winters[-2::-1]:
        crop = winter.entry(block).get("crop") or {}
        total = crop.get("block_total_kg") if isinstance(crop, dict) else None
        if isinstance(total, list) and len(total) == 3 and all(isinstance(value, int | float) for value in total):
            low, mean, high = (float(value) for value in total)
            return low, mean, high
    return None


def _row_crops(block: str, winters: Sequence[Winter]) -> dict[str, np.ndarray]:
    """The crop of each row that the first winter which tells one expected, kg; nothing where none does."""
    for winter in winters:
        crop, panels = winter.entry(block).get("crop") or {}, winter.of("panels", block)
        try:
            each = np.array(crop["kg_per_vine"], dtype=float)
        except (KeyError, TypeError, ValueError):
            continue
        if each.ndim == 2 and each.shape[1] == 3 and panels["zone"].between(1, len(each)).all():
            return row_crops(panels, each.tolist())
    return {}


def _as_vineyard(winters: list[Winter]) -> Vineyard:
    """What reading yields needs of a vineyard: outlines, and the year of the newest weights."""
    last = winters[-1]
    return Vineyard(last.layers["blocks"], None, None, last.layers["samples"], None, last.layers["blocks"].crs)
