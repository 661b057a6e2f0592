"""The shape of a plan: all that is known of a block, for maps, sheets, files and the terminal alike."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import geopandas as gpd
import pandas as pd
from pyproj import CRS
from shapely import MultiPolygon

from geoprune.errors import Message, Remark
from geoprune.rules import (
    DEFAULT_METHOD,
    MINUTES_PER_VINE,
    Crop,
    Injury,
    Rule,
    Training,
    ZoneAdvice,
    find_training,
    injury_method,
    wood_fault,
)
from geoprune.surface import Diagnostics, MapBenefit, Model
from geoprune.zones import ZoneBenefit, ZoneOptions

#: How vines may have been pruned last winter.
PRUNINGS = ("hand", "minimal")
#: More minutes for one vine are a slip of the pen (a design choice).
MOST_MINUTES = 120


@dataclass(frozen=True)
class PlanOptions:
    """Choices for planning a block; a vineyard's, where its blocks do not differ.

    Attributes
    ----------
    zones : ZoneOptions
    seed : int
    injury_method : str
        How dead buds are allowed for; a name of `rules.load_methods`.
    floor, cap : float or None
        Fewest and most buds per vine, after rule and injury.
    wood : mapping
        Lengths and fixed numbers of this vineyard's wood, keywords of `rules.fit_recipe`.
    target_t_ha : float
        Crop the buyer wants, tonnes per hectare; NaN for none.
    minutes_per_vine, cost_per_hour : float
        For hours and cost; no wage is assumed.
    last_pruning : str
        How the vines were pruned last winter, "hand" or "minimal": decides whether crop load means anything.

    Raises
    ------
    ValueError
        Listing every choice that cannot be; DataError, which is one, for an unknown injury method.
    """

    zones: ZoneOptions = field(default_factory=ZoneOptions)
    seed: int = 0
    injury_method: str = DEFAULT_METHOD
    floor: float | None = None
    cap: float | None = None
    wood: Mapping[str, float] = field(default_factory=dict)
    target_t_ha: float = float("nan")
    minutes_per_vine: float = MINUTES_PER_VINE
    cost_per_hour: float | None = None
    last_pruning: str = "hand"

    def __post_init__(self) -> None:
        injury_method(self.injury_method)
        wrong = [f"seed must be 0 or more, not {self.seed}"] if self.seed < 0 else []
        if self.last_pruning not in PRUNINGS:
            wrong.append(f"last_pruning must be {' or '.join(PRUNINGS)}, not {self.last_pruning!r}")
        if self.floor is not None and self.cap is not None and self.floor > self.cap:
            wrong.append(f"floor {self.floor:g} lies above cap {self.cap:g}")
        if self.target_t_ha < 0:
            wrong.append(f"target_t_ha must not be negative, but is {self.target_t_ha:g}")
        if not 0 < self.minutes_per_vine <= MOST_MINUTES:
            wrong.append(f"minutes_per_vine must be above 0 and at most {MOST_MINUTES}, not {self.minutes_per_vine:g}")
        if self.cost_per_hour is not None and not self.cost_per_hour >= 0:
            wrong.append(f"cost_per_hour must not be negative, but is {self.cost_per_hour:g}")
        wrong += [fault for name, value in self.wood.items() if (fault := wood_fault(name, value))]
        if wrong:
            raise ValueError("; ".join(wrong))


@dataclass(frozen=True)
class BlockSettings:
    """What the vineyard file says of a block; `wood` as in `PlanOptions`, for this block alone.

    `training_as_given` is what the grower calls the training; `own_training` the system where it is one of a file of own
    trainings. `posts_surveyed` says whether panels are those between posts that are there, or of a usual length. `farm` is
    "" where none is named.
    """

    block: str
    variety: str
    rule: str
    training: str
    row_spacing_m: float
    vine_spacing_m: float
    vines_per_panel: int
    planted: int | None = None
    wood: Mapping[str, float] = field(default_factory=dict)
    training_as_given: str = ""
    own_training: Training | None = None
    posts_surveyed: bool = True
    farm: str = ""

    @property
    def system(self) -> Training:
        """The training system."""
        return self.own_training or find_training(self.training)


@dataclass(frozen=True)
class Benefit:
    """What a plan is worth: the map against the mean, the zones against one number."""

    map: MapBenefit
    zones: ZoneBenefit


#: The sentence that says a block has too few weights for a map.
TOO_FEW = "surface.too_few_for_map"


@dataclass(frozen=True, eq=False)
class BlockPlan:
    """All that is known of one block. Tables are in `crs`, first column `block`; sizes in kg per vine.

    Attributes
    ----------
    name : str
    settings : BlockSettings
    polygon : MultiPolygon
    crs : CRS
        Projected, metres.
    verdict : str
        "zone" or "one_number".
    verdict_reasons : tuple of Message
    buds_per_vine : int or None
        The whole-block number; None where winter bud injury allows none.
    vine_size_kg, vine_size_se_kg, loo_rmse_kg, mean_rmse_kg : float
        Mean vine size with its standard error; error of the map and of the mean on vines left out.
    rows, zones, panels, vines, samples, replant_areas, flags, runs, next_vines : (Geo)DataFrame
        `buds_per_vine` is NaN where injury allows no number, 0 on vines that are not pruned to a count.
    advice : tuple of ZoneAdvice
        One per zone, in order.
    surface_grid : mapping or None
        "transform" (affine six), "vine_size_kg" and "vine_size_se_kg" (H, W), NaN outside the block.
    benefit : Benefit
        What map and zones are worth.
    model : Model
        How vine size was modelled.
    diagnostics : Diagnostics
        What a report shows of the fit.
    remarks : tuple of Remark
    rule : Rule or None
        The rule behind `settings.rule`, with its source.
    injury : Injury or None
    crop : Crop or None
        Expected crop of the block; None without figures to expect it from.
    alternative : GeoDataFrame or None
        The best zones of a block whose verdict is one number, for who wants zones anyway: zone, buds_per_vine.
    notes : tuple of Message
        What is said of the block as a whole: crop, hours, missing vines.
    options : PlanOptions
        The choices it was planned with, its own where it differs.
    """

    name: str
    settings: BlockSettings
    polygon: MultiPolygon
    crs: CRS
    verdict: str
    verdict_reasons: tuple[Message, ...]
    buds_per_vine: int | None
    vine_size_kg: float
    vine_size_se_kg: float
    loo_rmse_kg: float
    mean_rmse_kg: float
    rows: gpd.GeoDataFrame
    zones: gpd.GeoDataFrame
    panels: gpd.GeoDataFrame
    vines: gpd.GeoDataFrame
    samples: gpd.GeoDataFrame
    replant_areas: gpd.GeoDataFrame
    flags: gpd.GeoDataFrame
    runs: pd.DataFrame
    next_vines: gpd.GeoDataFrame
    advice: tuple[ZoneAdvice, ...]
    surface_grid: Mapping[str, Any] | None
    benefit: Benefit
    model: Model
    diagnostics: Diagnostics = field(default_factory=Diagnostics)
    remarks: tuple[Remark, ...] = ()
    rule: Rule | None = None
    injury: Injury | None = None
    crop: Crop | None = None
    notes: tuple[Message, ...] = ()
    alternative: gpd.GeoDataFrame | None = None
    options: PlanOptions = field(default_factory=PlanOptions)


@dataclass(frozen=True, eq=False)
class EstatePlan:
    """The plans of all blocks with where they came from: what writing needs.

    `options` are the settings of the run, written as plain data into summary.json; a block's own are in its plan.
    """

    blocks: tuple[BlockPlan, ...]
    crs: CRS
    options: Any = None
    remarks: tuple[Remark, ...] = ()
    sources: tuple[Any, ...] = ()
