"""Which vines to recount: spread over the walk, one by chance from each of equal stretches."""

from __future__ import annotations

import numpy as np
import pandas as pd

from geoprune.audit.plans import SamplingPlan, choose_plan

#: What a sample is drawn of, and judged as one.
LOTS = {"block": ["block"], "zone": ["block", "zone"], "row": ["block", "row"]}


def walking_place(vines: pd.DataFrame, runs: pd.DataFrame) -> pd.Series:
    """Return each vine's place in the walk of its block, 0.. , aligned with `vines`.

    Parameters
    ----------
    vines : DataFrame
        block, row, vine.
    runs : DataFrame
        The row list: block, row, stop, first_vine, last_vine.
    """
    rows = runs.sort_values("stop").groupby(["block", "row"], sort=False)
    order = rows["stop"].min().rename("order")
    up = (rows["first_vine"].first() <= rows["last_vine"].last()).rename("up")
    placed = vines[["block", "row", "vine"]].join(pd.concat([order, up], axis=1), on=["block", "row"])
    along = np.where(placed["up"].fillna(value=True).astype(bool), placed["vine"], -placed["vine"])
    keyed = placed.assign(along=along).sort_values(["block", "order", "along"], kind="stable")
    return keyed.groupby("block", sort=False).cumcount().reindex(vines.index)


def draw_recount(
    vines: pd.DataFrame,
    runs: pd.DataFrame,
    *,
    lot: str = "block",
    aql: float,
    redo_from: float,
    certainty: float,
    seed: int,
) -> tuple[pd.DataFrame, dict[tuple, SamplingPlan]]:
    """Draw the vines to recount.

    Each lot's walk is cut into as many equal stretches as its plan wants vines, and of each stretch one vine is drawn: every
    vine has the same chance, and rows, zones and workers come in by their shares.

    Parameters
    ----------
    vines : DataFrame
        Vines pruned to a number: block, row, vine, zone, buds_per_vine.
    runs : DataFrame
        The row list, see `walking_place`.
    lot : {"block", "zone", "row"}
    aql, redo_from, certainty : see `plans.choose_plan`
    seed : int

    Returns
    -------
    DataFrame, RangeIndex
        block, row, vine, zone, buds_per_vine, stop (1.. in walking order of the block)
    dict
        Lot (values of `LOTS[lot]`) -> its plan.
    """
    rng = np.random.default_rng(seed)
    ordered = vines.assign(walk=walking_place(vines, runs)).sort_values(["block", "walk"], kind="stable")
    plans: dict[tuple, SamplingPlan] = {}
    drawn = []
    for key, group in ordered.groupby(LOTS[lot], sort=False):
        plan = choose_plan(len(group), aql=aql, redo_from=redo_from, certainty=certainty)
        plans[key] = plan
        edges = np.linspace(0, len(group), plan.size + 1)
        drawn.append(group.iloc[np.minimum(rng.uniform(edges[:-1], edges[1:]).astype(int), len(group) - 1)])
    chosen = pd.concat(drawn).drop_duplicates(["block", "row", "vine"]).sort_values(["block", "walk"], kind="stable")
    chosen = chosen.assign(stop=chosen.groupby("block", sort=False).cumcount() + 1)
    return chosen[["block", "row", "vine", "zone", "buds_per_vine", "stop"]].reset_index(drop=True), plans
