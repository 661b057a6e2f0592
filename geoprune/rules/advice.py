"""All that is told with a zone's number: recipe, diagnosis, remedies, notes, crop and hours."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Protocol

import numpy as np
import pandas as pd

from geoprune.errors import Message
from geoprune.rules.balance import ZoneFigures, diagnose
from geoprune.rules.bands import crop_load
from geoprune.rules.crop import Crop, CropAssumptions, Range, buds_for_target, expect_crop
from geoprune.rules.injury import Injury
from geoprune.rules.labour import MINUTES_PER_VINE, Labour, plan_labour
from geoprune.rules.need import BudNeed
from geoprune.rules.recipes import Recipe, fit_recipe
from geoprune.rules.shares import Shares, pool_shares
from geoprune.rules.training import find_training

#: A zone's share of vines to renew is told from here on (a design choice).
LEAST_RENEWED = 0.03

_BY_THE_NUMBER = ("balance.remedy_hold_buds", "balance.remedy_give_buds", "balance.remedy_spare_canes")
_TO_BEAR = ("crop.expected", "crop.more_than_target", "crop.less_than_target", "crop.meets_target")
#: What is not told beside a sentence, because it would pull the other way or say it twice (design choices): without a
#: number nobody is told to keep to it; vines rebuilt without a crop have no clusters to thin; rank vines keep all
#: their shoots; nobody keeps on as before who has something to change. Taken from the top: a sentence that fell
#: removes nothing.
UNSAID: Mapping[str, tuple[str, ...]] = {
    "injury.zone_stop": (*_BY_THE_NUMBER, "balance.remedy_thin_shoots", "balance.remedy_keep_on"),
    "recipe.no_room_spurs": ("balance.remedy_give_buds",),
    "recipe.no_room_canes": ("balance.remedy_give_buds",),
    "balance.remedy_renew": ("balance.remedy_thin_clusters", "balance.remedy_thin_shoots", *_TO_BEAR),
    "balance.remedy_give_buds": ("balance.remedy_thin_shoots",),
    "crop.more_than_target": ("balance.remedy_thin_clusters", "balance.remedy_keep_on"),
    "balance.remedy_thin_shoots": ("balance.remedy_keep_on",),
}


class Block(Protocol):
    """What advice asks of a block's settings."""

    @property
    def variety(self) -> str:
        """Cultivar."""

    @property
    def training(self) -> str:
        """Training word."""

    @property
    def vine_spacing_m(self) -> float:
        """Spacing of vines in the row, m."""


@dataclass(frozen=True)
class AdviceOptions:
    """Choices that advice depends on.

    Attributes
    ----------
    lengths : mapping
        Lengths and fixed numbers of this vineyard, keywords of `fit_recipe`.
    crop : CropAssumptions or None
        None: no crop is told.
    target_t_ha : float
        Crop the buyer wants, tonnes per hectare; NaN for none.
    minutes_per_vine, cost_per_hour : float
        For hours and cost; no wage is assumed.
    pruning : str
        How the vines were pruned last winter: "hand" or "minimal".
    seed : int
    """

    lengths: Mapping[str, Any] | None = None
    crop: CropAssumptions | None = None
    target_t_ha: float = float("nan")
    minutes_per_vine: float = MINUTES_PER_VINE
    cost_per_hour: float | None = None
    pruning: str = "hand"
    seed: int = 0


@dataclass(frozen=True)
class CropAdvice:
    """Crop of one zone, and the buds that the wanted crop asks for beside the balanced count."""

    crop: Crop
    buds_for_target: Range | None
    messages: tuple[Message, ...]


@dataclass(frozen=True)
class ZoneAdvice:
    """What goes with a zone's number, as messages that can be told in any language.

    Attributes
    ----------
    zone : int
    recipe : Recipe or None
        How the count is left on the vine; None past the stop limit of bud injury, as all but the notes then.
    diagnosis : Message or None
    evidence, remedies, notes : tuple of Message
        What speaks for the diagnosis; usual remedies; floors, caps, flags, injury, crowding.
    crop : CropAdvice or None
    labour : Labour or None
    diagnosis_key : str or None
        "weak", "in balance", "rank" or "unknown".
    """

    zone: int
    recipe: Recipe | None = None
    diagnosis: Message | None = None
    evidence: tuple[Message, ...] = ()
    remedies: tuple[Message, ...] = ()
    notes: tuple[Message, ...] = ()
    crop: CropAdvice | None = None
    labour: Labour | None = None
    diagnosis_key: str | None = None

    @property
    def messages(self) -> tuple[Message, ...]:
        """Everything in the order it is told: the decision, then what the vines are, what to do, why, how the count
        came about, crop, hours.
        """
        notes = tuple(note for note in self.notes if note != self.decision)
        left = () if self.recipe is None else self.recipe.messages[1:]
        crop = () if self.crop is None else self.crop.messages
        hours = () if self.labour is None else (self.labour.message,)
        first = (message for message in (self.decision, self.diagnosis) if message is not None)
        return (*first, *self.remedies, *self.evidence, *notes, *left, *crop, *hours)

    @property
    def decision(self) -> Message | None:
        """What is to be left on the vine, or that no number is given."""
        if self.recipe is not None:
            return self.recipe.sentence
        return next((note for note in self.notes if note.key == "injury.zone_stop"), None)


def split_advice(advice: Sequence[ZoneAdvice]) -> tuple[list[Message], list[list[Message]]]:
    """Return the sentences that all of several zones share, and those of each zone that are its own."""
    told = [list(entry.messages) for entry in advice]
    shared = [message for message in told[0] if all(message in lines for lines in told)] if len(told) > 1 else []
    return shared, [[message for message in lines if message not in shared] for lines in told]


def settle(advice: ZoneAdvice) -> ZoneAdvice:
    """Return the advice without what pulls the other way or says a thing twice (`UNSAID`)."""
    crop = () if advice.crop is None else advice.crop.messages
    told = {message.key for message in (*advice.remedies, *advice.notes, *crop)}
    for key, unsaid in UNSAID.items():
        told -= set(unsaid) if key in told else set()

    def kept(messages: Sequence[Message]) -> tuple[Message, ...]:
        return tuple(message for message in messages if message.key in told)

    left = None if advice.crop is None else replace(advice.crop, messages=kept(crop))
    return replace(advice, remedies=kept(advice.remedies), notes=kept(advice.notes), crop=left)


def advise(
    zone_row: Mapping[str, Any],
    settings: Block,
    *,
    need: BudNeed,
    injury: Injury | None = None,
    samples: pd.DataFrame | None = None,
    yield_kg: float = float("nan"),
    options: AdviceOptions | None = None,
) -> ZoneAdvice:
    """Put together what is told with one zone's number.

    Parameters
    ----------
    zone_row : mapping
        `zone`, `vines`, `vine_size_kg`, `buds_per_vine` (NaN: injury allows no number); optional `area_ha`,
        `injury_share`, `injury_low`, `injury_high`, `buds_low`, `buds_high` (what the rule asks for on the mean vine
        at both ends of the injury's range), `renew_share`, `bull_cane_share`, `bull_cane_low`, `bull_cane_high`.
    settings : Block
        Variety, training and spacings of the block.
    need : BudNeed
        With the zone's own injury factor.
    injury : Injury, optional
        Of the block: decides whether there is a number at all.
    samples : DataFrame, optional
        Samples of the zone: `vine_weight_kg`, and where measured `vines_weighed`, `canes`, `cane_diameter_mm`,
        `internode_mm`.
    yield_kg : float
        Last yield of the zone, kg.
    options : AdviceOptions, optional

    Raises
    ------
    DataError
        If the training is unknown or a length absurd.
    """
    chosen = options or AdviceOptions()
    count = float(zone_row["buds_per_vine"])
    stopped = not np.isfinite(count) or (injury is not None and injury.stop)
    lengths = dict(chosen.lengths or {})
    told = None if stopped else fit_recipe(int(count), settings.training, settings.vine_spacing_m, **lengths)
    notes = _notes(zone_row, need, injury, told)
    if told is None:
        return settle(ZoneAdvice(zone=int(zone_row["zone"]), notes=notes))
    figures = zone_figures(zone_row, settings, need=need, samples=samples, yield_kg=yield_kg, pruning=chosen.pruning)
    found = diagnose(figures)
    advice = ZoneAdvice(
        zone=int(zone_row["zone"]),
        recipe=told,
        diagnosis=found.message,
        evidence=found.evidence,
        remedies=found.remedies,
        notes=notes,
        crop=_crop(zone_row, settings, chosen),
        labour=plan_labour(
            int(zone_row["vines"]),
            minutes_per_vine=chosen.minutes_per_vine,
            cost_per_hour=chosen.cost_per_hour,
        ),
        diagnosis_key=found.key,
    )
    return settle(advice)


def zone_figures(
    zone_row: Mapping[str, Any],
    settings: Block,
    *,
    need: BudNeed,
    samples: pd.DataFrame | None = None,
    yield_kg: float = float("nan"),
    pruning: str = "hand",
) -> ZoneFigures:
    """Gather a zone's figures for `diagnose`: per metre of row and of canopy, canes, bull canes, crop load."""
    canopies = find_training(settings.training).canopies
    size, buds = float(zone_row["vine_size_kg"]), float(zone_row["buds_per_vine"])
    per_m = 1.0 / settings.vine_spacing_m
    dead = float(zone_row.get("injury_share", np.nan))
    total = size * float(zone_row["vines"])
    return ZoneFigures(
        canopy=settings.training if canopies == 2 else "single",
        vine_size_kg=size,
        pruning_kg_m_row=size * per_m,
        pruning_kg_m_canopy=size * per_m / canopies,
        buds_per_m_row=buds * per_m,
        buds_per_m_canopy=buds * per_m / canopies,
        live_share=1.0 if np.isnan(dead) else 1.0 - dead,
        bull_share=float(zone_row.get("bull_cane_share", np.nan)),
        bull_low=float(zone_row.get("bull_cane_low", np.nan)),
        bull_high=float(zone_row.get("bull_cane_high", np.nan)),
        cane_weight_g=_cane_weight(samples),
        cane_diameter_mm=_mean(samples, "cane_diameter_mm"),
        internode_mm=_mean(samples, "internode_mm"),
        crop_load=float(crop_load(yield_kg, total, pruning=pruning)) if total > 0 else float("nan"),
        pruning=pruning,
        variety=settings.variety,
        group=need.rule.group,
    )


def zone_bull_canes(samples: pd.DataFrame, sample_zone: Any, zones: int) -> Shares:
    """Share of bull canes per zone 1..`zones` with its 95 % credible interval (see `shares.pool_shares`).

    `samples` carries `canes` and `bull_canes`; `sample_zone` is the zone of each. Samples without both counts are
    left out; NaN throughout when none has them.
    """
    counted = samples["canes"].notna() & samples["bull_canes"].notna() & (samples["canes"].fillna(0) > 0)
    keep = counted.to_numpy(dtype=bool)
    return pool_shares(
        samples["bull_canes"].to_numpy(dtype=float, na_value=np.nan)[keep],
        samples["canes"].to_numpy(dtype=float, na_value=np.nan)[keep],
        np.asarray(sample_zone)[keep],
        np.arange(1, zones + 1),
    )


def _notes(zone_row: Mapping[str, Any], need: BudNeed, injury: Injury | None, told: Recipe | None) -> tuple[Message, ...]:
    size, count = float(zone_row["vine_size_kg"]), float(zone_row["buds_per_vine"])
    said = [*need.rule.cautions]
    renewed = float(zone_row.get("renew_share", 0.0))
    if renewed >= LEAST_RENEWED and size >= need.renew_below_kg:
        said.append(Message("rules.renew_share", {"percent": 100 * renewed, **need.renew_limit}))
    if told is None:
        return (*said, *need.size_flags(size), *_injury_notes(zone_row, injury, count))
    said += need.explain(size) if np.ndim(need.injury_factor) == 0 else need.size_flags(size)
    said.append(Message("rules.step_told", {"buds": count}))
    return (*said, *_injury_notes(zone_row, injury, count), *told.reasons)


def _injury_notes(zone_row: Mapping[str, Any], injury: Injury | None, count: float) -> list[Message]:
    """Say what share of the zone's buds is dead, and the counts that go with the range of that share."""
    if injury is None or not injury.buds_cut:
        return []
    limit = 100 * injury.method.stop_above
    names = {"percent": "share", "low_percent": "low", "high_percent": "high"}
    fields = {name: 100 * float(zone_row.get(f"injury_{part}", np.nan)) for name, part in names.items()}
    if injury.stop or not np.isfinite(count):
        return [Message("injury.zone_stop", fields | {"limit_percent": limit})]
    ends = {f"{end}_buds": float(zone_row.get(f"buds_{end}", count)) for end in ("low", "high")}
    same = round(ends["low_buds"]) == round(ends["high_buds"])
    said = [Message("injury.zone_same", fields) if same else Message("injury.zone_range", fields | ends)]
    if fields["high_percent"] > limit:
        said.append(Message("injury.stop_possible", {"limit_percent": limit}))
    return said


def _crop(zone_row: Mapping[str, Any], settings: Block, options: AdviceOptions) -> CropAdvice | None:
    if options.crop is None:
        return None
    live = _live(zone_row)
    area = float(zone_row.get("area_ha", np.nan))
    vines = int(zone_row["vines"])
    crop = expect_crop(
        [float(zone_row["buds_per_vine"])],
        [vines],
        options.crop,
        area_ha=[area],
        live=[live],
        target_t_ha=options.target_t_ha,
        seed=options.seed,
    )
    low, mean, high = crop.kg_per_vine[0]
    said = [Message("crop.expected", {"low_kg": low, "crop_kg": mean, "high_kg": high, "source": crop.source})]
    wanted = None
    if np.isfinite(options.target_t_ha) and np.isfinite(area) and vines:
        per_vine = options.target_t_ha * 1000.0 * area / vines
        wanted = buds_for_target(per_vine, options.crop, live=live, seed=options.seed)
        said.append(_target_message(wanted, float(zone_row["buds_per_vine"]), per_vine))
    return CropAdvice(crop, wanted, tuple(said))


def _target_message(wanted: Range, buds: float, per_vine_kg: float) -> Message:
    fields = {
        "target_kg": per_vine_kg,
        "low_buds": wanted.low,
        "likely_buds": wanted.likely,
        "high_buds": wanted.high,
        "buds": buds,
    }
    if buds > wanted.high:
        return Message("crop.more_than_target", fields)
    if buds < wanted.low:
        return Message("crop.less_than_target", fields)
    return Message("crop.meets_target", fields)


def _live(zone_row: Mapping[str, Any]) -> Range:
    dead = [float(zone_row.get(f"injury_{part}", np.nan)) for part in ("high", "share", "low")]
    if not np.isfinite(dead).all():
        return Range(1.0, 1.0, 1.0)
    return Range(*(1.0 - value for value in dead))


def _cane_weight(samples: pd.DataFrame | None) -> float:
    if samples is None or not {"canes", "vine_weight_kg"} <= set(samples.columns):
        return float("nan")
    counted = samples[samples["canes"].notna() & (samples["canes"].fillna(0) > 0)]
    weighed = counted["vine_weight_kg"] * counted.get("vines_weighed", 1)
    return 1000.0 * float(weighed.sum()) / float(counted["canes"].sum()) if len(counted) else float("nan")


def _mean(samples: pd.DataFrame | None, column: str) -> float:
    if samples is None or column not in samples.columns or not samples[column].notna().any():
        return float("nan")
    return float(samples[column].mean())
