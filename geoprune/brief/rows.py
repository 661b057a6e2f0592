"""The rows as they are walked: stretches of one number, and the vines that are treated apart."""

from __future__ import annotations

from collections.abc import Hashable, Mapping, Sequence
from itertools import groupby, pairwise
from operator import itemgetter

import numpy as np
import pandas as pd
import shapely

from geoprune.brief.places import compass_point
from geoprune.brief.shape import RowBrief, RunBrief
from geoprune.brief.zones import number_message
from geoprune.errors import Message
from geoprune.plan import BlockPlan, vines_apart


def brief_rows(plan: BlockPlan, *, throughout: str = "") -> tuple[RowBrief, ...]:
    """Return the rows of a block in walking order; `throughout`: treatment of all its vines, which rows do not repeat."""
    lines = dict(zip(plan.rows["row"], plan.rows.geometry, strict=True))
    words = {int(line["zone"]): str(line.get("no_number") or "") for line in plan.zones.to_dict("records")}
    apart, grouped = vines_apart(_but(throughout, plan)), groupby(plan.runs.to_dict("records"), key=itemgetter("row"))
    return tuple(_row(str(name), list(runs), lines[name], apart.get(str(name), {}), words) for name, runs in grouped)


def _but(throughout: str, plan: BlockPlan) -> pd.DataFrame:
    """The vines with their treatment; what all of them get is no exception, and sick ones among them are still sick."""
    if not throughout:
        return plan.vines
    alike = plan.vines["treatment"] == throughout
    sick = np.where(plan.vines["status"] == "diseased", "sick", "number")
    return plan.vines.assign(treatment=plan.vines["treatment"].mask(alike, sick))


def row_way(line: shapely.LineString) -> tuple[int, int]:
    """Return the compass points a row runs from and to, seen from its first vertex."""
    (start_east, start_north), (end_east, end_north) = line.coords[0][:2], line.coords[-1][:2]
    toward = compass_point(end_east - start_east, end_north - start_north)
    return (toward + 4) % 8, toward


def _row(
    name: str,
    runs: Sequence[Mapping[Hashable, object]],
    line: shapely.LineString,
    apart: Mapping[str, list[int]],
    no_number: Mapping[int, str],
) -> RowBrief:
    row_runs = tuple(_run(run, no_number) for run in runs)
    end = max(max(run.from_post, run.to_post) for run in row_runs)
    return RowBrief(name, row_way(line), row_runs[0].from_post <= row_runs[-1].to_post, end, row_runs, apart)


def _run(run: Mapping[Hashable, object], no_number: Mapping[int, str]) -> RunBrief:
    whole = ("from_post", "to_post", "first_vine", "last_vine", "zone", "bands", "vines")
    buds = float(run["buds_per_vine"])  # type: ignore[arg-type]
    numbers = {name: int(run[name]) for name in whole}  # type: ignore[call-overload]
    number = number_message(buds, no_number[numbers["zone"]])
    return RunBrief(**numbers, buds=int(buds) if np.isfinite(buds) else None, number=number)


def apart_messages(row: RowBrief) -> tuple[Message, ...]:
    """Return which vines of a row are treated apart, a sentence for each kind."""
    return tuple(Message(f"apart.{kind}", {"vines": spans(vines)}) for kind, vines in row.apart.items())


def spans(numbers: Sequence[int]) -> str:
    """Return rising numbers with neighbours drawn together.

    Examples
    --------
    >>> spans([3, 7, 8, 9])
    '3, 7–9'
    """
    breaks = [i for i, (a, b) in enumerate(pairwise(numbers), start=1) if b != a + 1]
    runs = [numbers[start:stop] for start, stop in pairwise([0, *breaks, len(numbers)])]
    return ", ".join(str(run[0]) if len(run) == 1 else f"{run[0]}–{run[-1]}" for run in runs)
