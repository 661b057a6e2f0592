"""Weak, in balance or rank: what a zone's figures say together, how close its buds stand, and the usual remedies."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from geoprune.errors import Message
from geoprune.rules.bands import Band, find_bands
from geoprune.rules.evidence import SHOWN, ZoneFigures, gather_signs
from geoprune.rules.floors import FEWEST_VINES


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

    Signs (`evidence.gather_signs`) of one kind settle it, both kinds leave it "unknown". "In balance" needs the
    pruning weight inside a band and one more sign beside it, and nothing that speaks against it: a weight alone only is
    "not above or below a published band". How signs are put together is a design choice; bands and sources are data.
    """
    signs = gather_signs(figures)
    density = density_notes(figures)
    crowded = any(note.key.startswith("balance.crowded") for note in density)
    key, said = _verdict(signs.found, crowded=crowded)
    said = _plainer(said, signs.messages)
    evidence = (*signs.messages, *density)
    return Diagnosis(
        key, Message(f"balance.{said}"), evidence, remedies(key, figures, signs.found, crowded=crowded), signs.found
    )


def remedies(key: str, figures: ZoneFigures, signs: dict[str, str], *, crowded: bool = False) -> tuple[Message, ...]:
    """The usual remedies (common practice, no source), never a spray or a dose; most fitting first.

    `crowded`: live buds stand closer than every published shoot density. What pulls apart is settled by `advice.settle`.
    """
    overcropped = "weak" in (signs.get("crop_load"), signs.get("crop_load_of_block"))
    if key == "weak":
        names = ["hold_buds", "thin_clusters", "check_feeding", "less_competition", "check_roots"]
        if overcropped:
            names = ["thin_clusters", *(name for name in names if name != "thin_clusters")]
    elif key == "rank":
        names = ["give_buds", "spare_canes", "check_nitrogen_water", "more_competition"]
        if can_be_divided(figures):
            names.insert(1 if crowded else len(names), "divide_canopy")
    elif key == "in balance":
        names = ["keep_on"]
    elif {"weak", "rank"} <= set(signs.values()) or (signs.get("cane_weight") == "strong" and not overcropped):
        names = ["look_first"]
    else:
        names = ["thin_clusters"] if overcropped else worth_measuring(figures)
    small = signs.get("pruning_weight") == "weak" and key in ("weak", "unknown")
    if small and figures.canopy == "divided horizontal":
        names.append("one_curtain")
    if crowded:
        names.append("thin_shoots")
    return tuple(Message(f"balance.remedy_{name}") for name in names)


def worth_measuring(figures: ZoneFigures) -> list[str]:
    """What was not measured of a zone and would say more of it; a crop only where a band could judge its load."""
    loads = find_bands("crop_load", canopy=figures.canopy, variety=figures.variety, kind=figures.kind)
    judged = figures.pruning != "minimal" and any(band.decides for band in loads)
    missing = ["measure_crop"] if judged and (figures.crop_of_block or not np.isfinite(figures.crop_load)) else []
    counted = figures.bull_vines >= FEWEST_VINES and figures.canes_counted
    if not (counted and figures.cane_diameter_mm.enough and figures.internode_mm.enough):
        missing.append("measure_canes")
    return missing


def can_be_divided(figures: ZoneFigures) -> bool:
    """Whether a single canopy, made into two, would not be weak by the band of divided ones."""
    bands = [band for band in find_bands("pruning_weight", canopy="divided horizontal", kind=figures.kind) if band.decides]
    half = figures.pruning_kg_m_row * figures.size_ends[0] / 2
    return figures.canopy == "single" and bool(bands) and all(half >= band.low for band in bands)


def density_notes(figures: ZoneFigures) -> list[Message]:
    """Say when live buds stand closer or wider than every published shoot density for grapes of this kind.

    Dead buds make no shoots, so the live ones are judged, and given beside all of them. American grapes are not judged:
    their own trials carry 80-130 nodes on a vine.
    """
    if not np.isfinite(figures.buds_per_m_canopy):
        return []
    bands = [band for band in find_bands("shoots", canopy=figures.canopy, kind=figures.kind) if band.decides]
    beyond = [_beyond(band, figures) for band in bands]
    density, alive = figures.buds_per_m_canopy, figures.buds_per_m_canopy * figures.live_share
    sources = "; ".join(band.source for band in bands)
    for place in ("above", "below"):
        if not bands or not all(found == place for found in beyond):
            continue
        limit = max(band.high for band in bands) if place == "above" else min(band.low for band in bands)
        key = ("crowded" if place == "above" else "wide") + ("_live" if figures.live_share < 1 else "")
        fields = {"density_per_m": density, "alive_per_m": alive, "limit_per_m": limit, "source": sources}
        return [Message(f"balance.{key}", fields)]
    return []


def _beyond(band: Band, figures: ZoneFigures) -> str:
    alive = figures.live_share * (figures.buds_per_m_row if band.per == "row" else figures.buds_per_m_canopy)
    if alive >= band.high + SHOWN["shoots"]:
        return "above"
    return "below" if alive <= band.low - SHOWN["shoots"] else "inside"


def _plainer(said: str, messages: list[Message]) -> str:
    """Why nothing is known of a zone: its weight lies within the bands that apply, none applies, or nothing was measured."""
    weighed = [name for message in messages if (name := message.key.split(".")[1]).startswith("pruning_")]
    if said != "unknown" or not weighed:
        return said
    return "no_band" if "pruning_no_band" in weighed else "inside_band"


def _verdict(signs: dict[str, str], *, crowded: bool) -> tuple[str, str]:
    """The key, and the name of the sentence that says it."""
    own = {index: sign for index, sign in signs.items() if index != "crop_load_of_block"}
    kinds = set(own.values())
    if own.get("cane_weight") == "strong" and "weak" not in {own[index] for index in own if index != "pruning_weight"}:
        return "unknown", "few_canes"
    if {"weak", "rank"} <= kinds:
        return "unknown", "signs_disagree"
    for kind in ("weak", "rank"):
        if kind in kinds:
            return kind, kind
    beside = [sign for index, sign in signs.items() if index != "pruning_weight"]
    inside = signs.get("pruning_weight") == "in balance"
    if inside and beside and not crowded and set(beside) == {"in balance"}:
        return "in balance", "in_balance"
    if signs.get("crop_load_of_block") in ("weak", "rank"):
        return "unknown", "crop_out_of_band"
    return "unknown", "inside_band" if inside else "unknown"
