"""The crop to expect of one zone, and what a wanted crop says of its number."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from geoprune.errors import Message
from geoprune.rules.crop import Crop, CropAssumptions, Range, buds_for_target, expect_crop


@dataclass(frozen=True)
class CropAdvice:
    """Crop of one zone, and the buds that the wanted crop asks for beside the balanced count."""

    crop: Crop
    buds_for_target: Range | None
    messages: tuple[Message, ...]


def zone_crop(
    zone_row: Mapping[str, Any], assumed: CropAssumptions, *, target_t_ha: float = float("nan"), seed: int = 0
) -> CropAdvice:
    """Tell the crop of a zone from its live buds, and hold a wanted crop against its number.

    `zone_row`: as in `advice.advise`, with a number of buds.
    """
    live = _live(zone_row)
    area = float(zone_row.get("area_ha", np.nan))
    vines = int(zone_row["vines"])
    crop = expect_crop(
        [float(zone_row["buds_per_vine"])],
        [vines],
        assumed,
        area_ha=[area],
        live=[live],
        target_t_ha=target_t_ha,
        seed=seed,
    )
    low, mean, high = crop.kg_per_vine[0]
    said = [Message("crop.expected", {"low_kg": low, "crop_kg": mean, "high_kg": high, "source": crop.source})]
    wanted = None
    if np.isfinite(target_t_ha) and np.isfinite(area) and vines:
        per_vine = target_t_ha * 1000.0 * area / vines
        wanted = buds_for_target(per_vine, assumed, live=live, seed=seed)
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
    # Compared as they are printed: "20 are fewer than 20 to 30" helps nobody.
    if round(buds) > round(wanted.high):
        return Message("crop.more_than_target", fields)
    if round(buds) < round(wanted.low):
        return Message("crop.less_than_target", fields)
    return Message("crop.meets_target", fields)


def _live(zone_row: Mapping[str, Any]) -> Range:
    dead = [float(zone_row.get(f"injury_{part}", np.nan)) for part in ("high", "share", "low")]
    if not np.isfinite(dead).all():
        return Range(1.0, 1.0, 1.0)
    return Range(*(1.0 - value for value in dead))
