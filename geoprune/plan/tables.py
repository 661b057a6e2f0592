"""The tables of a plan, from what the steps found."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray
from shapely import MultiPolygon

from geoprune.areas import geodesic_area_ha
from geoprune.plan.apart import TO_NUMBER, buds_for, treat_vines
from geoprune.plan.shape import BlockSettings
from geoprune.rules import (
    FEWEST_VINES,
    BudNeed,
    Injury,
    Shares,
    smooth_shares,
    told_count,
    zone_bull_canes,
    zone_injury,
    zone_no_number,
)
from geoprune.signs import row_list, sign_posts
from geoprune.surface import Surface
from geoprune.trellis import Trellis, middle_points
from geoprune.zones import Zoning, zone_shapes

Floats = NDArray[np.float64]

#: Why a zone has no number, by the sentence of the rules that says so; and what is done there instead.
NO_NUMBER = {"rules.no_number_young": "young", "rules.no_number_small": "renew"}
INSTEAD = {"young": "young", "renew": "renew"}
CLASSES = {
    1: ["whole block"],
    2: ["small vines", "large vines"],
    3: ["small vines", "middle vines", "large vines"],
    4: ["small vines", "lower middle vines", "upper middle vines", "large vines"],
}


@dataclass(frozen=True, eq=False)
class Found:
    """What the steps found of one block. `samples` are placed; `need` turns vine size into buds."""

    settings: BlockSettings
    polygon: MultiPolygon
    trellis: Trellis
    samples: gpd.GeoDataFrame
    surface: Surface
    zoning: Zoning
    need: BudNeed
    injury: Injury

    @property
    def block(self) -> str:
        """Name of the block."""
        return self.settings.block

    @property
    def zones(self) -> int:
        """Number of zones."""
        return len(self.zoning.buds)

    @cached_property
    def injured(self) -> pd.DataFrame:
        """Injury per zone, in order (see `rules.zone_injury`)."""
        return zone_injury(self.injury, self.zoning.panel_zone, self.trellis.panels["counted"])

    @cached_property
    def renew_share(self) -> Floats:
        """Share of each panel's vines (P,) expected below the size at which a vine is renewed."""
        return self.need.is_renew(self.surface.draws.vine_points()).mean(axis=1)

    @cached_property
    def treatment(self) -> NDArray[np.object_]:
        """What is done with each vine (V,), see `plan.apart`."""
        decided = treat_vines(self.trellis.vines, self.samples, self.renew_share, renew_below_kg=self.need.renew_below_kg)
        zone = self.zoning.panel_zone[self.trellis.vines["panel_id"].to_numpy()] - 1
        instead = np.array([INSTEAD.get(why, "") for why in self.no_number], dtype=object)[zone]
        # a young vine is small because it is young: its frame is grown, it is not cut back to be renewed
        pruned = np.isin(decided, TO_NUMBER) | ((decided == "renew") & (instead == "young"))
        return np.where(pruned & (instead != ""), instead, decided)

    @cached_property
    def numbered(self) -> NDArray[np.int64]:
        """Vines of each panel (P,) that are pruned to the number."""
        pruned = np.isin(self.treatment, TO_NUMBER)
        panel = self.trellis.vines["panel_id"].to_numpy()
        return np.bincount(panel[pruned], minlength=len(self.trellis.panels))

    @cached_property
    def told(self) -> NDArray[Any]:
        """Buds per vine told for each zone: whole numbers, or NaN where none holds (`no_number`)."""
        withheld = np.array([why != "" for why in self.no_number])
        buds = np.array([self.tell(int(count)) for count in self.zoning.buds])
        return np.where(withheld, np.nan, buds) if withheld.any() else buds

    @cached_property
    def no_number(self) -> tuple[str, ...]:
        """Why each zone has no number: "injury", "young" or "renew"; "" where one holds."""
        stopped = self.injured["injury_factor"].isna().to_numpy() | self.injury.stop
        said = [zone_no_number(line, self.need) for line in self.zone_lines]
        whys = ["" if message is None else NO_NUMBER[message.key] for message in said]
        return tuple("injury" if stop else why for stop, why in zip(stopped, whys, strict=True))

    @cached_property
    def zone_lines(self) -> list[dict[str, float]]:
        """Mean vine size and share of vines to renew of each zone."""
        size, _ = self.surface.zone_means(self.zoning.panel_zone, self.zones)
        shares = zip(size, renew_shares(self), strict=True)
        return [{"vine_size_kg": float(kg), "renew_share": float(share)} for kg, share in shares]

    def tell(self, buds: int) -> int:
        """The count told for one asked for: that of whole pieces of wood (see `rules.told_count`)."""
        return told_count(buds, self.settings.system, self.settings.vine_spacing_m, **self.settings.wood)

    @property
    def stopped(self) -> bool:
        """Whether no zone of the block has a number."""
        return all(self.no_number)

    @property
    def halted(self) -> bool:
        """Whether injury allows no zone of the block a number."""
        return all(why == "injury" for why in self.no_number)

    @property
    def sample_zone(self) -> NDArray[np.int64]:
        """Zone of each sample's vine."""
        panel = self.trellis.vines["panel_id"].to_numpy()[self.samples["vine_id"].to_numpy(int)]
        return self.zoning.panel_zone[panel]


def named(block: str, table: pd.DataFrame) -> pd.DataFrame:
    """Return a table with the block's name as its first column, and no column twice."""
    plain = table.loc[:, ~table.columns.duplicated()].drop(columns="block", errors="ignore").reset_index(drop=True)
    plain.insert(0, "block", pd.Series([block] * len(plain), dtype=object))
    return plain


def zone_table(found: Found) -> gpd.GeoDataFrame:
    """One line per zone: extent, vine size, buds and what they come from, injury and bull canes."""
    trellis, labels = found.trellis, found.zoning.panel_zone
    size, error = found.surface.zone_means(labels, found.zones)
    counted = trellis.panels["counted"].to_numpy()
    numbers = np.arange(1, found.zones + 1)
    vines = np.array([counted[labels == zone].sum() for zone in numbers])
    shapes = zone_shapes(trellis, found.polygon, labels).reset_index(drop=True)
    canopies = found.settings.system.canopies
    lines = {
        "zone": numbers,
        "class": CLASSES[found.zones],
        "vines": vines,
        "panels": [int((labels == zone).sum()) for zone in numbers],
        "area_ha": geodesic_area_ha(shapes),
        "vine_size_kg": size,
        "vine_size_se_kg": error,
        "vine_size_kg_m": size / trellis.vine_spacing_m,
        "renew_share": renew_shares(found),
        "buds_by_rule": np.where(np.isnan(found.told), np.nan, found.need.rule.buds(size)),
        "buds_per_vine": found.told,
        "no_number": list(found.no_number),
        "buds_total": np.array([found.numbered[labels == zone].sum() for zone in numbers]) * found.told,
        **_injury_columns(found, size),
        **_bull_columns(zone_bull_canes_of(found)),
        "buds_per_m_row": found.told / trellis.vine_spacing_m,
        "buds_per_m_canopy": found.told / trellis.vine_spacing_m / canopies,
    }
    if found.zoning.names:
        lines["given_as"] = list(found.zoning.names)
    return named(found.block, gpd.GeoDataFrame(lines, geometry=shapes))


def renew_shares(found: Found) -> Floats:
    """Share of each zone's counted vines expected below the size at which a vine is renewed."""
    weight, labels = found.trellis.panels["counted"].to_numpy(float), found.zoning.panel_zone - 1
    counted = np.bincount(labels, weights=weight, minlength=found.zones)
    return np.bincount(labels, weights=weight * found.renew_share, minlength=found.zones) / np.maximum(counted, 1.0)


def zone_bull_canes_of(found: Found) -> Shares:
    """Share of bull canes per zone; NaN where canes were not counted."""
    used = found.samples["used"].to_numpy(bool)
    return zone_bull_canes(found.samples[used], found.sample_zone[used], found.zones)


def panel_table(found: Found) -> gpd.GeoDataFrame:
    """One line per panel: from vine to vine, zone, buds, vine size, shares of bull canes and dead buds."""
    labels = found.zoning.panel_zone
    panels = found.trellis.panels.drop(columns="vines").rename(columns={"counted": "vines"})
    panels = panels.assign(zone=labels, buds_per_vine=found.told[labels - 1], length_m=panels.length)
    panels["buds_total"] = found.numbered * panels["buds_per_vine"]
    panels = panels.assign(**{name: found.surface.panels[name].to_numpy() for name in found.surface.panels})
    injury = np.full(len(panels), found.injury.share) if found.injury.panels is None else found.injury.panels.share
    told = {"injury_share": injury, "bull_cane_share": _panel_bull_canes(found), "renew_share": found.renew_share}
    return named(found.block, panels.assign(**told))


def vine_table(found: Found) -> gpd.GeoDataFrame:
    """One line per planting position: what is done with it; 0 buds on vines that are not pruned to a count."""
    vines = found.trellis.vines
    zone = found.zoning.panel_zone[vines["panel_id"].to_numpy()]
    sizes = {name: found.surface.vines[name].to_numpy() for name in ("vine_size_kg", "vine_size_se_kg")}
    buds = buds_for(found.treatment, found.told[zone - 1])
    kept = vines[["row", "vine", "status", "panel", "geometry"]]
    return named(found.block, kept.assign(treatment=found.treatment, zone=zone, **sizes, buds_per_vine=buds))


def sample_table(found: Found) -> gpd.GeoDataFrame:
    """The samples as given, where they were placed, and what the others say of each."""
    others = {name: found.surface.samples[name].to_numpy() for name in found.surface.samples}
    given = found.samples.drop(columns=["vine_id", "source_place", "row_named", "too_far"])
    return named(found.block, given.assign(**others))


def run_table(found: Found) -> pd.DataFrame:
    """The crew's row list; without tape where no zone has a number."""
    runs = row_list(found.trellis, found.zoning.panel_zone, found.told)
    return named(found.block, runs.assign(bands=0) if found.stopped else runs)


def flag_table(found: Found) -> gpd.GeoDataFrame:
    """The posts that get tape, with what stands on either side of each; none where no zone has a number."""
    posts = sign_posts(found.trellis, found.zoning.panel_zone, found.told)
    return named(found.block, posts.iloc[: 0 if found.stopped else None])


def alternative_table(found: Found) -> gpd.GeoDataFrame | None:
    """The best zones of a block with one number, for who wants zones anyway; None where none are or no number holds."""
    other = found.zoning.alternative
    if other is None or found.stopped:
        return None
    shapes = zone_shapes(found.trellis, found.polygon, other.panel_zone).reset_index(drop=True)
    buds = [found.tell(int(count)) for count in other.buds]
    table = gpd.GeoDataFrame({"zone": np.arange(1, len(buds) + 1), "buds_per_vine": buds}, geometry=shapes)
    return gpd.GeoDataFrame(named(found.block, table))


def _injury_columns(found: Found, size: Floats) -> dict[str, Floats]:
    """Injury per zone, and what the rule asks for at both ends of its interval for zones of a size (kg); past the stop
    limit, at the limit."""
    injured, method = found.injured, found.injury.method
    columns = {name: injured[name].to_numpy(float) for name in injured}
    for end in ("low", "high"):
        factors = method.factor(np.minimum(columns[f"injury_{end}"], method.stop_above))
        asked = [float(zone_need(found.need, factor)(kg)) for factor, kg in zip(factors, size, strict=True)]
        columns[f"buds_{end}"] = np.where(np.isnan(found.told) | np.isnan(factors), np.nan, asked)
    return columns


def _bull_columns(shares: Shares) -> dict[str, Floats]:
    return {"bull_cane_share": shares.share, "bull_cane_low": shares.low, "bull_cane_high": shares.high}


def _panel_bull_canes(found: Found) -> Floats:
    """Share of bull canes per panel, smoothed over the block; NaN where canes were counted on too few vines."""
    samples, middles = found.samples, middle_points(found.trellis.panels)
    counted = samples[samples["used"] & samples["bull_canes"].notna() & (samples["canes"].fillna(0) > 0)]
    if len(counted) < FEWEST_VINES:
        return np.full(len(middles), np.nan)
    bull, canes = (counted[name].to_numpy(dtype=float) for name in ("bull_canes", "canes"))
    return smooth_shares(bull, canes, shapely.get_coordinates(counted.geometry.to_numpy()), middles).share


def zone_need(need: BudNeed, factor: float) -> BudNeed:
    """The need with one zone's injury factor."""
    return replace(need, injury_factor=factor if np.isfinite(factor) else 1.0)
