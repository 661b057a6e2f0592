"""Look at a list of weights before it is believed, block by block, and write a corrected copy where it is asked for."""

from __future__ import annotations

import re
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from geoprune.deliver.weighing import write_corrected
from geoprune.errors import DataError, Message, Problem, Remark
from geoprune.jobs.inputs import found_remark, read_ground
from geoprune.jobs.sample import read_earlier_models
from geoprune.layers import GONE
from geoprune.reading import Faults
from geoprune.reading.columns import DECIMAL_COMMA, name_text
from geoprune.reading.declared import Declared
from geoprune.reading.raw_weights import RawWeights, read_raw_weights
from geoprune.settings import Settings
from geoprune.threads import run_parts
from geoprune.trellis import Trellis, build_trellis
from geoprune.weighin import Entry, Finding, judge

#: Columns whose cells are texts: a comma in them is no decimal mark.
TEXTS = ("block", "row", "date", "note")
#: Kinds of slip that concern the weight's number.
OF_THE_WEIGHT = ("unit", "decimal", "transposed", "doubled", "misread", "list", "run")


@dataclass(frozen=True, eq=False)
class WeighIn:
    """What was found in a list: (block, finding), likeliest wrong first in each block; the list; remarks; the lines that
    name its columns, where they are declared."""

    weights: RawWeights
    findings: tuple[tuple[str, Finding], ...]
    remarks: tuple[Remark, ...]
    header_row: tuple[int, ...] = ()

    @property
    def likely_wrong(self) -> tuple[tuple[str, Finding], ...]:
        """Findings that ask for a change, or name a vine that there is not."""
        return tuple(pair for pair in self.findings if pair[1].kind not in ("odd", "doubt"))


@dataclass(frozen=True)
class Change:
    """One cell changed, or a line left out (column "")."""

    position: int
    column: str
    before: str
    after: str
    kind: str
    odds: float


def look_at_weights(vineyard: Path, settings: Settings) -> WeighIn:
    """Read a vineyard and its list of weights, and judge the list.

    Parameters
    ----------
    vineyard : Path
    settings : Settings
        Where the list is (the vineyard file's own layer where none is named), how both files are read, and the results
        of earlier winters.

    Raises
    ------
    DataError
        With every problem of the files that keeps the list from being looked at.
    """
    faults, files = Faults(), settings.files
    ground = read_ground(vineyard, settings, faults, need_samples=False)
    before = len(faults.remarks)  # how the rows were laid out is not asked here
    data, own = ground.vineyard, ground.settings
    declared = Declared(own.columns, own.values, {}, files.decimal_mark or "", files.sheet or "", files.header_row)
    weights = read_raw_weights(files.samples or vineyard, data, faults, crs=files.crs, declared=declared, layers=own.layers)
    models = read_earlier_models(files.earlier, faults)
    faults.problems.stop()
    assert weights is not None
    table = weights.table.assign(position=np.arange(len(weights.table)))
    table = table[(table["text"] != "") & (table["weight_kg"] > 0)]
    groups = [key for key, _ in table.groupby(["block", "season"], dropna=False, sort=False)]
    trellises = {name: build_trellis(data, name) for name in dict.fromkeys(name for name, _ in groups)}

    def look(key: tuple[str, float]) -> list[tuple[str, Finding]]:
        name, season = key
        here = table[(table["block"] == name) & ((table["season"] == season) | (pd.isna(season) & table["season"].isna()))]
        entry = make_entry(here, trellises[name], weights.unit)
        model = models.get(name)
        found = judge(
            entry,
            vine_spacing_m=trellises[name].vine_spacing_m,
            earlier_mean_kg=None if model is None else model.mean_kg,
        )
        return [(name, finding) for finding in sorted(found, key=lambda f: -f.odds)]

    found = [pair for pairs in run_parts(look, groups) for pair in pairs]
    return WeighIn(
        weights, tuple(found), (*found_remark(own), *faults.remarks[before:], *_remarks(weights)), files.header_row
    )


def make_entry(table: gpd.GeoDataFrame, trellis: Trellis, unit: str) -> Entry:
    """The lines of one block and winter with the places they name, and those they would name with row and vine exchanged.

    Parameters
    ----------
    table : GeoDataFrame
        Lines of `RawWeights.table` with `position`.
    trellis : Trellis
    unit : str
    """
    vines = trellis.vines
    points = shapely.get_coordinates(vines.geometry.values)
    place = {key: k for k, key in enumerate(zip(vines["row"], vines["vine"].astype(float), strict=True))}
    status = vines["status"].to_numpy()
    row, vine = table["row"].to_numpy(), table["vine"].to_numpy(dtype=float)
    named = (row != "") & ~np.isnan(vine)
    own = np.array([place.get(key, -1) for key in zip(row, vine, strict=True)])
    exchanged = [
        (f"{v:g}", float(r)) if re.fullmatch(r"\d{1,6}", r) else ("", np.nan) for r, v in zip(row, vine, strict=True)
    ]
    same = np.array([r == f"{v:g}" for r, v in zip(row, vine, strict=True)])
    other = np.where(named & ~same, [place.get(key, -1) for key in exchanged], -1)
    point, standing = _places(own, points, status)
    given = np.asarray(table.geometry.values)
    by_place = ~named & ~shapely.is_missing(given)
    point[by_place] = shapely.get_coordinates(given[by_place])
    standing[by_place] = "there"
    other_point, other_standing = _places(other, points, status)
    return Entry(
        position=table["position"].to_numpy(),
        text=table["text"].to_numpy(),
        unit=unit,
        weight_kg=table["weight_kg"].to_numpy(dtype=float),
        vines=table["vines_weighed"].to_numpy(dtype=float),
        row=row,
        vine=vine,
        point=point,
        standing=standing,
        other_point=other_point,
        other_standing=other_standing,
        day=table["day"].to_numpy() if "day" in table else None,
    )


def _places(
    vine_id: NDArray[np.int64], points: NDArray[np.float64], status: NDArray[np.object_]
) -> tuple[NDArray[np.float64], NDArray[np.object_]]:
    """Where vines stand (NaN where there is none) and whether they can have been weighed."""
    there = vine_id >= 0
    point = np.where(there[:, None], points[vine_id], np.nan)
    gone = np.isin(status[vine_id], GONE)
    return point, np.where(~there, "nowhere", np.where(gone, "gone", "there")).astype(object)


def changes_of(weigh_in: WeighIn, accepted: Collection[int] | None) -> list[Change]:
    """The changes that accepted findings ask for; of a line only the likeliest, and none of lines that are left out.

    Parameters
    ----------
    weigh_in : WeighIn
    accepted : collection of int or None
        Line numbers whose proposal is accepted; None for all.

    Raises
    ------
    DataError
        If an accepted line has no proposal.
    """
    numbers = weigh_in.weights.raw.numbers
    changes: dict[int, list[Change]] = {}
    for _, finding in weigh_in.findings:
        if not finding.has_proposal:
            continue
        lines = finding.positions[:1] if finding.kind == "twice" else finding.positions
        for position in lines:
            if (accepted is None or int(numbers[position]) in accepted) and position not in changes:
                changes[position] = _changes(weigh_in.weights, finding, position)
    missing = sorted(set(accepted or ()) - {int(numbers[k]) for k in changes})
    if missing:
        file, mend = weigh_in.weights.raw.file, "Accept lines that are listed with a proposal, or all"
        problems = [Problem(file, "samples", f"line {line}", "there is nothing proposed for it", mend) for line in missing]
        raise DataError(problems)
    return [change for position in sorted(changes) for change in changes[position]]


def _changes(weights: RawWeights, finding: Finding, position: int) -> list[Change]:
    table, line = weights.raw.table, weights.table.iloc[position]

    def change(column: str, before: str, after: str) -> Change:
        return Change(position, column, before, after, finding.kind, finding.odds)

    if finding.kind == "twice":
        return [change("", "", "")]
    if finding.kind == "swapped":
        vine, row = f"{line['vine']:g}", str(line["row"])
        return [change("row", row, vine), change("vine", vine, row)]
    if finding.kind == "together":
        before = name_text(table["vines_weighed"].iloc[position]) if "vines_weighed" in table else ""
        return [change("vines_weighed", before, finding.meant)]
    return [change(weights.column, str(line["text"]), meant(finding, str(line["text"])))]


def meant(finding: Finding, text: str) -> str:
    """The number that was meant, in the unit of the column: as read, or four digits of what is worked out."""
    if finding.kind in ("unit", "list", "run"):
        return f"{float(f'{float(text) * finding.factor:.4g}'):.12g}"
    return finding.meant


def write_accepted(weigh_in: WeighIn, changes: list[Change], out: Path, *, force: bool = False) -> tuple[Path, Path]:
    """Write the list with the changes made as CSV, and beside it what was changed; both or neither.

    Raises
    ------
    OutputError
        If a file exists and `force` is not given, is the list itself, or cannot be written.
    """
    weights = weigh_in.weights
    table = weights.given.table.drop(columns="geometry", errors="ignore").astype(object)
    comma = weights.raw.decimal_mark == ","  # then the copy is read with a comma, too
    if weights.raw.decimal_comma and not comma:
        table = table.apply(lambda column: column if column.name in TEXTS else column.map(_with_point))
    for change in changes:
        name = weights.names.get(change.column, change.column)
        if name and name not in table:
            table[name] = ""
        if name:
            after = change.after.replace(".", ",") if comma and change.column not in TEXTS else change.after
            table.iloc[change.position, list(table.columns).index(name)] = after
    table = table.rename(columns=weights.given.headers)
    left_out = [change.position for change in changes if not change.column]
    lines = weights.table
    log = pd.DataFrame(
        {
            "line": [int(weights.raw.numbers[c.position]) for c in changes],
            "block": [str(lines["block"].iloc[c.position]) for c in changes],
            "row": [str(lines["row"].iloc[c.position]) for c in changes],
            "vine": [lines["vine"].iloc[c.position] for c in changes],
            "column": [c.column or "line left out" for c in changes],
            "before": [c.before for c in changes],
            "after": [c.after for c in changes],
            "cause": [c.kind for c in changes],
            "odds": [min(round(c.odds, 1), 1e9) for c in changes],
        }
    )
    skipped = max(weigh_in.header_row, default=1) - 1  # so that the copy is read with the same settings
    return write_corrected(table.drop(index=table.index[left_out]), log, out, skipped=skipped, force=force)


def _with_point(value: Any) -> Any:
    """A number with a decimal comma written with a point."""
    return value.replace(",", ".") if isinstance(value, str) and DECIMAL_COMMA.fullmatch(name_text(value)) else value


def _remarks(weights: RawWeights) -> list[Remark]:
    empty = int((weights.table["text"] == "").sum())
    return [Remark("dropped", Message("weighin.empty", {"count": empty}))] if empty else []


def finding_message(weigh_in: WeighIn, finding: Finding) -> Message:
    """A finding as a sentence."""
    table, unit = weigh_in.weights.table, weigh_in.weights.unit
    line = table.iloc[finding.positions[0]]
    text = str(line["text"])
    fields: dict[str, Any] = {
        "place": line["source_place"],
        "row": line["row"] or "–",
        "vine": f"{line['vine']:g}" if pd.notna(line["vine"]) else "–",
        "written": f"{text} {unit}",
        "odds": _odds(finding.odds),
        "lines": len(finding.positions),
    }
    if finding.kind in (*OF_THE_WEIGHT, "together", "odd", "doubt"):
        fields |= {"low_kg": finding.low_kg, "high_kg": finding.high_kg, "meant_as": finding.meant, "unit": unit}
        fields["meant"] = f"{meant(finding, text)} {unit}" if finding.kind in OF_THE_WEIGHT else ""
    if finding.kind in ("twice", "twice_unlike"):
        fields["first"] = table["source_place"].iloc[finding.positions[1]]
    if finding.kind == "run":
        fields["last"] = table["source_place"].iloc[finding.positions[-1]]
    return Message(f"weighin.{finding.kind}", fields)


def _odds(odds: float) -> str:
    """Odds as they are read: 12, 350, over 1000."""
    return ">1000" if odds > 1000 else f"{odds:.2g}" if odds < 10 else f"{float(f'{odds:.2g}'):.0f}"


def findings_record(weigh_in: WeighIn) -> dict[str, Any]:
    """What was found as plain JSON values, SI units named in the keys."""
    table, numbers = weigh_in.weights.table, weigh_in.weights.raw.numbers

    def plain(block: str, finding: Finding) -> Mapping[str, Any]:
        line = table.iloc[finding.positions[0]]
        end = {"low_kg": finding.low_kg, "high_kg": finding.high_kg}
        return {
            "block": block,
            "lines": [int(numbers[k]) for k in finding.positions],
            "row": str(line["row"]),
            "vine": None if pd.isna(line["vine"]) else int(line["vine"]),
            "kind": finding.kind,
            "written": str(line["text"]),
            "unit": weigh_in.weights.unit,
            "meant": finding.meant or None,
            "proposal": finding.has_proposal,
            "odds": min(finding.odds, 1e12),
            "expected": {k: v if np.isfinite(v) else None for k, v in end.items()},
            "or": [{"kind": kind, "meant": meant_} for kind, meant_ in finding.further],
        }

    return {
        "program": "geoprune",
        "kind": "weigh-in",
        "lines": int((table["text"] != "").sum()),
        "findings": [plain(*pair) for pair in weigh_in.findings],
    }
