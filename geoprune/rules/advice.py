"""All that goes with a zone's number: recipe, diagnosis, remedies, notes, crop and hours."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd

from geoprune.errors import Message
from geoprune.rules.balance import diagnose
from geoprune.rules.crop import CropAssumptions
from geoprune.rules.injury import Injury
from geoprune.rules.labour import MINUTES_PER_VINE, Labour, plan_labour
from geoprune.rules.need import BudNeed
from geoprune.rules.recipes import Recipe, fit_recipe
from geoprune.rules.training import system_of
from geoprune.rules.zone_crop import CropAdvice, zone_crop
from geoprune.rules.zone_figures import Block, zone_figures
from geoprune.rules.zone_notes import zone_no_number, zone_notes

#: Why a zone has no number: said in place of the recipe.
NO_NUMBER = ("injury.zone_stop", "rules.no_number_young", "rules.no_number_small")
#: What is not said beside a sentence, because it would pull the other way or say it twice (design choices): what the wood
#: holds back cannot be left; rank vines keep all their shoots; nobody keeps on as before who has something to change,
#: or whose buds winter killed. Taken from the top: a sentence that fell removes nothing.
UNSAID: Mapping[str, tuple[str, ...]] = {
    "recipe.over_capacity_spurs": ("balance.remedy_give_buds",),
    "recipe.over_capacity_canes": ("balance.remedy_give_buds",),
    "injury.step_factor": ("balance.remedy_keep_on",),
    "injury.live_short": ("balance.remedy_keep_on",),
    "balance.remedy_give_buds": ("balance.remedy_thin_shoots",),
    "crop.more_than_target": ("balance.remedy_thin_clusters", "balance.remedy_keep_on"),
    "balance.remedy_thin_shoots": ("balance.remedy_keep_on",),
}


@dataclass(frozen=True)
class AdviceOptions:
    """Choices that advice depends on.

    Attributes
    ----------
    lengths : mapping
        Lengths and fixed numbers of this vineyard, keywords of `fit_recipe`.
    crop : CropAssumptions or None
        None: no crop is expected.
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
class ZoneAdvice:
    """What goes with a zone's number, as messages for any language.

    Attributes
    ----------
    zone : int
    recipe : Recipe or None
        How the count is left on the vine; None where no number holds (past the stop limit of bud injury, in young blocks,
        where most vines are to be renewed), as all but the notes then.
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
        """Everything in the order it is said: the decision, then what the vines are, what to do, why, how the count
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
        return next((note for note in self.notes if note.key in NO_NUMBER), None)


def split_advice(advice: Sequence[ZoneAdvice]) -> tuple[list[Message], list[list[Message]]]:
    """Return the sentences that all of several zones share, and those of each zone that are its own."""
    keys = [list(entry.messages) for entry in advice]
    shared = [message for message in keys[0] if all(message in lines for lines in keys)] if len(keys) > 1 else []
    return shared, [[message for message in lines if message not in shared] for lines in keys]


def settle(advice: ZoneAdvice) -> ZoneAdvice:
    """Return the advice without what pulls the other way or says a thing twice (`UNSAID`)."""
    crop = () if advice.crop is None else advice.crop.messages
    keys = {message.key for message in (*advice.remedies, *advice.notes, *crop)}
    for key, unsaid in UNSAID.items():
        keys -= set(unsaid) if key in keys else set()

    def kept(messages: Sequence[Message]) -> tuple[Message, ...]:
        return tuple(message for message in messages if message.key in keys)

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
    block_load: float = float("nan"),
    options: AdviceOptions | None = None,
) -> ZoneAdvice:
    """Put together what goes with one zone's number.

    Parameters
    ----------
    zone_row : mapping
        `zone`, `vines`, `vine_size_kg`, `buds_per_vine` (NaN: no number is given); optional `vine_size_se_kg`, `area_ha`,
        `injury_share`, `injury_low`, `injury_high`, `renew_share`, `bull_cane_share`, `bull_cane_low`, `bull_cane_high`.
    settings : Block
        Variety, training and spacings of the block.
    need : BudNeed
        With the zone's own injury factor.
    injury : Injury, optional
        Of the block: decides whether there is a number at all.
    samples : DataFrame, optional
        Samples of the zone: `vine_weight_kg`, and where measured `vines_weighed`, `canes`, `bull_canes`,
        `cane_diameter_mm`, `internode_mm`.
    yield_kg : float
        Last yield of the zone, kg.
    block_load : float
        Last yield of the whole block over its pruning weight, where the zone was not harvested apart.
    options : AdviceOptions, optional

    Raises
    ------
    DataError
        If the training is unknown or a length absurd.
    """
    chosen = options or AdviceOptions()
    wood = _recipe_for(zone_row, settings, need, injury, chosen)
    notes = zone_notes(zone_row, need, injury, wood)
    if wood is None:
        return ZoneAdvice(zone=int(zone_row["zone"]), notes=notes)
    figures = zone_figures(
        zone_row,
        settings,
        need=need,
        samples=samples,
        yield_kg=yield_kg,
        block_load=block_load,
        pruning=chosen.pruning,
        capacity=wood.capacity,
        injury_known=injury is None or injury.enough,
    )
    found = diagnose(figures)
    advice = ZoneAdvice(
        zone=int(zone_row["zone"]),
        recipe=wood,
        diagnosis=found.message,
        evidence=found.evidence,
        remedies=found.remedies,
        notes=notes,
        crop=_crop_for(zone_row, chosen),
        labour=plan_labour(
            int(zone_row["vines"]),
            minutes_per_vine=chosen.minutes_per_vine,
            cost_per_hour=chosen.cost_per_hour,
        ),
        diagnosis_key=found.key,
    )
    return settle(advice)


def _recipe_for(
    zone_row: Mapping[str, Any], settings: Block, need: BudNeed, injury: Injury | None, options: AdviceOptions
) -> Recipe | None:
    """The recipe of a zone; None where no number holds."""
    count = float(zone_row["buds_per_vine"])
    if not np.isfinite(count) or (injury is not None and injury.stop) or zone_no_number(zone_row, need) is not None:
        return None
    lengths = dict(options.lengths or {})
    unit = need.rule.unit_buds if need.rule.unit_training == system_of(settings).id else 0
    return fit_recipe(int(count), system_of(settings), settings.vine_spacing_m, unit_buds=unit, **lengths)


def _crop_for(zone_row: Mapping[str, Any], options: AdviceOptions) -> CropAdvice | None:
    if options.crop is None:
        return None
    return zone_crop(zone_row, options.crop, target_t_ha=options.target_t_ha, seed=options.seed)
