"""What a grower declares of files as they are: which column is which, which word means what, the decimal mark."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from types import MappingProxyType
from typing import Any

import numpy as np
import pandas as pd

from geoprune.layers import Column, columns_of
from geoprune.reading.cells import in_degrees, without_unit
from geoprune.reading.columns import RawTable, clean_name, may_hold_text, name_text
from geoprune.reading.faults import Faults
from geoprune.text import few
from geoprune.units import SUFFIXES

NOTHING: Mapping[str, Any] = MappingProxyType({})
#: The word that stands for "wherever nothing was given".
OTHERWISE = "otherwise"


@dataclass(frozen=True)
class Declared:
    """What is declared of the files.

    Attributes
    ----------
    columns : mapping
        Layer -> wanted name (with its unit) -> name in the file.
    values : mapping
        Column -> word in the file -> word of geoprune; "otherwise" fills in what the layer of blocks leaves empty.
    blocks : mapping
        Block -> column of the layer of blocks -> value; it wins over the file. Other keys are passed over.
    decimal_mark : str
        "," or "."; "" where it is found from each file.
    sheet : str
        Sheet of a workbook; "" for the one named as the layer, else the first with anything in it.
    header_row : tuple of int
        Lines that hold the names of the columns, counted from 1; several are read as one name. Empty: the first with
        anything in it.
    """

    columns: Mapping[str, Mapping[str, str]] = field(default_factory=lambda: NOTHING)
    values: Mapping[str, Mapping[str, Any]] = field(default_factory=lambda: NOTHING)
    blocks: Mapping[str, Mapping[str, Any]] = field(default_factory=lambda: NOTHING)
    decimal_mark: str = ""
    sheet: str = ""
    header_row: tuple[int, ...] = ()


def choices_of(tables: Mapping[str, Any]) -> dict[str, Any]:
    """Return the keywords of `read_vineyard` that the tables of a settings file hold: files, layers, columns, values, block.

    Examples
    --------
    >>> choices_of({"files": {"decimal_mark": ",", "units": "us"}, "layers": {"blocks": "parcelas"}})
    {'decimal_mark': ',', 'layers': {'blocks': 'parcelas'}}
    """
    files = tables.get("files", {})
    given = {name: files[name] for name in ("decimal_mark", "sheet", "header_row", "crs") if name in files}
    homes = {"layers": "layers", "columns": "columns", "values": "values", "block_values": "block"}
    return given | {keyword: tables[table] for keyword, table in homes.items() if table in tables}


def as_declared(raw: RawTable, declared: Declared, faults: Faults) -> RawTable:
    """Return a raw table with its columns and words as they were declared; what does not fit the file is noted."""
    faults = faults.at(raw.file, raw.layer)
    table = _renamed(raw.table, declared.columns.get(raw.layer, NOTHING), raw.layer, faults)
    if raw.layer == "blocks":
        table = _per_block(_filled(_kept_as_given(table), declared.values), raw, declared, faults)
    table = _plain_cells(_in_our_words(table, declared.values), raw.layer)
    mark = declared.decimal_mark
    return replace(raw, table=table, decimal_comma=raw.decimal_comma if not mark else mark == ",", decimal_mark=mark)


def _plain_cells(table: pd.DataFrame, layer: str) -> pd.DataFrame:
    """The table with numbers where every cell of a column has its column's unit behind it, or tells degrees and minutes."""
    for entry in (entry for entry in columns_of(layer) if entry.units or entry.name in ("lon", "lat")):
        for name in (name for name in entry.names if name in table and may_hold_text(table[name])):
            texts = table[name].map(name_text).tolist()
            if name in ("lon", "lat"):
                if (plain := in_degrees(texts)) != texts:
                    table = table.assign(**{name: pd.to_numeric(pd.Series(plain, table.index))})
                continue
            plain, unit = without_unit(texts)
            if unit and name == f"{entry.name}_{unit}":
                table = table.assign(**{name: pd.Series(plain, table.index, dtype=object)})
    return table


def _renamed(table: pd.DataFrame, wanted: Mapping[str, str], layer: str, faults: Faults) -> pd.DataFrame:
    """The table with declared columns under the names they are read by; a column of that name gives way."""
    known = {name for entry in columns_of(layer) for name in entry.names} if wanted else set()
    names: dict[str, str] = {}
    for name, given in wanted.items():
        there = clean_name(given)
        if clean_name(name) not in known:
            faults.add(f"the settings name a column {name}, which is not read", f"Name one of {', '.join(sorted(known))}")
        elif there not in table:
            found = few((str(column) for column in table.columns if column != "geometry"), 12)
            faults.add(f"there is no column '{given}' for {name}", f"Correct [columns.{layer}] in the settings ({found})")
        else:
            names[there] = clean_name(name)
    giving_way = [name for name in names.values() if name in table and name not in names]
    return table.drop(columns=giving_way).rename(columns=names)


def _kept_as_given(table: pd.DataFrame) -> pd.DataFrame:
    """The table with the training as the grower calls it beside the word it is read as."""
    return table.assign(training_as_given=table["training"].map(name_text)) if "training" in table else table


def _in_our_words(table: pd.DataFrame, values: Mapping[str, Mapping[str, Any]]) -> pd.DataFrame:
    for name, words in values.items():
        folded = {str(word).strip().casefold(): ours for word, ours in words.items()}
        if name in table:
            given = table[name].map(lambda value, folded=folded: folded.get(name_text(value).casefold(), value))
            table = table.assign(**{name: given})
    return table


def _filled(table: pd.DataFrame, values: Mapping[str, Mapping[str, Any]]) -> pd.DataFrame:
    """The layer of blocks with what was declared for wherever nothing is given."""
    for name, words in values.items():
        if OTHERWISE not in words:
            continue
        given = table[name] if name in table else pd.Series("", table.index, dtype=object)
        empty = given.map(name_text) == ""
        table = table.assign(**{name: given.astype(object).where(~empty, words[OTHERWISE])})
    return table


def _per_block(table: pd.DataFrame, raw: RawTable, declared: Declared, faults: Faults) -> pd.DataFrame:
    """The layer of blocks with what was declared for single blocks."""
    if not declared.blocks or "block" not in table:
        return table
    names = table["block"].map(name_text).str.casefold()
    for block, given in declared.blocks.items():
        here = (names == block.strip().casefold()).to_numpy()
        if not here.any():
            known = few(table["block"].map(name_text))
            faults.add(f"there is no block '{block}', which the settings name", f"Use a block's name ({known})")
        for key, value in given.items():
            entry = next((entry for entry in columns_of("blocks") if key in entry.names), None)
            if entry is not None:
                table = _set(table, here, entry, key, value)
    return table


def _set(
    table: pd.DataFrame, here: np.ndarray[Any, np.dtype[np.bool_]], entry: Column, key: str, value: Any
) -> pd.DataFrame:
    """The table with a value of some lines set, in the unit that the column has there."""
    name = next((name for name in entry.names if name in table), key)
    if name != key:
        factors = SUFFIXES[entry.kind]
        value = float(value) * factors[key.rsplit("_", 1)[1]] / factors[name.rsplit("_", 1)[1]]
    given = table[name].astype(object) if name in table else pd.Series("", table.index, dtype=object)
    return table.assign(**{name: given.where(~here, value)})
