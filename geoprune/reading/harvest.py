"""Last harvest per block or zone, from a table: for the crop load of the vines that bore it."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from pathlib import Path

import numpy as np
import pandas as pd

from geoprune.areas import geodesic_area_ha
from geoprune.layers import Vineyard, columns_of
from geoprune.reading.beside import read_beside
from geoprune.reading.columns import Columns, RawTable, clean_names, known_rows
from geoprune.reading.declared import Declared
from geoprune.reading.faults import Faults

#: No vineyard bears more, and a block that bore less was hardly harvested (t/ha; common practice, no source).
MOST_T_HA, FEW_T_HA = 100.0, 0.2


def read_harvest(
    path: Path,
    vineyard: Vineyard,
    faults: Faults | None = None,
    *,
    declared: Declared | None = None,
    rows: Mapping[str, Collection[str]] | None = None,
) -> pd.DataFrame:
    """Read yields from a CSV or XLSX file and check them (see `check_harvest`) against the vineyard's blocks and weights.

    Parameters
    ----------
    path : Path
    vineyard : Vineyard
    faults : Faults, optional
        Where remarks are noted.
    declared : Declared, optional
        Which columns and words of the file mean what, and its decimal mark.
    rows : mapping, optional
        Block -> names of its rows; yields by row are then of rows that there are, called so.

    Raises
    ------
    DataError
        If the file cannot be read as a table, or with every problem of its rows.
    """
    own = Faults(path.name, "harvest")
    raw = read_beside(path, own, declared)
    blocks = vineyard.blocks[vineyard.blocks.geometry.notna()]
    area_ha = dict(zip(blocks["block"], geodesic_area_ha(blocks.geometry), strict=True))
    samples = vineyard.samples
    pruned = samples.groupby("block")["season"].max().dropna().to_dict() if "season" in samples else {}
    found = _checked(raw, vineyard.blocks["block"].tolist(), own, area_ha=area_ha, pruned=pruned, rows=rows)
    if faults is not None:
        faults.remarks.extend(remark for remark in own.remarks if remark not in faults.remarks)
    return found


def check_harvest(table: pd.DataFrame, blocks: Sequence[str], *, file: str = "") -> pd.DataFrame:
    """Check a table of yields and bring it to kg.

    Parameters
    ----------
    table : DataFrame
        Columns `block` (may be left out where there is one), one of `yield_kg`, `yield_lb`, `yield_t` (1000 kg),
        `yield_ton` (2000 lb), the total of the block, zone or row, and optional `zone`, `row` and `season`.
    blocks : sequence of str
        Names of the blocks there are.
    file : str
        File name for messages.

    Returns
    -------
    DataFrame with RangeIndex: block, zone (Int64, NA = whole block or a row), row ("" = whole block or a zone), season
    (Int64), yield_kg

    Raises
    ------
    DataError
        With every problem: unit missing or doubled, unknown or repeated block, impossible yield, a line without season
        beside others with one.
    """
    faults = Faults(file, "harvest")
    cleaned = clean_names(table.reset_index(drop=True), faults)
    return _checked(RawTable(file, "harvest", cleaned, np.arange(2, len(table) + 2), "line"), blocks, faults)


def _checked(
    raw: RawTable,
    blocks: Sequence[str],
    faults: Faults,
    *,
    area_ha: Mapping[str, float] | None = None,
    pruned: Mapping[str, float] | None = None,
    rows: Mapping[str, Collection[str]] | None = None,
) -> pd.DataFrame:
    columns = Columns(raw, faults)
    if not len(raw.table):
        columns.faults.add("there are no yields", "Give a line per block, or leave the file out")
    clean = pd.DataFrame(
        {
            "block": columns.block(blocks),
            **{entry.si_name: columns.read(entry) for entry in columns_of("harvest") if entry.name != "block"},
        }
    )
    if rows is not None:
        clean["row"] = known_rows(columns, clean["block"], clean["row"], rows)
    mend = "Keep one line per block, zone or row, and season"
    columns.report_twice(clean, ["block", "zone", "row", "season"], needed=["block"], mend=mend)
    both = np.flatnonzero((clean["zone"].notna() & (clean["row"] != "")).to_numpy())
    found = [(columns.raw.place(i), "a zone and a row stand in one line") for i in both]
    columns.faults.add_each(found, "Leave one of the two empty: a yield is of a zone or of a row")
    _check_seasons(clean, columns, pruned or {})
    _check_hectares(clean, columns, area_ha or {})
    faults.problems.stop()
    clean = _of_last_crop(clean, pruned or {}, faults)
    return clean.astype({"zone": "Int64", "season": "Int64"})


def _check_seasons(clean: pd.DataFrame, columns: Columns, pruned: Mapping[str, float]) -> None:
    """Note lines without a season beside others of the same block and zone, and crops later than the pruning."""
    dated = clean["season"].notna()
    beside = dated.groupby([clean["block"], clean["zone"].fillna(0.0), clean["row"]]).transform("any")
    without = np.flatnonzero((~dated & beside).to_numpy())
    found = [(columns.raw.place(i), f"no season beside other lines of block '{clean['block'].iloc[i]}'") for i in without]
    columns.faults.add_each(found, "Give the season in every line, so that the newest is known")
    weighed = clean["block"].map(pruned)
    found = [
        (columns.raw.place(i), f"season {clean['season'].iloc[i]:g} is later than the pruning of {weighed.iloc[i]:g}")
        for i in np.flatnonzero((clean["season"] > weighed).to_numpy())
    ]
    columns.faults.add_each(found, "Give the year of the harvest; season in the weights is the year of the pruning")


def _check_hectares(clean: pd.DataFrame, columns: Columns, area_ha: Mapping[str, float]) -> None:
    """Hold the yields of each block and season, zones together and rows together, against its hectares."""
    area = clean["block"].map(area_ha)
    apart = clean["zone"].notna().astype(int) + 2 * (clean["row"] != "")
    together = clean["yield_kg"].groupby([clean["block"], clean["season"].fillna(0.0), apart]).transform("sum")
    t_ha = (together / 1000 / area).to_numpy(dtype=float)
    found = [
        (columns.raw.place(i), f"{t_ha[i]:,.0f} t/ha in block '{clean['block'].iloc[i]}' ({area.iloc[i]:.2f} ha)")
        for i in np.flatnonzero(t_ha > MOST_T_HA)
    ]
    columns.faults.add_each(found, f"No vineyard bears over {MOST_T_HA:g} t/ha: correct the yield, its unit or the outline")
    for i in np.flatnonzero((t_ha < FEW_T_HA) & (apart == 0).to_numpy()):
        fields = {"line": int(columns.raw.numbers[i]), "yield_t_ha": float(t_ha[i])}
        columns.faults.remark("warning", "yield_low", block=clean["block"].iloc[i], **fields)


def _of_last_crop(clean: pd.DataFrame, pruned: Mapping[str, float], faults: Faults) -> pd.DataFrame:
    """The yields without those of crops before the last one that the pruned wood bore; a block left without is said."""
    weighed = clean["block"].map(pruned)
    old = clean["season"] < weighed - 1
    for block in sorted(set(clean["block"][old]) - set(clean["block"][~old])):
        newest = clean.loc[clean["block"] == block, "season"].max()
        faults.remark("dropped", "yield_old", block=block, season=int(newest), pruned=int(pruned[block]))
    return clean[~old].reset_index(drop=True)
