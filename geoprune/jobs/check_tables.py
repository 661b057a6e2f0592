"""The tables of a check as they were read, and as the settings so far declare them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import pandas as pd

from geoprune.jobs.asking import Sitting, proposed
from geoprune.reading import Faults, choices_of
from geoprune.reading.columns import RawTable, name_text
from geoprune.reading.declared import Declared, as_declared

#: Answers that are shown with a question at most.
MOST_OPTIONS = 4


@dataclass
class Tables:
    """The tables of both files as they were read, before anything declared of them."""

    raw: dict[str, RawTable] = field(default_factory=dict)
    sitting: Sitting = field(default_factory=lambda: Sitting(proposed, {}))

    def declared(self, layer: str) -> RawTable:
        """A table as the settings now declare it."""
        return as_declared(self.raw[layer], declared_in(self.sitting.tables), Faults())

    def names(self, layer: str, name: str) -> list[str]:
        """Texts of a column of a layer, as declared."""
        table = self.declared(layer).table if layer in self.raw else pd.DataFrame()
        return [text for text in table[name].map(name_text) if text] if name in table else []


def declared_in(tables: Mapping[str, Any]) -> Declared:
    """Return what tables of settings declare of columns, values and blocks."""
    choices = choices_of(tables)
    columns, values, blocks = (choices.get(key, {}) for key in ("columns", "values", "block_values"))
    return Declared(columns, values, blocks, choices.get("decimal_mark", ""))
