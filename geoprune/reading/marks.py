"""Weights that stand in the names or descriptions of marked points, as receivers and phones save them."""

from __future__ import annotations

import re

import pandas as pd

from geoprune.reading.columns import clean_name, name_text
from geoprune.reading.faults import Faults
from geoprune.reading.headers import UNIT_WORDS, fold
from geoprune.units import SUFFIXES

#: Columns of a marked point that people write into, the first that holds a weight counts.
WRITTEN = ("name", "desc", "description", "cmt")
_SIGNS = {
    fold(word): unit for unit, words in UNIT_WORDS.items() if unit in SUFFIXES["weight"] for word in (unit, *words.split())
}
#: A number with its unit behind it: 640 g, 1,2kg, 2.5 lbs.
WEIGHT = re.compile(rf"(?<![\w.,])(\d+(?:[.,]\d+)?)\s*({'|'.join(sorted(_SIGNS, key=len, reverse=True))})\b", re.IGNORECASE)


def weights_of_marks(table: pd.DataFrame, faults: Faults) -> pd.DataFrame:
    """Return marked points with the weights that their names or descriptions give, each with its unit.

    A table with a column of weights is left as it is. Where some marks give a weight, the others (a gate, a truck) are left
    out, and said; where none does, nothing is changed.
    """
    names = {clean_name(column): column for column in table.columns}
    if any(name.startswith("pruning_weight") for name in names):
        return table
    written = [table[names[name]].map(name_text) for name in WRITTEN if name in names]
    found = [next((hit for hit in map(WEIGHT.search, texts) if hit), None) for texts in zip(*written, strict=True)]
    if not any(found):
        return table
    kept = table[[hit is not None for hit in found]]
    hits = [hit for hit in found if hit is not None]
    if len(kept) < len(table):
        faults.remark("dropped", "marks_without_weight", count=len(table) - len(kept))
    units = {_SIGNS[fold(hit[2])] for hit in hits}
    if len(units) == 1:
        return kept.assign(**{f"pruning_weight_{units.pop()}": [hit[1] for hit in hits]})
    factors = SUFFIXES["weight"]
    return kept.assign(pruning_weight_kg=[float(hit[1].replace(",", ".")) * factors[_SIGNS[fold(hit[2])]] for hit in hits])
