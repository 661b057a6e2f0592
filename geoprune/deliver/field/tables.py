"""A field page's block from the tables of a plan."""

from __future__ import annotations

from collections.abc import Hashable, Mapping, Sequence
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from geoprune.deliver.field.block import FieldBlock, FieldRow, FieldRun, FieldVine, LonLat, expected_range
from geoprune.errors import Message

WGS84 = 4326
#: What is done with vines that get no number, where it is not to stop.
INSTEAD = ("young", "renew")
#: Digits of a degree: 1e-7 is about 1 cm.
DIGITS = 7


def field_block_from_tables(
    name: str,
    *,
    season: int,
    rows: gpd.GeoDataFrame,
    runs: pd.DataFrame,
    vines: gpd.GeoDataFrame,
    weigh: pd.DataFrame | None = None,
    buds: pd.DataFrame | None = None,
    check: pd.DataFrame | None = None,
    apart: Mapping[str, Mapping[str, Sequence[int]]] | None = None,
    variety: str = "",
    estate: str = "",
    signs: Sequence[Message] = (),
) -> FieldBlock:
    """Return what a field page shows of a block.

    Parameters
    ----------
    name : str
    season : int
        Year of the pruning (`pruning_season`).
    rows : GeoDataFrame
        row, geometry (from vine 1); any CRS.
    runs : DataFrame
        In walking order: row, first_vine, last_vine, zone, bands, buds_per_vine (NaN: none), and no_number where it is known
        why ("young", "renew"; anything else: stop).
    vines : GeoDataFrame
        row, vine and, for what to expect of a weight, vine_size_kg, vine_size_se_kg (of single vines); any CRS.
    weigh, buds, check : DataFrame, optional
        row, vine in walking order; `order` (or `stop`) and `spare_of` (the order of another line) where there are spares;
        `first_vine`, `last_vine` where vines are weighed together.
    apart : mapping, optional
        Row -> kind -> vines not pruned to the number (`block.KINDS_APART`).
    variety, estate : str
    signs : sequence of Message
        What the marks on the posts mean.

    Returns
    -------
    FieldBlock
        Rows in the order of `runs`, then those without a run.
    """
    places = vines.to_crs(WGS84)
    known = _known_vines(places)
    walked = list(dict.fromkeys([*map(str, runs["row"]), *map(str, rows["row"])]))
    lines = dict(zip(map(str, rows["row"]), rows.to_crs(WGS84).geometry, strict=True))
    ends = pd.DataFrame(places[["row", "vine"]]).astype({"row": str}).groupby("row")["vine"].agg(["min", "max"])
    first_last = {row: (int(first), int(last)) for row, first, last in ends.itertuples()}
    runs_of: dict[str, list[dict[Hashable, Any]]] = {}
    for run in runs.to_dict("records"):
        runs_of.setdefault(str(run["row"]), []).append(run)
    return FieldBlock(
        name=name,
        season=season,
        variety=variety,
        estate=estate,
        rows=tuple(
            FieldRow(
                row=row,
                first_vine=first_last[row][0],
                last_vine=first_last[row][1],
                line=_line(known, row, first_last[row], lines.get(row)),
                runs=_runs(runs_of.get(row, ())),
                apart={kind: tuple(map(int, held)) for kind, held in (apart or {}).get(row, {}).items()},
            )
            for row in walked
            if row in first_last
        ),
        weigh=_stops(weigh, known),
        buds=_stops(buds, known),
        check=_stops(check, known),
        expected_kg=_block_range(vines),
        signs=tuple(signs),
        taped=bool((runs["bands"] > 0).any()),
    )


def _known_vines(places: gpd.GeoDataFrame) -> dict[tuple[str, int], tuple[LonLat, tuple[float, float]]]:
    """(Row, vine) -> place, and mean and standard error of its size, kg."""
    nothing = np.full(len(places), np.nan)
    size, error = (
        places[name].to_numpy(float) if name in places else nothing for name in ("vine_size_kg", "vine_size_se_kg")
    )
    points = np.round(shapely.get_coordinates(places.geometry.to_numpy()), DIGITS).tolist()
    rows, numbers = map(str, places["row"]), places["vine"].astype(int).tolist()
    figures = zip(map(tuple, points), zip(size.tolist(), error.tolist(), strict=True), strict=True)
    return dict(zip(zip(rows, numbers, strict=True), figures, strict=True))


def _line(
    known: Mapping[tuple[str, int], Any], row: str, ends: tuple[int, int], line: shapely.LineString | None
) -> tuple[LonLat, ...]:
    """From the first vine to the last, with the row's own corners between them; vines stand evenly along it."""
    first, last = known[row, ends[0]][0], known[row, ends[1]][0]
    if line is None or line.is_empty:
        return (first, last)
    at = sorted((line.project(shapely.Point(first)), line.project(shapely.Point(last))))
    corners = np.round(shapely.get_coordinates(line), DIGITS)
    inner = [(float(x), float(y)) for x, y in corners if at[0] < line.project(shapely.Point(x, y)) < at[1]]
    return (first, *inner, last)


def _runs(runs: Sequence[Mapping[Hashable, Any]]) -> tuple[FieldRun, ...]:
    entries = []
    for run in runs:
        first, last = sorted((int(run["first_vine"]), int(run["last_vine"])))
        buds = run["buds_per_vine"]
        why = str(run.get("no_number", ""))
        number, instead = (None, why if why in INSTEAD else "") if pd.isna(buds) else (int(buds), "")
        entries.append(FieldRun(first, last, int(run["zone"]), number, int(run["bands"]), instead))
    return tuple(sorted(entries, key=lambda run: run.first_vine))


def _stops(table: pd.DataFrame | None, known: Mapping[tuple[str, int], Any]) -> tuple[FieldVine, ...]:
    if table is None:
        return ()
    entries = []
    for i, line in enumerate(table.to_dict("records"), start=1):
        row, vine, spare = str(line["row"]), int(line["vine"]), line.get("spare_of")
        place, size = known.get((row, vine), (None, None))
        expected = None if size is None else expected_range(*size)
        order = int(line.get("order", line.get("stop", i)))
        ends = (int(line.get("first_vine", vine)), int(line.get("last_vine", vine)))
        spare_of, together = None if pd.isna(spare) else int(spare), ends if ends[0] < ends[1] else None
        entries.append(FieldVine(order, row, vine, spare_of, place, expected, together))
    return tuple(entries)


def _block_range(vines: gpd.GeoDataFrame) -> tuple[float, float] | None:
    """The weights to expect where a vine has none of its own: all vines' sizes, and one vine's error on top."""
    if not {"vine_size_kg", "vine_size_se_kg"} <= set(vines.columns):
        return None
    size, error = vines["vine_size_kg"].dropna(), vines["vine_size_se_kg"].dropna()
    return expected_range(float(size.mean()), float(np.hypot(size.std(ddof=0), error.mean()))) if len(size) else None
