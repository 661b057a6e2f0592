"""What is found wrong, and what is assumed, while files are read: collected, then reported at once."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from geoprune.errors import Message, Problem, Problems, Remark

#: So many faults of one kind are listed one by one; the rest are counted.
LISTED_ONE_BY_ONE = 10


class Faults:
    """Collects the problems and remarks of all files and layers; `at` gives the same book for another place.

    Parameters
    ----------
    file : str
        Name of the file now being read, for the problems' place.
    layer : str
        Layer now being read, "" for the whole file.
    """

    def __init__(self, file: str = "", layer: str = "") -> None:
        self.file, self.layer = file, layer
        self.problems = Problems()
        self.remarks: list[Remark] = []

    def at(self, file: str, layer: str = "") -> Faults:
        """Return a view on the same book for another file and layer."""
        view = Faults(file, layer)
        view.problems, view.remarks = self.problems, self.remarks
        return view

    def add(self, what: str, mend: str, *, row: str = "") -> None:
        """Note one problem."""
        self.problems.append(Problem(self.file, self.layer, row, what, mend))

    def add_each(self, found: Iterable[tuple[str, str]], mend: str, *, count: int | None = None) -> None:
        """Note problems of one kind, given as (row, what); beyond the first ten they are only counted.

        `count` says how many there are where not all are given: putting a million of them into words takes minutes.
        """
        pairs = list(found)
        more = (len(pairs) if count is None else count) - LISTED_ONE_BY_ONE
        for row, what in pairs[:LISTED_ONE_BY_ONE]:
            self.add(what, mend, row=row)
        if more > 0:
            self.add(f"{more} more lines have the same fault", mend)

    def remark(self, kind: str, key: str, *, block: str = "", **fields: Any) -> None:
        """Note something assumed, dropped, mended or doubtful; `key` is a sentence of section [reading]."""
        remark = Remark(kind, Message(f"reading.{key}", fields), block)
        if remark not in self.remarks:
            self.remarks.append(remark)
