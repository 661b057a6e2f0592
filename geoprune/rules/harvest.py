"""Last harvest per block or zone, checked: for the crop load of the vines that bore it."""

from __future__ import annotations

from collections.abc import Iterable
from difflib import get_close_matches
from pathlib import Path

import numpy as np
import pandas as pd

from geoprune.errors import DataError, Problem
from geoprune.units import KG_PER_LB, T_PER_TON

#: Units a yield may be given in, kg each; "t" is 1000 kg, "ton" is 2000 lb.
YIELD_UNITS = {"kg": 1.0, "lb": KG_PER_LB, "t": 1000.0, "ton": 1000.0 * T_PER_TON}


def read_harvest(path: Path, blocks: Iterable[str]) -> pd.DataFrame:
    """Read yields from a CSV or XLSX file and check them (see `check_harvest`).

    Raises
    ------
    DataError
        If the file cannot be read as a table, or with every problem of its rows.
    """
    try:
        if path.suffix.lower() == ".xlsx":
            table = pd.read_excel(path, engine="calamine")
        else:
            table = pd.read_csv(path, sep=None, engine="python", encoding="utf-8-sig")
    except Exception as error:
        what = "the harvest cannot be read as a table"
        raise DataError([Problem(path.name, "harvest", "", what, "Save it as CSV (UTF-8) or XLSX")]) from error
    table.columns = [str(name).strip().lower() for name in table.columns]
    return check_harvest(table, blocks, file=path.name)


def check_harvest(table: pd.DataFrame, blocks: Iterable[str], *, file: str = "") -> pd.DataFrame:
    """Check a table of yields and bring it to kg.

    Parameters
    ----------
    table : DataFrame
        Columns `block`, one of `yield_kg`, `yield_lb`, `yield_t`, `yield_ton` (the total of the block or zone),
        and optional `zone` and `season`.
    blocks : iterable of str
        Names of the blocks there are.
    file : str
        File name for messages.

    Returns
    -------
    DataFrame with RangeIndex: block, zone (Int64, NA = whole block), season (Int64), yield_kg

    Raises
    ------
    DataError
        With every problem: unit missing or doubled, unknown or repeated block, impossible yield.
    """
    names = list(blocks)
    units = [unit for unit in YIELD_UNITS if f"yield_{unit}" in table.columns]
    accepted = ", ".join(f"yield_{unit}" for unit in YIELD_UNITS)
    if "block" not in table.columns:
        raise DataError([Problem(file, "harvest", "", "there is no column `block`", "Name the block of each yield")])
    if len(units) != 1:
        what = "there is no yield with a unit" if not units else "the yield has two units"
        raise DataError([Problem(file, "harvest", "", what, f"Use one of {accepted}")])
    column = f"yield_{units[0]}"
    clean = pd.DataFrame(
        {
            "block": table["block"].astype(str).str.strip(),
            "zone": _whole(table, "zone"),
            "season": _whole(table, "season"),
            "yield_kg": pd.to_numeric(table[column], errors="coerce") * YIELD_UNITS[units[0]],
        }
    ).reset_index(drop=True)
    problems = _problems(clean, table[column].to_list(), column, names, file)
    for name in ("zone", "season"):
        problems += _whole_problems(table, clean, name, file)
    if problems:
        raise DataError(problems)
    return clean


def zone_yield_kg(harvest: pd.DataFrame, block: str, zone: int, *, share_of_pruning: float) -> float:
    """Yield of a zone, kg: its own where given, else its share of the block's by pruning weight; NaN if neither.

    Sharing a block's yield by pruning weight gives every zone the block's crop load; that says nothing of their
    differences, and is only used where zones were not harvested apart.
    """
    own = harvest[(harvest["block"] == block) & (harvest["zone"] == zone).fillna(False)]
    return _newest_kg(own) if len(own) else block_yield_kg(harvest, block) * share_of_pruning


def block_yield_kg(harvest: pd.DataFrame, block: str) -> float:
    """Newest yield given for the block as a whole, kg; NaN if none."""
    return _newest_kg(harvest[(harvest["block"] == block) & harvest["zone"].isna()])


def _newest_kg(lines: pd.DataFrame) -> float:
    return float(lines.sort_values("season")["yield_kg"].iloc[-1]) if len(lines) else np.nan


def _whole(table: pd.DataFrame, column: str) -> pd.Series:
    if column not in table.columns:
        return pd.Series(pd.NA, index=table.index, dtype="Int64")
    numbers = pd.to_numeric(table[column], errors="coerce")
    return numbers.where(numbers == numbers.round()).astype("Int64")


def _whole_problems(table: pd.DataFrame, clean: pd.DataFrame, column: str, file: str) -> list[Problem]:
    if column not in table.columns:
        return []
    wrong = (table[column].notna().to_numpy() & clean[column].isna().to_numpy()) | (clean[column] < 1).fillna(False)
    return [
        Problem(file, "harvest", f"row {index + 2}", f"`{column}` is {table[column].iloc[index]}", "Give a whole number")
        for index in np.flatnonzero(wrong)
    ]


def _problems(clean: pd.DataFrame, given: list[object], column: str, names: list[str], file: str) -> list[Problem]:
    problems = []
    repeated = clean.duplicated(["block", "zone", "season"], keep="first")
    for number, line in enumerate(clean.itertuples(), start=2):
        row = f"row {number}"
        if line.block not in names:
            near = get_close_matches(line.block, names, n=1, cutoff=0.4)
            mend = f"Nearest: '{near[0]}'" if near else f"Blocks are: {', '.join(names)}"
            problems.append(Problem(file, "harvest", row, f"there is no block '{line.block}'", mend))
        if not np.isfinite(line.yield_kg) or line.yield_kg < 0:
            what = f"`{column}` is {given[line.Index]}"
            problems.append(Problem(file, "harvest", row, what, "Give the yield as a number, 0 or more"))
        if repeated[line.Index]:
            what = f"the yield of block '{line.block}' stands twice"
            problems.append(Problem(file, "harvest", row, what, "Keep one line per block, zone and season"))
    return problems
