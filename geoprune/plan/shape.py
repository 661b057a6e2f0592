"""The shape of a plan: all that is told about a block, for maps, sheets, files and the terminal alike."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import geopandas as gpd
import pandas as pd
from pyproj import CRS
from shapely import MultiPolygon

from geoprune.errors import Message, Remark
from geoprune.rules import DEFAULT_METHOD, MINUTES_PER_VINE, Crop, Injury, Rule, ZoneAdvice
from geoprune.zones import ZoneOptions


@dataclass(frozen=True)
class PlanOptions:
    """Choices of a run.

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


@dataclass(frozen=True)
class BlockSettings:
    """What the vineyard file says of a block; `wood` as in `PlanOptions`, for this block alone."""

    block: str
    variety: str
    rule: str
    training: str
    row_spacing_m: float
    vine_spacing_m: float
    vines_per_panel: int
    planted: int | None = None
    wood: Mapping[str, float] = field(default_factory=dict)


#: The sentence that says a block has too few weights for a map.
TOO_FEW = "surface.too_few_for_map"
#: The sentences that say zones drawn by others are not worth it: they save less than asked for, or lose.
NOT_WORTH = ("zones.given_little", "zones.given_loss")


@dataclass(frozen=True, eq=False)
class BlockPlan:
    """All that is told about one block. Tables are in `crs`, first column `block`; sizes in kg per vine.

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
    merit, model, diagnostics : mapping
        What the zones save; how the surface was fitted; plain data for a report.
    remarks : tuple of Remark
    rule : Rule or None
        The rule behind `settings.rule`, with its source.
    injury : Injury or None
    crop : Crop or None
        Expected crop of the block; None without figures to tell it from.
    notes : tuple of Message
        What is told of the block as a whole: crop, hours, missing vines.
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
    merit: Mapping[str, Any]
    model: Mapping[str, Any]
    diagnostics: Mapping[str, Any] = field(default_factory=dict)
    remarks: tuple[Remark, ...] = ()
    rule: Rule | None = None
    injury: Injury | None = None
    crop: Crop | None = None
    notes: tuple[Message, ...] = ()

    @property
    def stopped_zones(self) -> tuple[int, ...]:
        """Zones without a number: winter bud injury allows none, and a person must look first."""
        return tuple(int(zone) for zone in self.zones.loc[self.zones["buds_per_vine"].isna(), "zone"])

    @property
    def zone_names(self) -> dict[int, str]:
        """What zones that were given are called there; none that is a mere number."""
        if "given_as" not in self.zones:
            return {}
        named = zip(self.zones["zone"], self.zones["given_as"], strict=True)
        return {int(zone): str(name) for zone, name in named if not str(name).isdecimal()}

    @property
    def stopped(self) -> bool:
        """Whether no vine of the block has a number."""
        return self.buds_per_vine is None or len(self.stopped_zones) == len(self.zones)

    @property
    def taped(self) -> bool:
        """Whether bands of tape tell the crew which number holds."""
        return len(self.zones) > 1 and not self.stopped

    @property
    def headline(self) -> str:
        """What is to be said first: "stop", "zone", "one" number will do, one number for "now" with too few weights, or
        "given": zones drawn by others stay, but one number would do.
        """
        said = {reason.key for reason in self.verdict_reasons}
        if self.stopped:
            return "stop"
        if len(self.zones) > 1:
            return "zone" if said.isdisjoint(NOT_WORTH) or self.stopped_zones else "given"
        return "now" if TOO_FEW in said else "one"


@dataclass(frozen=True, eq=False)
class EstatePlan:
    """The plans of all blocks with where they came from: what the writing room needs."""

    blocks: tuple[BlockPlan, ...]
    crs: CRS
    options: Any = None
    remarks: tuple[Remark, ...] = ()
    sources: tuple[Any, ...] = ()
