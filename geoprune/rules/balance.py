"""Weak, in balance or rank: what a zone's figures say against published bands, and the usual remedies."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from geoprune.errors import Message
from geoprune.rules.bands import BULL_DIAMETER_MM, BULL_INTERNODE_MM, Band, find_bands
from geoprune.rules.need import RENEW_BELOW_KG

#: A zone is called rank by its bull canes when the low end of their share lies above this. A design choice: the
#: source says "many bull canes in a block, or several on one vine" (eXtension Grapes) and gives no number.
MANY_BULL_CANES = 0.10
#: Grape groups whose crop load has no band in print: native juice grapes run higher than vinifera.
NO_CROP_LOAD_BAND = ("American",)


#: What it says of a vine when a measure of its size lies below, above or inside its band.
SIGN_OF_SIZE = {"below": "weak", "above": "rank", "inside": "in balance"}


@dataclass(frozen=True)
class ZoneFigures:
    """What is known of one zone; NaN where nothing is.

    Attributes
    ----------
    canopy : str
        "single", "divided horizontal" or "divided vertical".
    vine_size_kg, pruning_kg_m_row, pruning_kg_m_canopy : float
        Pruning weight per vine, per metre of row and per metre of canopy.
    buds_per_m_row, buds_per_m_canopy : float
        Buds told, per metre.
    live_share : float
        Share of buds alive, so that shoots can be told from buds.
    bull_share, bull_low, bull_high : float
        Share of bull canes and its credible interval.
    cane_weight_g, cane_diameter_mm, internode_mm : float
        Means over the zone's samples.
    crop_load : float
        Last yield over pruning weight.
    pruning : str
        "hand", or "minimal": crop load then does not apply.
    variety, group : str
    """

    canopy: str = "single"
    vine_size_kg: float = float("nan")
    pruning_kg_m_row: float = float("nan")
    pruning_kg_m_canopy: float = float("nan")
    buds_per_m_row: float = float("nan")
    buds_per_m_canopy: float = float("nan")
    live_share: float = 1.0
    bull_share: float = float("nan")
    bull_low: float = float("nan")
    bull_high: float = float("nan")
    cane_weight_g: float = float("nan")
    cane_diameter_mm: float = float("nan")
    internode_mm: float = float("nan")
    crop_load: float = float("nan")
    pruning: str = "hand"
    variety: str = ""
    group: str = ""


@dataclass(frozen=True)
class Diagnosis:
    """What a zone's figures say: `key` is "weak", "in balance", "rank" or "unknown"."""

    key: str
    message: Message
    evidence: tuple[Message, ...] = ()
    remedies: tuple[Message, ...] = ()
    signs: dict[str, str] = field(default_factory=dict)


def diagnose(figures: ZoneFigures) -> Diagnosis:
    """Say whether a zone is weak, in balance or rank, with the evidence and the usual remedies.

    Each index that has a deciding band gives a sign: a value below every such band, or above every one. One kind
    of sign settles it; both kinds together, or none, leave it "unknown". Bands from memory are told but decide
    nothing. The rule for putting signs together is a design choice; the bands and their sources are data.
    """
    signs: dict[str, str] = {}
    evidence: list[Message] = []
    for weigh in (_pruning_weight, _bull_canes, _canes, _crop_load):
        weigh(figures, signs, evidence)
    key = _verdict(signs)
    density = density_notes(figures)
    evidence += density
    crowded = any(note.key.startswith("balance.crowded") for note in density)
    if key == "unknown":
        message = Message("balance.signs_disagree" if signs else "balance.unknown")
    else:
        message = Message(f"balance.{key.replace(' ', '_')}")
    return Diagnosis(key, message, tuple(evidence), remedies(key, figures, signs, crowded=crowded), signs)


def remedies(key: str, figures: ZoneFigures, signs: dict[str, str], *, crowded: bool = False) -> tuple[Message, ...]:
    """The usual remedies (common practice, no source), never a spray or a dose; most fitting first.

    `crowded`: buds stand closer than every published shoot density. What pulls apart is settled by `advice.settle`.
    """
    if key == "weak":
        names = ["hold_buds", "thin_clusters", "check_feeding", "less_competition", "check_roots"]
        if signs.get("crop_load") == "weak":
            names = ["thin_clusters", *(name for name in names if name != "thin_clusters")]
        if figures.vine_size_kg < RENEW_BELOW_KG:
            names = ["renew", *names]
    elif key == "rank":
        names = ["give_buds", "spare_canes", "check_nitrogen_water", "more_competition"]
        if figures.canopy == "single":
            names.insert(1 if crowded else len(names), "divide_canopy")
    elif key == "in balance":
        names = ["keep_on"]
    else:
        names = ["look_first"]
    if crowded:
        names.append("thin_shoots")
    return tuple(Message(f"balance.remedy_{name}") for name in names)


def density_notes(figures: ZoneFigures) -> list[Message]:
    """Say when buds stand closer or wider than every published shoot density that decides.

    Dead buds make no shoots: above the band, the live count is told as well.
    """
    if not np.isfinite(figures.buds_per_m_canopy):
        return []
    bands = [band for band in find_bands("shoots", canopy=figures.canopy) if band.decides]
    places = [band.place(_density(band, figures)) for band in bands]
    density = figures.buds_per_m_canopy
    above = [band for band, place in zip(bands, places, strict=True) if place == "above"]
    if above:
        key = "balance.crowded" + ("_live" if figures.live_share < 1 else "")
        limit = max(band.high for band in above)
        fields = {"density_per_m": density, "alive_per_m": density * figures.live_share, "limit_per_m": limit}
        return [Message(key, fields | {"source": "; ".join(band.source for band in above)})]
    if bands and all(place == "below" for place in places):
        fields = {"density_per_m": density, "limit_per_m": min(band.low for band in bands)}
        return [Message("balance.wide", fields | {"source": "; ".join(band.source for band in bands)})]
    return []


def _density(band: Band, figures: ZoneFigures) -> float:
    return figures.buds_per_m_row if band.per == "row" else figures.buds_per_m_canopy


def _verdict(signs: dict[str, str]) -> str:
    kinds = set(signs.values())
    if {"weak", "rank"} <= kinds:
        return "unknown"
    for kind in ("weak", "rank"):
        if kind in kinds:
            return kind
    return "in balance" if kinds else "unknown"


def _against(bands: tuple[Band, ...], value: Callable[[Band], float]) -> tuple[str, Band] | None:
    deciding = [band for band in bands if band.decides and np.isfinite(value(band))]
    if not deciding:
        return None
    below, above = [b for b in deciding if np.isfinite(b.low)], [b for b in deciding if np.isfinite(b.high)]
    if below and all(band.place(value(band)) == "below" for band in below):
        return "below", min(below, key=lambda band: band.low)
    if above and all(band.place(value(band)) == "above" for band in above):
        return "above", max(above, key=lambda band: band.high)
    return "inside", next((b for b in deciding if b.place(value(b)) == "inside"), deciding[0])


def _pruning_weight(figures: ZoneFigures, signs: dict[str, str], evidence: list[Message]) -> None:
    def value(band: Band) -> float:
        return figures.pruning_kg_m_row if band.per == "row" else figures.pruning_kg_m_canopy

    if not np.isfinite(figures.pruning_kg_m_canopy):
        return
    told = {"row_kg_m": figures.pruning_kg_m_row, "canopy_kg_m": figures.pruning_kg_m_canopy}
    bands = find_bands("pruning_weight", canopy=figures.canopy, variety=figures.variety)
    found = _against(bands, value)
    if found is None:
        evidence.append(Message("balance.pruning_no_band", told))
        return
    place, band = found
    signs["pruning_weight"] = SIGN_OF_SIZE[place]
    evidence.append(Message(f"balance.pruning_{place}_{_ends(band)}", told | _band_fields(band, "kg_m")))
    for other in bands:
        if other.tag == "memory":
            fields = _band_fields(other, "kg_m") | {"validity": other.validity}
            evidence.append(Message(f"balance.pruning_memory_{other.per}", fields))


def _bull_canes(figures: ZoneFigures, signs: dict[str, str], evidence: list[Message]) -> None:
    if not np.isfinite(figures.bull_share):
        return
    many = figures.bull_low > MANY_BULL_CANES
    if many:
        signs["bull_canes"] = "rank"
    fields = {
        "percent": 100 * figures.bull_share,
        "low_percent": 100 * figures.bull_low,
        "high_percent": 100 * figures.bull_high,
        "diameter_mm": BULL_DIAMETER_MM,
        "internode_mm": BULL_INTERNODE_MM,
    }
    evidence.append(Message("balance.bull_many" if many else "balance.bull_some", fields))


def _canes(figures: ZoneFigures, signs: dict[str, str], evidence: list[Message]) -> None:
    if np.isfinite(figures.cane_weight_g):
        measured = next(b for b in find_bands("cane_weight") if b.tag == "memory")
        fields = {"cane_weight_g": figures.cane_weight_g, "low_g": measured.low, "high_g": measured.high}
        evidence.append(Message("balance.cane_weight_memory", fields))
    for index in ("cane_diameter", "internode"):
        size = getattr(figures, f"{index}_mm")
        found = _against(find_bands(index), _always(size))
        if found is None:
            continue
        place, band = found
        signs[index] = SIGN_OF_SIZE[place]
        if place != "inside":
            fields = {"size_mm": size, "limit_mm": band.low if place == "below" else band.high}
            evidence.append(Message(f"balance.{index}_{place}", fields | {"source": band.source}))


def _crop_load(figures: ZoneFigures, signs: dict[str, str], evidence: list[Message]) -> None:
    if figures.pruning == "minimal":
        evidence.append(Message("balance.crop_load_refused"))
        return
    if not np.isfinite(figures.crop_load):
        return
    told = {"crop_load": figures.crop_load}
    bands = find_bands("crop_load", canopy=figures.canopy, variety=figures.variety)
    found = None if figures.group in NO_CROP_LOAD_BAND else _against(bands, _always(figures.crop_load))
    if found is None:
        evidence.append(Message("balance.crop_load_no_band", told))
        return
    place, band = found
    signs["crop_load"] = {"below": "rank", "above": "weak", "inside": "in balance"}[place]
    evidence.append(Message(f"balance.crop_load_{place}", told | _band_fields(band, "load")))


def _always(value: float) -> Callable[[Band], float]:
    return lambda band: value


def _ends(band: Band) -> str:
    if np.isfinite(band.low) and np.isfinite(band.high):
        return f"band_{band.per}"
    return f"least_{band.per}" if np.isfinite(band.low) else f"most_{band.per}"


def _band_fields(band: Band, unit: str) -> dict[str, float | str]:
    fields: dict[str, float | str] = {"source": band.source}
    if np.isfinite(band.low):
        fields[f"low_{unit}"] = band.low
    if np.isfinite(band.high):
        fields[f"high_{unit}"] = band.high
    return fields
