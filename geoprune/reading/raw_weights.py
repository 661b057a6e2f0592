"""A list of weights as it was written, to be looked at before it is believed: no weight and no vine is refused."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path

import geopandas as gpd
import pandas as pd

from geoprune.layers import Vineyard
from geoprune.reading.columns import DECIMAL_COMMA, Columns, RawTable, clean_name, name_text
from geoprune.reading.declared import NOTHING, Declared, as_declared
from geoprune.reading.faults import Faults
from geoprune.reading.parts import rows_as_drawn
from geoprune.reading.samples import check_samples, read_sample_file
from geoprune.units import SUFFIXES

STEM = "pruning_weight"


@dataclass(frozen=True, eq=False)
class RawWeights:
    """given : the table as it is in the file; raw : as it was declared; names : columns' names -> those given, where they
    differ; column, unit : of the weights; table : DataFrame aligned with it, block, row, vine,
    vines_weighed, season, text (the weight as written, with a point; "" where empty), weight_kg, source_place, geometry."""

    given: RawTable
    raw: RawTable
    column: str
    unit: str
    table: gpd.GeoDataFrame
    names: Mapping[str, str] = field(default_factory=dict)


def read_raw_weights(
    path: Path,
    vineyard: Vineyard,
    faults: Faults,
    *,
    crs: str | None = None,
    declared: Declared | None = None,
    layers: Mapping[str, str] = NOTHING,
) -> RawWeights | None:
    """Read a list of weights; None where nothing can be read, and problems are noted.

    Parameters
    ----------
    path : Path
        CSV, XLSX, or a file with a layer `samples`.
    vineyard : Vineyard
        Whose blocks and rows the list names.
    faults : Faults
    crs : str, optional
        CRS of `easting` and `northing`.
    declared : Declared, optional
        Which columns and words mean what.
    layers : mapping, optional
        Layer -> what it is called in the file.
    """
    declared = declared or Declared()
    given = read_sample_file(path, faults, declared, layers=layers)
    if given is None:
        return None
    raw = as_declared(given, declared, faults)
    names = {clean_name(ours): clean_name(theirs) for ours, theirs in declared.columns.get(raw.layer, NOTHING).items()}
    there = any(str(name).startswith(STEM) for name in raw.table)
    columns = Columns(raw, faults)
    weight = columns.quantity(STEM, "weight", None, required="optional" if there else "every row")
    column = next((f"{STEM}_{unit}" for unit in SUFFIXES["weight"] if f"{STEM}_{unit}" in raw.table), None)
    if column is None:
        return None
    # with a weight that nobody refuses, so that everything else is checked as for a plan
    plain = raw.table.drop(columns=[name for name in raw.table if str(name).startswith(STEM)])
    checked = check_samples(replace(raw, table=plain.assign(pruning_weight_kg="1")), vineyard.blocks, faults, crs=crs)
    checked = rows_as_drawn(checked, vineyard.rows)
    texts = raw.table[column].map(name_text)
    texts = texts.where(~texts.str.fullmatch(DECIMAL_COMMA), texts.str.replace(",", ".")).where(weight.notna(), "")
    kept = ["block", "row", "vine", "vines_weighed", "season", "source_place", "geometry"]
    days = raw.table["date"].map(name_text) if "date" in raw.table else pd.Series("", index=raw.table.index, dtype=object)
    checked = checked.assign(day=days.to_numpy(dtype=object))
    kept.append("day")
    table = checked[kept].assign(text=pd.Series(texts.to_numpy(), index=checked.index), weight_kg=weight.to_numpy())
    return RawWeights(given, raw, column, column.rsplit("_", 1)[1], table, names)
