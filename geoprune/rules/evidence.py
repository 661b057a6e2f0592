"""What each measured index of a zone says against published bands: a sign, and the sentence that goes with it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from geoprune.errors import Message
from geoprune.rules.bands import BULL_DIAMETER_MM, BULL_INTERNODE_MM, NO_WALL, Band, find_bands, grape_kind
from geoprune.rules.floors import FEWEST_VINES, TWO_SIDED, Measured

#: A zone is called rank by its bull canes when the low end of their share lies above this. A design choice: the
#: source says "many bull canes in a block, or several on one vine" (eXtension Grapes) and gives no number.
MANY_BULL_CANES = 0.10
#: What a value must lie beyond the end of a band to be called outside: one digit of what is shown, so that no page
#: says "6 mm, thinner than 6 mm". In kg/m, ratio, per m, mm.
SHOWN = {"pruning_weight": 0.015, "crop_load": 0.1, "shoots": 0.33, "cane_diameter": 0.26, "internode": 1.0}
#: What it says of a vine when a measure of its size lies below, above or inside its band.
SIGN_OF_SIZE = {"below": "weak", "above": "rank", "inside": "in balance"}
#: The same of last crop over pruning weight.
SIGN_OF_LOAD = {"below": "rank", "above": "weak", "inside": "in balance"}


@dataclass(frozen=True)
class ZoneFigures:
    """What is known of one zone; NaN where nothing is.

    Attributes
    ----------
    canopy : str
        "single", "divided horizontal", "divided vertical", or one of `NO_WALL`.
    vine_size_kg, vine_size_se_kg, pruning_kg_m_row, pruning_kg_m_canopy : float
        Pruning weight per vine with its standard error, per metre of row and per metre of canopy.
    buds_per_m_row, buds_per_m_canopy : float
        Buds prescribed, per metre.
    weighed : int
        Samples in the zone; its size rests on the others too.
    live_share : float
        Share of buds alive, so that shoots follow from buds.
    bull_share, bull_low, bull_high : float
        Share of bull canes and its credible interval.
    bull_vines, canes_counted : int
        Vines of the zone on which canes were counted, and how many canes.
    cane_weight_g : float
        Mean weight of a cane, over `cane_vines` vines.
    cane_diameter_mm, internode_mm : Measured
        Means over the vines of the zone on which they were measured.
    crop_load : float
        Last yield over pruning weight; `crop_of_block` where the yield is the block's and not the zone's own.
    pruning : str
        "hand", or "minimal": crop load then does not apply.
    variety, group : str
    buds_by_rule : float
        What the rule gives the zone's mean vine, before injury and limits.
    capacity : float
        Most buds the wood of this training holds.
    """

    canopy: str = "single"
    vine_size_kg: float = float("nan")
    vine_size_se_kg: float = 0.0
    weighed: int = 0
    pruning_kg_m_row: float = float("nan")
    pruning_kg_m_canopy: float = float("nan")
    buds_per_m_row: float = float("nan")
    buds_per_m_canopy: float = float("nan")
    live_share: float = 1.0
    bull_share: float = float("nan")
    bull_low: float = float("nan")
    bull_high: float = float("nan")
    bull_vines: int = 0
    canes_counted: int = 0
    cane_weight_g: float = float("nan")
    cane_vines: int = 0
    cane_diameter_mm: Measured = field(default_factory=Measured)
    internode_mm: Measured = field(default_factory=Measured)
    crop_load: float = float("nan")
    crop_of_block: bool = False
    pruning: str = "hand"
    variety: str = ""
    group: str = ""
    buds_by_rule: float = float("nan")
    capacity: float = float("nan")

    @property
    def kind(self) -> str:
        """Kind of grape, "winegrape", "American" or "" (see `bands.grape_kind`)."""
        return grape_kind(self.group)

    @property
    def size_ends(self) -> tuple[float, float]:
        """How much smaller and larger than estimated the mean vine may be, as factors, at 95 %."""
        spread = self.vine_size_se_kg / self.vine_size_kg if self.vine_size_kg > 0 else float("nan")
        half = TWO_SIDED * (spread if np.isfinite(spread) else 0.0)
        return max(1.0 - half, 0.0), 1.0 + half


@dataclass
class Signs:
    """Signs gathered from the figures: index -> "weak", "in balance", "rank", "unclear" or "strong"; the sentences."""

    found: dict[str, str] = field(default_factory=dict)
    messages: list[Message] = field(default_factory=list)


def gather_signs(figures: ZoneFigures) -> Signs:
    """Hold every index of a zone against the bands that apply to it.

    An index is below (above) only where the far end of its 95 % interval lies beyond every band that applies, those
    that merely are reported among them; bands that decide are needed to call it anything.
    """
    signs = Signs()
    for weigh in (_pruning_weight, _capacity, _bull_canes, _canes, _crop_load):
        weigh(figures, signs)
    return signs


def place_within(
    index: str, bands: tuple[Band, ...], ends: Callable[[Band], tuple[float, float]]
) -> tuple[str, Band] | None:
    """Say where an interval lies: "below" or "above" all bands, or "inside", with the band that says so best.

    None where no band decides. `ends` gives the interval in a band's own terms (per metre of row or of canopy).
    """
    deciding = [band for band in bands if band.decides]
    if not deciding or not np.isfinite(ends(deciding[0])).all():
        return None
    slack = SHOWN[index]
    lows, highs = [b for b in bands if np.isfinite(b.low)], [b for b in bands if np.isfinite(b.high)]
    for place, ended in (("below", lows), ("above", highs)):
        speaking = [band for band in ended if band.decides]
        beyond = [
            ends(band)[1] <= band.low - slack if place == "below" else ends(band)[0] >= band.high + slack for band in ended
        ]
        if speaking and all(beyond):
            return place, speaking[0]
    middle = {id(band): sum(ends(band)) / 2 for band in deciding}
    within = [band for band in deciding if band.place(middle[id(band)]) == "inside"]
    return ("inside", within[0]) if within else ("between", deciding[0])


def band_fields(band: Band, unit: str) -> dict[str, float | str]:
    """Ends, validity and source of a band as fields of a sentence."""
    fields: dict[str, float | str] = {"source": band.source, "validity": band.validity}
    if np.isfinite(band.low):
        fields[f"low_{unit}"] = band.low
    if np.isfinite(band.high):
        fields[f"high_{unit}"] = band.high
    return fields


def _pruning_weight(figures: ZoneFigures, signs: Signs) -> None:
    if not np.isfinite(figures.pruning_kg_m_canopy):
        return
    less, more = figures.size_ends
    row, canopy = figures.pruning_kg_m_row, figures.pruning_kg_m_canopy

    def ends(band: Band) -> tuple[float, float]:
        value = row if band.per == "row" else canopy
        return value * less, value * more

    given = {"row_kg_m": row, "canopy_kg_m": canopy, "weighed": figures.weighed}
    bands = find_bands("pruning_weight", canopy=figures.canopy, variety=figures.variety, kind=figures.kind)
    found = place_within("pruning_weight", bands, ends)
    if found is None:
        fields = given | {"from_kg_m": canopy * less, "to_kg_m": canopy * more}
        signs.messages.append(Message("balance.pruning_no_band", fields))
        return
    place, band = found
    if place in SIGN_OF_SIZE:
        signs.found["pruning_weight"] = SIGN_OF_SIZE[place]
    low, high = ends(band)
    span = {"from_kg_m": low, "to_kg_m": high}
    signs.messages.append(Message(f"balance.pruning_{place}_{_ends_known(band)}", given | span | band_fields(band, "kg_m")))
    for other in bands:
        if other.tag == "memory":
            signs.messages.append(Message(f"balance.pruning_memory_{other.per}", band_fields(other, "kg_m")))


def _capacity(figures: ZoneFigures, signs: Signs) -> None:
    """Wood that cannot hold what the rule asks for, even if the vines are as small as may be.

    Vines above one of the bands of pruning weight that apply, or for which none does, outgrow their trellis, where they
    have one along the row. Of others it is given, and they are not called in balance: a training of few canes holds less
    than many a vine of usual size is given.
    """
    low, high = (figures.buds_by_rule * end for end in figures.size_ends)
    if not low > figures.capacity:  # nor where either is not known
        return
    bands = find_bands("pruning_weight", canopy=figures.canopy, variety=figures.variety, kind=figures.kind)
    weights = {"row": figures.pruning_kg_m_row, "canopy": figures.pruning_kg_m_canopy}
    ended = [band for band in bands if np.isfinite(band.high)]
    above = any(weights[band.per] * figures.size_ends[0] > band.high for band in ended)
    large = figures.canopy not in NO_WALL and (above or not ended)
    signs.found["capacity"] = "rank" if large else "unclear"
    fields = {"rule_buds": figures.buds_by_rule, "low_buds": low, "high_buds": high, "capacity": figures.capacity}
    signs.messages.append(Message("balance.capacity_small" if large else "balance.capacity_short", fields))


def _bull_canes(figures: ZoneFigures, signs: Signs) -> None:
    if not np.isfinite(figures.bull_share) or not figures.canes_counted:
        return
    enough = figures.bull_vines >= FEWEST_VINES
    many = enough and figures.bull_low > MANY_BULL_CANES
    if many:
        signs.found["bull_canes"] = "rank"
    elif enough and figures.bull_high <= MANY_BULL_CANES:
        signs.found["bull_canes"] = "in balance"
    fields = {
        "percent": 100 * figures.bull_share,
        "low_percent": 100 * figures.bull_low,
        "high_percent": 100 * figures.bull_high,
        "canes": figures.canes_counted,
        "vines": figures.bull_vines,
        "diameter_thin_mm": BULL_DIAMETER_MM,
        "internode_mm": BULL_INTERNODE_MM,
        "fewest": FEWEST_VINES,
    }
    key = "many" if many else "some" if enough else "few_vines"
    signs.messages.append(Message(f"balance.bull_{key}", fields))


def _canes(figures: ZoneFigures, signs: Signs) -> None:
    if np.isfinite(figures.cane_weight_g) and figures.cane_vines >= FEWEST_VINES and figures.kind == "winegrape":
        usual = next(band for band in find_bands("cane_weight") if band.tag == "memory")
        fields = {"cane_weight_g": figures.cane_weight_g, "low_g": usual.low, "high_g": usual.high}
        signs.messages.append(Message("balance.cane_weight_memory", fields | {"vines": figures.cane_vines}))
        _strong_canes(figures, signs)
    for index, size in (("cane_diameter", figures.cane_diameter_mm), ("internode", figures.internode_mm)):
        unit = "thin_mm" if index == "cane_diameter" else "mm"
        if size.vines and not size.enough:
            fields = {f"size_{unit}": size.mean, "vines": size.vines, "fewest": FEWEST_VINES}
            signs.messages.append(Message(f"balance.{index}_few_vines", fields))
        if size.enough:
            _cane_index(index, size, unit, signs)


def _strong_canes(figures: ZoneFigures, signs: Signs) -> None:
    """Canes as heavy as those measured on vines within the bands of pruning weight speak against calling a vine weak.

    Little wood on a row is then few shoots, and not weak ones (a choice of ours; the weights are read).
    """
    measured = next(band for band in find_bands("cane_weight") if band.tag == "read")
    if signs.found.get("pruning_weight") == "weak" and figures.cane_weight_g >= measured.low:
        signs.found["cane_weight"] = "strong"
        fields = {"cane_weight_g": figures.cane_weight_g, "low_g": measured.low, "high_g": measured.high}
        signs.messages.append(
            Message("balance.cane_weight_strong", fields | {"vines": figures.cane_vines, "source": measured.source})
        )


def _cane_index(index: str, size: Measured, unit: str, signs: Signs) -> None:
    bands = tuple(band for band in find_bands(index) if band.decides)
    found = place_within(index, bands, lambda _: (size.low, size.high))
    if found is None or found[0] == "between":
        return
    place, band = found
    signs.found[index] = SIGN_OF_SIZE[place]
    limit = band.low if place == "below" else band.high
    span = {f"size_{unit}": size.mean, f"from_{unit}": size.low, f"to_{unit}": size.high, "vines": size.vines}
    if place != "inside":
        signs.messages.append(Message(f"balance.{index}_{place}", {**span, f"limit_{unit}": limit, "source": band.source}))


def _crop_load(figures: ZoneFigures, signs: Signs) -> None:
    if figures.pruning == "minimal":
        signs.messages.append(Message("balance.crop_load_refused"))
        return
    load = figures.crop_load
    if not np.isfinite(load):
        return
    # the spread of a zone's size says nothing of the block's crop load
    less, more = (1.0, 1.0) if figures.crop_of_block else figures.size_ends
    span = (load / more, load / less if less > 0 else float("inf"))
    given = {"crop_load": load, "from_load": span[0], "to_load": min(span[1], 999.0)}
    bands = find_bands("crop_load", canopy=figures.canopy, variety=figures.variety, kind=figures.kind)
    found = place_within("crop_load", bands, lambda _: span)
    whose = "block_" if figures.crop_of_block else ""
    if found is None:
        signs.messages.append(Message(f"balance.crop_load_{whose}no_band", given))
        return
    place, band = found
    if place in SIGN_OF_LOAD:
        signs.found[f"crop_load{'_of_block' if whose else ''}"] = SIGN_OF_LOAD[place]
    signs.messages.append(Message(f"balance.crop_load_{whose}{place}", given | band_fields(band, "load")))


def _ends_known(band: Band) -> str:
    return f"band_{band.per}" if np.isfinite(band.low) and np.isfinite(band.high) else f"least_{band.per}"
