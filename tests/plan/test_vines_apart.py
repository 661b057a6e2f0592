"""What is done with each vine is decided once: by status, then by its own weight, then by what the map expects."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from geoprune.errors import Message
from geoprune.plan.apart import SUMMER_JOBS, buds_for, treat_vines, vines_apart, winter_only
from geoprune.rules import fewest_canes, renew_messages
from geoprune.units import KG_PER_LB
from geoprune.words import languages, say, word_lists

VINES = pd.DataFrame(
    {
        "row": ["1"] * 4 + ["2"] * 4,
        "vine": [1, 2, 3, 4, 1, 2, 3, 4],
        "status": ["bearing", "missing", "young", "diseased", "bearing", "bearing", "dead", "bearing"],
        "panel_id": [0, 0, 0, 0, 1, 1, 1, 1],
    }
)


def samples(**weights_kg: float) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "vine_id": [int(name[1:]) for name in weights_kg],
            "used": [True] * len(weights_kg),
            "vine_weight_kg": list(weights_kg.values()),
        }
    )


def test_status_first_then_own_weight_then_the_map() -> None:
    found = treat_vines(VINES, samples(v0=0.1, v3=0.1, v5=0.9), np.array([0.1, 0.8]))
    assert found.tolist() == ["renew", "gone", "young", "sick", "renew", "number", "gone", "renew"]
    unused = samples(v0=0.1).assign(used=False)
    assert treat_vines(VINES, unused, np.array([0.1, 0.1]))[0] == "number"
    assert treat_vines(VINES, samples(v0=0.3), np.array([0.1, 0.1]), renew_below_kg=0.4)[0] == "renew"


def test_two_weights_of_one_vine_are_taken_together() -> None:
    twice = pd.concat([samples(v0=0.05), samples(v0=0.45)])
    assert treat_vines(VINES, twice, np.array([0.1, 0.1]))[0] == "number"


def test_buds_are_told_where_the_vine_is_pruned_to_the_number() -> None:
    treatment = np.array(["number", "renew", "young", "sick", "gone", "number"], dtype=object)
    buds = buds_for(treatment, np.array([30, 30, 30, 30, 30, np.nan]))
    assert buds[:5].tolist() == [30, 0, 0, 30, 0]
    assert np.isnan(buds[5])  # no number in this zone: a person must look
    assert buds_for(treatment[:2], np.array([30, 30])).dtype.kind == "i"


def test_lists_by_row_hold_every_vine_that_is_not_simply_pruned() -> None:
    treatment = treat_vines(VINES, samples(), np.array([0.1, 0.8]))
    listed = vines_apart(VINES.assign(treatment=treatment).sample(frac=1, random_state=1))
    assert listed == {"1": {"young": [3], "sick": [4], "gone": [2]}, "2": {"renew": [1, 2, 4], "gone": [3]}}


def test_the_eye_counts_as_many_canes_as_weigh_the_limit() -> None:
    """38 g: lightest mean cane of six trainings, Kliewer & Dokoozlian 2005, table 3. 0.25 lb = 113.4 g = 2.98 canes."""
    assert fewest_canes(0.25 * KG_PER_LB) == 3
    assert fewest_canes(0.5 * KG_PER_LB) == 6
    assert fewest_canes(0.0) == 1


@pytest.mark.parametrize("language", languages())
def test_summer_jobs_do_not_stand_on_a_winter_sheet(language: str) -> None:
    messages = renew_messages()
    assert "3" in say(messages[0], language, "us")
    assert winter_only((*messages, Message("rules.needs_thinning"))) == messages[:3]
    for key in SUMMER_JOBS:  # each names a sentence there is
        room, _, name = key.partition(".")
        assert name in word_lists()[language][room]
