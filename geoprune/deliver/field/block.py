"""What a field page shows of a block: plain data, no tables."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date

import geopandas as gpd

from geoprune.errors import Message

#: What no vine exceeds, so that the page refuses what the commands would refuse (a test holds both together).
LEAST_KG, MOST_KG = 0.002, 12.0
MOST_COUNT = 500
#: A vine's weight is asked about beyond so many standard deviations of the logarithm: in a block that is as even as it
#: was expected, about one right weight in 370 is asked about (two sides of a normal; design choice).
ODD_AT = 3.0
#: Kinds of vines that are not pruned to the number, in the order they are listed.
KINDS_APART = ("gone", "young", "sick", "renew")

LonLat = tuple[float, float]


@dataclass(frozen=True)
class FieldVine:
    """A vine to go to.

    Attributes
    ----------
    order : int
        Place in the walk, from 1.
    row : str
    vine : int
    spare_of : int or None
        The `order` of the vine this one stands in for when that one cannot be weighed.
    lonlat : tuple of float or None
        Longitude and latitude, degrees (WGS 84).
    expected_kg : tuple of float or None
        Least and greatest weight of one vine's prunings that needs no second look.
    together : tuple of int or None
        First and last vine, where the prunings of several are weighed as one; `vine` is one of them.
    """

    order: int
    row: str
    vine: int
    spare_of: int | None = None
    lonlat: LonLat | None = None
    expected_kg: tuple[float, float] | None = None
    together: tuple[int, int] | None = None


@dataclass(frozen=True)
class FieldRun:
    """Neighbouring vines of a row with one number. `buds` is None where there is none: `instead` is "young" or "renew" where
    that is what is done there, else "": stop and ask."""

    first_vine: int
    last_vine: int
    zone: int
    buds: int | None
    bands: int = 0
    instead: str = ""


@dataclass(frozen=True)
class FieldRow:
    """A row, in the order rows are walked.

    Attributes
    ----------
    row : str
        As painted on the end post.
    first_vine, last_vine : int
    line : tuple of tuple of float
        Longitude and latitude from the first vine to the last; empty where not known.
    runs : tuple of FieldRun
        From vine 1 up.
    apart : mapping
        Kind (`KINDS_APART`) -> vines that are not pruned to the number.
    """

    row: str
    first_vine: int
    last_vine: int
    line: tuple[LonLat, ...] = ()
    runs: tuple[FieldRun, ...] = ()
    apart: Mapping[str, tuple[int, ...]] = field(default_factory=dict)


@dataclass(frozen=True)
class FieldBlock:
    """All that a field page knows.

    Attributes
    ----------
    name : str
    season : int
        Year of the pruning, the same for a whole winter (`pruning_season`).
    variety : str
    estate : str
        Tells blocks of one name on different estates apart on one phone.
    rows : tuple of FieldRow
        In walking order.
    weigh, buds, check : tuple of FieldVine
        Vines to weigh, to cut buds from and to count again, in walking order. Where a list is empty people choose.
    expected_kg : tuple of float or None
        As `FieldVine.expected_kg`, for vines without their own.
    signs : tuple of Message
        What the marks on the posts mean, shown on the row card.
    taped : bool
        Whether bands of tape show the numbers.
    """

    name: str
    season: int
    variety: str = ""
    estate: str = ""
    rows: tuple[FieldRow, ...] = ()
    weigh: tuple[FieldVine, ...] = ()
    buds: tuple[FieldVine, ...] = ()
    check: tuple[FieldVine, ...] = ()
    expected_kg: tuple[float, float] | None = None
    signs: tuple[Message, ...] = ()
    taped: bool = False

    @property
    def book(self) -> str:
        """Name under which a phone keeps this block's entries; a new winter begins a new book."""
        return "\n".join((self.estate, self.name, str(self.season)))


def expected_range(mean_kg: float, spread_kg: float) -> tuple[float, float] | None:
    """Return the weights that need no second look, for vines of a mean and standard deviation.

    Parameters
    ----------
    mean_kg, spread_kg : float
        Of single vines, kg; the spread holds both the map's error and the difference from vine to vine.

    Returns
    -------
    tuple of float or None
        Least and greatest, kg: `ODD_AT` standard deviations of a lognormal of this mean and spread, which no weight
        below zero belongs to. None where either is unknown.

    Examples
    --------
    >>> low, high = expected_range(1.0, 0.4)
    >>> round(low, 2), round(high, 2)
    (0.29, 2.95)
    """
    if not (math.isfinite(mean_kg) and math.isfinite(spread_kg) and mean_kg > 0 and spread_kg > 0):
        return None
    # For a lognormal, s^2 = ln(1 + (spread / mean)^2) and the mean of the logarithm is ln(mean) - s^2 / 2.
    variance = math.log1p((spread_kg / mean_kg) ** 2)
    middle, reach = math.log(mean_kg) - variance / 2, ODD_AT * math.sqrt(variance)
    return max(math.exp(middle - reach), LEAST_KG), min(math.exp(middle + reach), MOST_KG)


def season_of(vines: gpd.GeoDataFrame, made: date) -> int:
    """Return the year of the pruning of vines (`pruning_season`), by where they stand and the day of the plan."""
    return pruning_season(made, float(vines.geometry.iloc[:1].to_crs("EPSG:4326").y.iloc[0]))


def pruning_season(day: date, latitude: float) -> int:
    """Return the year a winter's pruning is called by: that of its spring.

    North of the equator the dormant season that begins in October belongs to the next year, so that weights of December
    and January are one season; south of it winter lies within one year (design choice).

    Examples
    --------
    >>> pruning_season(date(2026, 12, 5), 42.3), pruning_season(date(2026, 7, 1), -34.0)
    (2027, 2026)
    """
    return day.year + 1 if latitude >= 0 and day.month >= 10 else day.year
