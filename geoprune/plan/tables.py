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
from geoprune.replanting import Stand, gap_table
from geoprune.rules import (
    FEWEST_VINES,
    BudNeed,
    Injury,
    Shares,
    count_of_whole_pieces,
    smooth_shares,
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
class Findings:
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
    def this_winter(self) -> NDArray[np.bool_]:
        """Which samples (n,) were used and are of the newest winter, as those without a season are taken to be: what was
        weighed or counted on a vine in an earlier winter says nothing of what is done with it now."""
        used = self.samples["used"].to_numpy(bool)
        season = self.samples["season"].to_numpy(dtype=float)
        return used & ~(season < np.nanmax(np.append(season[used], -np.inf)))

    @property
    def fresh(self) -> gpd.GeoDataFrame:
        """The samples of this winter that were used."""
        return self.samples[self.this_winter]

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
        decided = treat_vines(self.trellis.vines, self.fresh, self.renew_share, renew_below_kg=self.need.renew_below_kg)
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
    def buds_per_vine(self) -> NDArray[Any]:
        """Buds per vine prescribed for each zone: whole numbers, or NaN where none holds (`no_number`)."""
        withheld = np.array([why != "" for why in self.no_number])
        buds = np.array([self.countable(int(count)) for count in self.zoning.buds])
        return np.where(withheld, np.nan, buds) if withheld.any() else buds

    @cached_property
    def no_number(self) -> tuple[str, ...]:
        """Why each zone has no number: "injury", "young" or "renew"; "" where one holds."""
        beyond = self.injured["injury_factor"].isna().to_numpy() | self.injury.stop
        said = [zone_no_number(line, self.need) for line in self.zone_lines]
        whys = ["" if message is None else NO_NUMBER[message.key] for message in said]
        return tuple("injury" if stop else why for stop, why in zip(beyond, whys, strict=True))

    @cached_property
    def zone_sizes(self) -> tuple[Floats, Floats]:
        """Mean vine size of each zone and its standard error, kg."""
        return self.surface.zone_means(self.zoning.panel_zone, self.zones)

    @cached_property
    def zone_lines(self) -> list[dict[str, float]]:
        """Mean vine size and share of vines to renew of each zone."""
        size, _ = self.zone_sizes
        shares = zip(size, renew_shares(self), strict=True)
        return [{"vine_size_kg": float(kg), "renew_share": float(share)} for kg, share in shares]

    def countable(self, buds: int) -> int:
        """The count prescribed for one asked for: that of whole pieces of wood (see `rules.count_of_whole_pieces`)."""
        return count_of_whole_pieces(buds, self.settings.system, self.settings.vine_spacing_m, **self.settings.wood)

    @property
    def without_number(self) -> bool:
        """Whether no zone of the block has a number."""
        return all(self.no_number)

    @property
    def past_limit(self) -> bool:
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


def zone_table(findings: Findings) -> gpd.GeoDataFrame:
    """One line per zone: extent, vine size, buds and what they come from, injury and bull canes."""
    trellis, labels = findings.trellis, findings.zoning.panel_zone
    size, error = findings.zone_sizes
    counted = trellis.panels["counted"].to_numpy()
    numbers = np.arange(1, findings.zones + 1)
    vines = np.array([counted[labels == zone].sum() for zone in numbers])
    shapes = zone_shapes(trellis, findings.polygon, labels).reset_index(drop=True)
    canopies = findings.settings.system.canopies
    lines = {
        "zone": numbers,
        "class": CLASSES[findings.zones],
        "vines": vines,
        "panels": [int((labels == zone).sum()) for zone in numbers],
        "area_ha": geodesic_area_ha(shapes),
        "vine_size_kg": size,
        "vine_size_se_kg": error,
        "vine_size_kg_m": size / trellis.vine_spacing_m,
        "renew_share": renew_shares(findings),
        "buds_by_rule": np.where(np.isnan(findings.buds_per_vine), np.nan, findings.need.rule.buds(size)),
        "buds_per_vine": findings.buds_per_vine,
        "no_number": list(findings.no_number),
        "buds_total": np.array([findings.numbered[labels == zone].sum() for zone in numbers]) * findings.buds_per_vine,
        **_injury_columns(findings, size),
        **_bull_columns(zone_bull_canes_of(findings)),
        "buds_per_m_row": findings.buds_per_vine / trellis.vine_spacing_m,
        "buds_per_m_canopy": findings.buds_per_vine / trellis.vine_spacing_m / canopies,
    }
    if findings.zoning.names:
        lines["given_as"] = list(findings.zoning.names)
    return named(findings.block, gpd.GeoDataFrame(lines, geometry=shapes))


def renew_shares(findings: Findings) -> Floats:
    """Share of each zone's counted vines expected below the size at which a vine is renewed."""
    weight, labels = findings.trellis.panels["counted"].to_numpy(float), findings.zoning.panel_zone - 1
    counted = np.bincount(labels, weights=weight, minlength=findings.zones)
    return np.bincount(labels, weights=weight * findings.renew_share, minlength=findings.zones) / np.maximum(counted, 1.0)


def zone_bull_canes_of(findings: Findings) -> Shares:
    """Share of bull canes per zone; NaN where canes were not counted."""
    return zone_bull_canes(findings.fresh, findings.sample_zone[findings.this_winter], findings.zones)


def panel_table(findings: Findings) -> gpd.GeoDataFrame:
    """One line per panel: from vine to vine, zone, buds, vine size, shares of bull canes and dead buds."""
    labels = findings.zoning.panel_zone
    panels = findings.trellis.panels.drop(columns="vines").rename(columns={"counted": "vines"})
    panels = panels.assign(zone=labels, buds_per_vine=findings.buds_per_vine[labels - 1], length_m=panels.length)
    panels["buds_total"] = findings.numbered * panels["buds_per_vine"]
    panels = panels.assign(**{name: findings.surface.panels[name].to_numpy() for name in findings.surface.panels})
    injury = np.full(len(panels), findings.injury.share) if findings.injury.panels is None else findings.injury.panels.share
    shares = {"injury_share": injury, "bull_cane_share": _panel_bull_canes(findings), "renew_share": findings.renew_share}
    return named(findings.block, panels.assign(**shares))


def vine_table(findings: Findings) -> gpd.GeoDataFrame:
    """One line per planting position: what is done with it; 0 buds on vines that are not pruned to a count."""
    vines = findings.trellis.vines
    zone = findings.zoning.panel_zone[vines["panel_id"].to_numpy()]
    sizes = {name: findings.surface.vines[name].to_numpy() for name in ("vine_size_kg", "vine_size_se_kg")}
    buds = buds_for(findings.treatment, findings.buds_per_vine[zone - 1])
    kept = vines[["row", "vine", "status", "panel", "geometry"]]
    return named(findings.block, kept.assign(treatment=findings.treatment, zone=zone, **sizes, buds_per_vine=buds))


def sample_table(findings: Findings) -> gpd.GeoDataFrame:
    """The samples as given, where they were placed, and what the others say of each."""
    others = {name: findings.surface.samples[name].to_numpy() for name in findings.surface.samples}
    given = findings.samples.drop(columns=["vine_id", "source_place", "row_named", "too_far"])
    return named(findings.block, given.assign(**others))


def run_table(findings: Findings) -> pd.DataFrame:
    """The crew's row list; without tape where no zone has a number."""
    runs = row_list(findings.trellis, findings.zoning.panel_zone, findings.buds_per_vine)
    return named(findings.block, runs.assign(bands=0) if findings.without_number else runs)


def flag_table(findings: Findings) -> gpd.GeoDataFrame:
    """The posts that get tape, with what stands on either side of each; none where no zone has a number."""
    posts = sign_posts(findings.trellis, findings.zoning.panel_zone, findings.buds_per_vine)
    return named(findings.block, posts.iloc[: 0 if findings.without_number else None])


def replant_table(findings: Findings) -> gpd.GeoDataFrame:
    """Areas of missing, dead and very small vines (those to be renewed) that are worth a crew's trip, the largest first."""
    settings, trellis = findings.settings, findings.trellis
    vines = trellis.vines[["row", "row_order", "vine", "status", "geometry"]].assign(weak=findings.treatment == "renew")
    spacings = trellis.row_spacing_m, trellis.vine_spacing_m
    stand = Stand(settings.block, settings.variety, "", *spacings, settings.vines_per_panel, vines)
    return gpd.GeoDataFrame(named(findings.block, gap_table(stand)))


def alternative_table(findings: Findings) -> gpd.GeoDataFrame | None:
    """The best zones of a block with one number, for who wants zones anyway; None where none are or no number holds."""
    other = findings.zoning.alternative
    if other is None or findings.without_number:
        return None
    shapes = zone_shapes(findings.trellis, findings.polygon, other.panel_zone).reset_index(drop=True)
    buds = [findings.countable(int(count)) for count in other.buds]
    table = gpd.GeoDataFrame({"zone": np.arange(1, len(buds) + 1), "buds_per_vine": buds}, geometry=shapes)
    return gpd.GeoDataFrame(named(findings.block, table))


def _injury_columns(findings: Findings, size: Floats) -> dict[str, Floats]:
    """Injury per zone, and what the rule asks for at both ends of its interval for zones of a size (kg); past the stop
    limit, at the limit."""
    injured, method = findings.injured, findings.injury.method
    columns = {name: injured[name].to_numpy(float) for name in injured}
    for end in ("low", "high"):
        factors = method.factor(np.minimum(columns[f"injury_{end}"], method.stop_above))
        asked = [float(zone_need(findings.need, factor)(kg)) for factor, kg in zip(factors, size, strict=True)]
        columns[f"buds_{end}"] = np.where(np.isnan(findings.buds_per_vine) | np.isnan(factors), np.nan, asked)
    return columns


def _bull_columns(shares: Shares) -> dict[str, Floats]:
    return {"bull_cane_share": shares.share, "bull_cane_low": shares.low, "bull_cane_high": shares.high}


def _panel_bull_canes(findings: Findings) -> Floats:
    """Share of bull canes per panel, smoothed over the block; NaN where canes were counted on too few vines."""
    samples, middles = findings.fresh, middle_points(findings.trellis.panels)
    counted = samples[samples["bull_canes"].notna() & (samples["canes"].fillna(0) > 0)]
    if len(counted) < FEWEST_VINES:
        return np.full(len(middles), np.nan)
    bull, canes = (counted[name].to_numpy(dtype=float) for name in ("bull_canes", "canes"))
    return smooth_shares(bull, canes, shapely.get_coordinates(counted.geometry.to_numpy()), middles).share


def zone_need(need: BudNeed, factor: float) -> BudNeed:
    """The need with one zone's injury factor."""
    return replace(need, injury_factor=factor if np.isfinite(factor) else 1.0)
