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
from geoprune.plan.shape import BlockSettings
from geoprune.rules import BudNeed, Injury, Shares, find_training, smooth_shares, zone_bull_canes, zone_injury
from geoprune.surface import Surface
from geoprune.trellis import Trellis, middle_points, panel_footprints
from geoprune.zones import Zoning, row_list, zone_shapes

Floats = NDArray[np.float64]

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
    def told(self) -> NDArray[Any]:
        """Buds per vine told for each zone: whole numbers, or NaN where injury allows none."""
        stopped = self.injured["injury_factor"].isna().to_numpy() | self.injury.stop
        return np.where(stopped, np.nan, self.zoning.buds) if stopped.any() else self.zoning.buds

    @property
    def stopped(self) -> bool:
        """Whether injury allows no zone of the block a number."""
        return bool(np.isnan(np.asarray(self.told, dtype=float)).all())

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
    shapes = zone_shapes(panel_footprints(trellis, found.polygon), labels).reset_index(drop=True)
    canopies = find_training(found.settings.training).canopies
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
        "buds_total": vines * found.told,
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
    panels["buds_total"] = panels["vines"] * panels["buds_per_vine"]
    panels = panels.assign(**{name: found.surface.panels[name].to_numpy() for name in found.surface.panels})
    injury = np.full(len(panels), found.injury.share) if found.injury.panels is None else found.injury.panels.share
    told = {"injury_share": injury, "bull_cane_share": _panel_bull_canes(found), "renew_share": found.renew_share}
    return named(found.block, panels.assign(**told))


def vine_table(found: Found) -> gpd.GeoDataFrame:
    """One line per planting position; 0 buds on vines that are not pruned to a count."""
    vines = found.trellis.vines
    zone = found.zoning.panel_zone[vines["panel_id"].to_numpy()]
    sizes = {name: found.surface.vines[name].to_numpy() for name in ("vine_size_kg", "vine_size_se_kg")}
    buds = np.where(vines["counted"], found.told[zone - 1], 0)
    kept = vines[["row", "vine", "status", "panel", "geometry"]]
    return named(found.block, kept.assign(zone=zone, **sizes, buds_per_vine=buds))


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
    """The posts that get tape; none where no zone has a number."""
    return named(found.block, found.zoning.flags.iloc[: 0 if found.stopped else None])


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
    """Share of bull canes per panel, smoothed over the block; NaN where canes were not counted."""
    samples, middles = found.samples, middle_points(found.trellis.panels)
    counted = samples[samples["used"] & samples["bull_canes"].notna() & (samples["canes"].fillna(0) > 0)]
    if len(counted) < 2:
        return np.full(len(middles), np.nan)
    bull, canes = (counted[name].to_numpy(dtype=float) for name in ("bull_canes", "canes"))
    return smooth_shares(bull, canes, shapely.get_coordinates(counted.geometry.to_numpy()), middles).share


def zone_need(need: BudNeed, factor: float) -> BudNeed:
    """The need with one zone's injury factor."""
    return replace(need, injury_factor=factor if np.isfinite(factor) else 1.0)
