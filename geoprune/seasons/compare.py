"""Two winters of a block beside each other: change, what stays weak, whether classes keep, what to think of."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtr

from geoprune.errors import Message
from geoprune.seasons.model import SeasonModel, Target, TooFewWeights, Weights, fit_seasons, zone_target
from geoprune.seasons.row_crops import with_crops
from geoprune.units import NINETY

Floats = NDArray[np.float64]

#: A change whose direction is this likely is called one: its 90 % range then lies on one side of no change.
LIKELY = 0.95
#: Panels are put into so many classes of equal number by vine size, the same in every winter.
CLASSES = 3
#: Yield over pruning weight above which less crop is worth thinking of: top of the range that is printed most (Kliewer &
#: Dokoozlian 2005 for single canopies: 4 to 10); no universal value exists.
#: Below LIGHT_CROP there is more growth than crop.
HEAVY_CROP, LIGHT_CROP = 10.0, 4.0
LOADS = ("crop_load_low", "crop_load", "crop_load_high")
#: More buds than asked, by this share, count as too many (design choice).
OVER_ASKED = 0.1


@dataclass(frozen=True, eq=False)
class BlockYears:
    """What is known of a block over winters.

    block : str
    panels : GeoDataFrame of the newest winter
        row, row_order, panel, first_vine, last_vine, zone, vines, geometry (lines).
    weights : Weights of all winters
    zones : DataFrame of the newest winter: zone, buds_per_vine, [buds_by_rule]
    yields : DataFrame: season, zone (NA = whole block or a row), row ("" = whole block or a zone), yield_kg
    left : DataFrame: zone, buds_asked, buds_left
    forecast : (3,) crop that an earlier winter expected of the block, kg: low, mean, high; None without one
    expected, coming : row -> crop (3,) kg that an earlier winter expected, and that the newest expects; low, mean, high
    judged : whether the range of yield over prunings is published for its grapes (of juice grapes nothing is said)
    """

    block: str
    panels: gpd.GeoDataFrame
    weights: Weights
    zones: pd.DataFrame
    yields: pd.DataFrame
    left: pd.DataFrame
    forecast: tuple[float, float, float] | None = None
    judged: bool = True
    expected: Mapping[str, Floats] = field(default_factory=dict)
    coming: Mapping[str, Floats] = field(default_factory=dict)


@dataclass(frozen=True, eq=False)
class Comparison:
    """What became of a block since an earlier winter.

    earlier, later : years; panels, zones, rows : tables, change in kg per vine with its 90 % range; yield over prunings
        where yields are given: of panels that of their row, else zone, else block (`load_of`)
    lasting : share of the variation that lasts and its standard error
    helped : by how much the earlier weights cut the error of this winter's map, a share (below 0: they did not)
    kept, kappa : share of panels that keep their class of size, and how far beyond chance
    thoughts : what to think of for next year's number, a zone each; nothing is applied
    """

    years: BlockYears
    earlier: int
    later: int
    panels: gpd.GeoDataFrame
    zones: pd.DataFrame
    rows: pd.DataFrame
    lasting: tuple[float, float]
    helped: float
    kept: float
    kappa: float
    messages: tuple[Message, ...]
    thoughts: tuple[tuple[int, tuple[Message, ...]], ...]


def compare(years: BlockYears, beside: ArrayLike = 0.0) -> Comparison:
    """Compare the newest winter of a block with the one before it.

    Parameters
    ----------
    years : BlockYears
    beside : (7,) or 0
        What the vineyard's other blocks say of the share that lasts, see `fit_seasons`.

    Raises
    ------
    TooFewWeights
        With fewer than two winters, or too few weights.
    """
    seasons = years.weights.seasons
    if len(seasons) < 2:
        raise TooFewWeights("one winter alone")
    earlier, later = seasons[-2:]
    model = fit_seasons(years.weights, beside)
    middles = _middles(years.panels)
    single = [Target(point[None, :], vines) for point, vines in zip(middles, years.panels["vines"], strict=True)]
    sizes = {season: model.size(single, season) for season in seasons}
    change = model.change(single, earlier, later)
    classes = {season: size_classes(sizes[season].mean) for season in seasons}
    panels = years.panels.assign(
        size_earlier_kg=sizes[earlier].mean,
        size_later_kg=sizes[later].mean,
        size_later_se_kg=sizes[later].error,
        change_kg=change.mean,
        change_se_kg=change.error,
        change_low_kg=change.mean - NINETY * change.error,
        change_high_kg=change.mean + NINETY * change.error,
        shrank_chance=ndtr(-change.mean / change.error),
        weak_in_all=np.all([classes[season] == 0 for season in seasons], axis=0),
    )
    zones = _zones(years, model, earlier, later, middles)
    rows = _rows(years, model, earlier, later, middles)
    panels = _with_load(panels, rows, zones)
    same, kappa = agreement(classes[earlier], classes[later])
    helped = _helped(years.weights, single, later, sizes[later].error)
    found = Comparison(years, earlier, later, panels, zones, rows, model.lasting, helped, same, kappa, (), ())
    return Comparison(**{**vars(found), "messages": _messages(found), "thoughts": _thoughts(found)})


def size_classes(size_kg: ArrayLike, *, classes: int = CLASSES) -> NDArray[np.int64]:
    """Return classes of equal number by size, 0 the smallest (P,)."""
    size = np.asarray(size_kg, dtype=float)
    rank = np.argsort(np.argsort(size, kind="stable"), kind="stable")
    return (rank * classes // len(size)).astype(np.int64)


def agreement(one: ArrayLike, other: ArrayLike) -> tuple[float, float]:
    """Share of panels in the same class both times, and Cohen's kappa: that share beyond chance.

    ``kappa = (p_o - p_e) / (1 - p_e)`` (Cohen 1960, Educational and Psychological Measurement 20:37-46); NaN with one class.
    """
    table = pd.crosstab(np.asarray(one), np.asarray(other))
    names = sorted({*table.index, *table.columns})
    share = table.reindex(index=names, columns=names, fill_value=0).to_numpy(dtype=float)
    share = share / share.sum()
    same, chance = float(np.trace(share)), float(share.sum(axis=1) @ share.sum(axis=0))
    return same, (same - chance) / (1 - chance) if chance < 1 else float("nan")


def crop_load(yield_kg: float, size_kg: float, size_se_kg: float, vines: float) -> tuple[float, float, float]:
    """Yield over pruning weight of vines, with the range that the vine size leaves: low, value, high.

    The yield is taken as weighed; the range is that of the reciprocal of the size's (so it is not symmetric).
    """
    if not (yield_kg > 0 and size_kg > 0 and vines > 0):
        return (float("nan"),) * 3
    low, high = size_kg + NINETY * size_se_kg, size_kg - NINETY * size_se_kg
    each = yield_kg / vines
    return each / low, each / size_kg, each / high if high > 0 else float("inf")


def _zones(years: BlockYears, model: SeasonModel, earlier: int, later: int, middles: Floats) -> pd.DataFrame:
    zone = years.panels["zone"].to_numpy()
    vines = years.panels["vines"].to_numpy(dtype=float)
    numbers = sorted(set(zone.tolist()))
    targets = [_weighted(middles[zone == number], vines[zone == number]) for number in numbers]
    targets.append(_weighted(middles, vines))
    table = pd.DataFrame(
        {
            "block": years.block,
            "zone": pd.array([*numbers, pd.NA], dtype="Int64"),
            "vines": [*(vines[zone == number].sum() for number in numbers), vines.sum()],
            **_sizes(model, targets, earlier, later),
        }
    )
    by_zone = years.zones.set_index("zone")
    for name in ("buds_per_vine", "buds_by_rule"):
        table[name] = _looked_up(table["zone"], by_zone, name)
    beside = years.left.set_index("zone")
    for name in ("buds_asked", "buds_left"):
        table[name] = _looked_up(table["zone"], beside, name)
    return _with_yield(table, years, later)


def _rows(years: BlockYears, model: SeasonModel, earlier: int, later: int, middles: Floats) -> pd.DataFrame:
    """The rows in their order, each with its mean size, change, and yield over prunings where its yield is given."""
    panels = years.panels.reset_index(drop=True)
    vines = panels["vines"].to_numpy(dtype=float)
    here = panels.groupby("row", sort=False)
    order = here["row_order"].first().sort_values(kind="stable").index
    places = [here.indices[row] for row in order]
    targets = [_weighted(middles[at], vines[at]) for at in places]
    table = pd.DataFrame({"block": years.block, "row": order, "vines": [vines[at].sum() for at in places]})
    table = table.assign(**_sizes(model, targets, earlier, later))
    yields = years.yields[years.yields["season"].isin([later - 1, later]) & (years.yields["row"] != "")]
    newest = yields[yields["season"] == yields["season"].max()].groupby("row")["yield_kg"].sum()
    table = _with_loads(table, [float(newest.get(row, np.nan)) for row in order])
    return with_crops(table, years.expected, years.coming)


def _sizes(model: SeasonModel, targets: list[Target], earlier: int, later: int) -> dict[str, Floats]:
    """Sizes and change of targets, as columns."""
    before, now = model.size(targets, earlier), model.size(targets, later)
    change = model.change(targets, earlier, later)
    return {
        "size_earlier_kg": before.mean,
        "size_later_kg": now.mean,
        "size_later_se_kg": now.error,
        "change_kg": change.mean,
        "change_se_kg": change.error,
        "change_low_kg": change.mean - NINETY * change.error,
        "change_high_kg": change.mean + NINETY * change.error,
        "shrank_chance": ndtr(-change.mean / change.error),
    }


def _with_load(panels: gpd.GeoDataFrame, rows: pd.DataFrame, zones: pd.DataFrame) -> gpd.GeoDataFrame:
    """Panels with the yield over prunings of the smallest part that was picked apart: row, else zone, else block."""
    whole = zones.iloc[[-1]].assign(whole=0)
    parts = (
        ("row", panels["row"], rows.set_index("row")),
        ("zone", panels["zone"], zones[zones["zone"].notna()].set_index("zone")),
        ("block", pd.Series(0, index=panels.index), whole.set_index("whole")),
    )
    found = {name: np.full(len(panels), np.nan) for name in LOADS}
    load_of = np.full(len(panels), "", dtype=object)
    for name, key, table in parts:
        lacking = np.isnan(found["crop_load"])
        for column in LOADS:
            found[column] = np.where(lacking, _looked_up(key, table, column), found[column])
        load_of[lacking & ~np.isnan(found["crop_load"])] = name
    return panels.assign(**found, load_of=load_of)


def load_class(line: Any) -> str:
    """Where a yield over prunings lies to the range printed most: surely "above" or "below", "within", "unsure", or ""
    where it is not known."""
    low, high = line["crop_load_low"], line["crop_load_high"]
    if not np.isfinite(line["crop_load"]):
        return ""
    if low > HEAVY_CROP:
        return "above"
    if high < LIGHT_CROP:
        return "below"
    return "within" if low >= LIGHT_CROP and high <= HEAVY_CROP else "unsure"


def _looked_up(key: pd.Series, table: pd.DataFrame, name: str) -> Floats:
    """A column by the table's index, such as the zone; NaN where it is not given."""
    known = dict(zip(table.index, table[name], strict=True)) if name in table else {}
    return np.array([known.get(value, np.nan) for value in key], dtype=float)


def _with_yield(table: pd.DataFrame, years: BlockYears, later: int) -> pd.DataFrame:
    """Yield of the crop that the weighed wood bore: of the year of the pruning, else of the year before."""
    yields = years.yields[years.yields["season"].isin([later - 1, later]) & (years.yields["row"] == "")]
    newest = yields[yields["season"] == yields["season"].max()]
    totals = []
    for line in table.to_dict("records"):
        whole = pd.isna(line["zone"])
        here = newest[newest["zone"].isna()] if whole else newest[newest["zone"] == line["zone"]]
        total = float(here["yield_kg"].sum()) if len(here) else np.nan
        if whole and not len(here) and len(newest):
            total = float(newest["yield_kg"].sum()) if set(newest["zone"]) == set(table["zone"].dropna()) else np.nan
        totals.append(total)
    return _with_loads(table, totals)


def _with_loads(table: pd.DataFrame, totals: list[float]) -> pd.DataFrame:
    """A table of sizes with the yield of each line and what it is over the prunings, with its range."""
    lines = zip(totals, table["size_later_kg"], table["size_later_se_kg"], table["vines"], strict=True)
    loads = [(line[0], *crop_load(*line)) for line in lines]
    return table.assign(**dict(zip(("yield_kg", *LOADS), np.array(loads).T, strict=True)))


def _weighted(points: Floats, vines: Floats) -> Target:
    """A target of panels, each as often as it has vines, so that their mean is that of vines."""
    return zone_target(np.repeat(points, vines.astype(int), axis=0), float(vines.sum()))


def _helped(weights: Weights, targets: list[Target], later: int, error: Floats) -> float:
    """By how much earlier weights cut the mean error of this winter's map."""
    try:
        alone = fit_seasons(weights.only(later)).size(targets, later).error
    except TooFewWeights:
        return float("nan")
    return 1.0 - float(error.mean() / alone.mean())


def _messages(found: Comparison) -> tuple[Message, ...]:
    whole = found.zones.iloc[-1]
    fields = {"earlier": found.earlier, "later": found.later, **_change_fields(whole)}
    messages = [Message(f"seasons.block_{direction(whole)}", fields)]
    share, error = found.lasting
    low, high = (100 * float(np.clip(share + sign * NINETY * error, 0, 1)) for sign in (-1, 1))
    messages.append(Message("seasons.lasting", {"percent": 100 * share, "low": low, "high": high}))
    if np.isfinite(found.helped):
        key = "seasons.helped" if found.helped > 0 else "seasons.not_helped"
        messages.append(Message(key, {"percent": 100 * abs(found.helped), "later": found.later, "earlier": found.earlier}))
    messages.append(Message("seasons.kept", {"percent": 100 * found.kept, "kappa": found.kappa}))
    weak = int(found.panels["weak_in_all"].sum())
    messages.append(
        Message("seasons.weak", {"count": weak, "panels": len(found.panels), "winters": len(found.years.weights.seasons)})
    )
    if (came := _forecast(found)) is not None:
        messages.append(came)
    return tuple(messages)


def _forecast(found: Comparison) -> Message | None:
    """What an earlier winter expected of the crop, against the crop that came."""
    expected, came = found.years.forecast, float(found.zones.iloc[-1]["yield_kg"])
    if expected is None or not np.isfinite(came):
        return None
    low, mean, high = (value / 1000 for value in expected)
    held = "held" if low <= came / 1000 <= high else "missed"
    return Message(f"seasons.forecast_{held}", {"came_t": came / 1000, "low_t": low, "mean_t": mean, "high_t": high})


def direction(line: Any) -> str:
    """Return "shrank", "grew", or "unsure" where the 90 % range holds no change."""
    if line["shrank_chance"] >= LIKELY:
        return "shrank"
    return "grew" if line["shrank_chance"] <= 1 - LIKELY else "unsure"


def _change_fields(line: Any) -> dict[str, float]:
    """A change and its range; of vines that shrank what they lost, without a minus."""
    low, middle, high = (float(line[f"change{end}_kg"]) for end in ("_low", "", "_high"))
    if direction(line) == "shrank":
        low, middle, high = -high, -middle, -low
    return {"change_exact_kg": middle, "low_exact_kg": low, "high_exact_kg": high}


def _thoughts(found: Comparison) -> tuple[tuple[int, tuple[Message, ...]], ...]:
    lines = found.zones[found.zones["zone"].notna()].to_dict("records")
    return tuple((int(line["zone"]), tuple(_thought(line, judged=found.years.judged))) for line in lines)


def _thought(line: dict[str, Any], *, judged: bool) -> list[Message]:
    """What the zone's change, crop and buds say for next year's number, step by step."""
    way = direction(line)
    messages = [Message(f"seasons.zone_{way}", _change_fields(line))]
    heavy = judged and np.isfinite(line["crop_load"]) and line["crop_load_low"] > HEAVY_CROP
    over = line["buds_left"] > (1 + OVER_ASKED) * line["buds_asked"]
    if np.isfinite(line["crop_load"]):
        load = {"load": line["crop_load"], "low": line["crop_load_low"], "high": line["crop_load_high"], "heavy": HEAVY_CROP}
        messages.append(Message("seasons.load_heavy" if heavy else "seasons.load", load))
    if pd.notna(line["buds_left"]) and pd.notna(line["buds_asked"]):
        left = {"left": line["buds_left"], "asked": line["buds_asked"]}
        messages.append(Message("seasons.left_over" if over else "seasons.left", left))
    end = {"shrank": "fewer" if heavy or over else "look", "grew": "more", "unsure": "keep"}[way]
    return [*messages, Message(f"seasons.think_{end}")]


def _middles(panels: gpd.GeoDataFrame) -> Floats:
    lines = panels.geometry.values
    return shapely.get_coordinates(shapely.line_interpolate_point(lines, 0.5, normalized=True))
