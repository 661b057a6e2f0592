"""Vines that are treated apart: decided once, here, for every file, sheet and screen."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from geoprune.errors import Message
from geoprune.rules import RENEW_BELOW_KG

#: What is done with a vine. Those of `TO_NUMBER` get their zone's number; sick ones last, with clean tools (common practice,
#: no source).
TREATMENTS = ("number", "renew", "young", "sick", "gone")
TO_NUMBER = ("number", "sick")
BY_STATUS = {"missing": "gone", "dead": "gone", "young": "young", "diseased": "sick"}
#: From this share of a panel's vines expected below the limit, each of them is rather one to renew than not.
RATHER_THAN_NOT = 0.5
#: Sentences about work of the growing season: they do not stand on a winter sheet.
SUMMER_JOBS = frozenset(
    {
        "apart.renew_summer",
        "balance.remedy_check_feeding",
        "balance.remedy_check_nitrogen_water",
        "balance.remedy_less_competition",
        "balance.remedy_more_competition",
        "balance.remedy_thin_clusters",
        "balance.remedy_thin_shoots",
        "crop.more_than_target",
        "rules.frame_summer",
        "rules.needs_cluster_thinning",
        "rules.needs_thinning",
    }
)


def treat_vines(
    vines: pd.DataFrame,
    samples: pd.DataFrame,
    renew_share: NDArray[np.float64],
    *,
    renew_below_kg: float = RENEW_BELOW_KG,
) -> NDArray[np.object_]:
    """Decide what is done with each vine.

    The status comes first. A bearing vine that was weighed is judged by its own weight; one that was not is renewed where
    the map expects most vines of its panel below the limit.

    Parameters
    ----------
    vines : DataFrame (V), RangeIndex
        status, panel_id (position of the panel).
    samples : DataFrame
        vine_id (position of the vine), used, vine_weight_kg.
    renew_share : (P,)
        Share of each panel's vines expected below the limit.
    renew_below_kg : float
        Prunings below which a vine is renewed without a crop, kg per vine (a design choice, see `rules.need`).

    Returns
    -------
    (V,) array of `TREATMENTS`
    """
    small = np.asarray(renew_share)[vines["panel_id"].to_numpy()] > RATHER_THAN_NOT
    weighed = samples[samples["used"].to_numpy(bool) & samples["vine_weight_kg"].notna().to_numpy()]
    own_kg = weighed.groupby(weighed["vine_id"].astype(int))["vine_weight_kg"].mean()
    small[own_kg.index.to_numpy()] = own_kg.to_numpy() < renew_below_kg
    by_size = np.where(small, "renew", "number").astype(object)
    by_status = vines["status"].map(BY_STATUS)
    return by_status.where(by_status.notna(), by_size).to_numpy(dtype=object)


def buds_for(treatment: NDArray[np.object_], zone_buds: NDArray[Any]) -> NDArray[Any]:
    """Return the buds to leave on each vine (V,): its zone's number (NaN where there is none), 0 where it gets no number.

    Parameters
    ----------
    treatment : (V,)
    zone_buds : (V,) number of each vine's zone
    """
    return np.where(np.isin(treatment, TO_NUMBER), zone_buds, 0)


def vines_apart(vines: pd.DataFrame) -> dict[str, dict[str, list[int]]]:
    """Return row -> treatment -> the vines not simply pruned to the number, rising; from columns row, vine, treatment."""
    apart = vines[vines["treatment"] != "number"].sort_values("vine", kind="stable")
    found: dict[str, dict[str, list[int]]] = {}
    for (row, treatment), numbers in apart.groupby(["row", "treatment"], sort=False)["vine"]:
        found.setdefault(str(row), {})[str(treatment)] = [int(number) for number in numbers]
    return {row: {kind: kinds[kind] for kind in TREATMENTS if kind in kinds} for row, kinds in found.items()}


def winter_only(messages: Iterable[Message]) -> tuple[Message, ...]:
    """Return the messages without those about work of the growing season."""
    return tuple(message for message in messages if message.key not in SUMMER_JOBS)
