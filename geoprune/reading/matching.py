"""Which column of a grower's table may be which: proposed by name and by what stands in it, never taken unasked."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from geoprune.errors import DataError
from geoprune.layers import Column, column, columns_of
from geoprune.reading.blocks import two_lengths
from geoprune.reading.cells import in_degrees, unit_behind, without_unit
from geoprune.reading.columns import POINTS_AND_COMMA, RawTable, matched, name_text
from geoprune.reading.headers import UNIT_WORDS, fold, likeness, unit_of
from geoprune.reading.tables import Line
from geoprune.rules import RuleBook, suggest_trainings
from geoprune.units import SUFFIXES

#: A needed column is proposed from so much on, another from so much (design choices, as are all weights here).
NEEDED_FROM, OPTIONAL_FROM = 0.4, 0.75
#: What a column's content alone is worth where its name says nothing, for contents that hardly anything else has.
BY_CONTENT = {"training": 0.55, "rule": 0.5, "row_by_vine": 0.55, "status": 0.5}
#: As much is a column worth that holds names of blocks, beside the layer of blocks, or a weight with its unit in every cell.
TELLING = 0.55
#: Only so many values of a column are looked at.
LOOKED_AT = 400
#: What layers are called (common practice, no source).
LAYER_WORDS = {
    "blocks": "block blocks vineyard vineyards parcel parcels field fields parcela parcelas cuartel cuarteles lote lotes"
    " bloques viña viñas viñedo appezzamenti vigneti parcelle parcelles parzellen weinberge talhões vinhas",
    "rows": "row lines hilera hileras fila filas líneas filari rang rangs zeilen reihen linhas",
    "vines": "vine plants planta plantas cepa cepas fallas faltantes viti piante ceps stöcke videiras missing",
    "samples": "sample weights weight pesos peso muestra muestras pesadas campioni échantillons proben gewichte amostras",
    "bud_checks": "buds bud yemas gemme bourgeons knospen",
}
PLACES = {"lon": 180.0, "lat": 90.0}
#: A map grid's numbers are larger than any degrees.
LEAST_GRID = 400.0
#: Units of length, and the units that tell of the same people's measures.
SYSTEMS = {("m", "cm"): {"m", "cm", "mm", "kg", "g"}, ("ft",): {"ft", "in", "lb", "oz"}}


@dataclass(frozen=True)
class Candidate:
    """A column of a file that may be a wanted one.

    Attributes
    ----------
    entry : Column
        What is wanted.
    given : str
        The column's name in the file.
    unit : str
        The unit its name carries; "" where it carries none, or the wanted column has none.
    score : float
        From 0 to 1, by name and content.
    examples : tuple of str
        A few of its values.
    as_elsewhere : bool
        Whether the unit is not in its name, but the only one it can have of those that the other columns have.
    """

    entry: Column
    given: str
    unit: str
    score: float
    examples: tuple[str, ...]
    as_elsewhere: bool = False

    @property
    def key(self) -> str:
        """The wanted name with its unit; the stem alone where the unit is not known."""
        return f"{self.entry.name}_{self.unit}" if self.unit else self.entry.name

    @property
    def units(self) -> tuple[str, ...]:
        """Units in which its values can be; all of them where none can."""
        found = tuple(unit for unit in self.entry.units if _within(list(self.examples), self.entry, unit) > 0)
        return found or self.entry.units

    @property
    def settled(self) -> bool:
        """Whether nothing is left to be asked: the unit is known, or none is needed."""
        return bool(self.unit) or not self.entry.units


@dataclass(frozen=True)
class Surroundings:
    """What else is known when a column's content is judged.

    Names of blocks and of rows, the rules there are, and the units of length that go with those told in the files.
    """

    blocks: Sequence[str] = ()
    rows: Sequence[str] = ()
    book: RuleBook | None = None
    lengths: Sequence[str] = ()


def propose_columns(raw: RawTable, around: Surroundings, taken: Iterable[str] = ()) -> dict[str, list[Candidate]]:
    """Return candidates for the columns that a table lacks, best first.

    Parameters
    ----------
    raw : RawTable
    around : Surroundings
    taken : iterable of str
        Columns of the file that are spoken for.

    Returns
    -------
    dict
        Name of the wanted column -> candidates. The first one of each is meant for it alone; the others may stand
        elsewhere too.
    """
    free = [name for name in map(str, raw.table.columns) if name != "geometry" and name not in set(taken)]
    known = {name for entry in columns_of(raw.layer) for name in entry.names}
    free = [name for name in free if name not in known]
    lacking = [entry for entry in columns_of(raw.layer) if not any(name in raw.table for name in entry.names)]
    cells = {name: _cells_of(raw.table[name]) for name in free}
    scored = [_candidate(raw.headers.get(name, name), cells[name], entry, around) for entry in lacking for name in free]
    scored = sorted((c for c in scored if c.score >= _least(c.entry)), key=lambda c: -c.score)
    best: dict[str, Candidate] = {}
    for candidate in scored:
        if candidate.entry.name not in best and candidate.given not in {other.given for other in best.values()}:
            best[candidate.entry.name] = candidate
    return {name: [first, *(c for c in scored if c.entry.name == name and c is not first)] for name, first in best.items()}


def propose_layers(names: Sequence[str]) -> dict[str, str]:
    """Return layer -> name in the file, for the layers that a file has under other names."""
    words = {layer: set(map(fold, listed.split())) for layer, listed in LAYER_WORDS.items()}
    known = {layer for layer in words if layer in {fold(name).replace(" ", "_") for name in names}}
    found: dict[str, str] = {}
    for name in names:
        hits = [layer for layer in words if layer not in known | set(found) and words[layer] & set(fold(name).split())]
        if hits and fold(name).replace(" ", "_") not in known:
            found[hits[0]] = name
    return found


def header_score(cells: Iterable[object], layer: str) -> float:
    """Return how much a line looks like the names of a table's columns: how many are found, and how well."""
    names = [name for name in map(name_text, cells) if name and not _is_number(name)]
    best = [max((likeness(name, entry) for entry in columns_of(layer)), default=0.0) for name in names]
    return float(sum(score for score in best if score >= NEEDED_FROM))


def header_lines(lines: Sequence[Line], layer: str, most: int = 15) -> tuple[int, ...]:
    """Return the lines that most look like names of columns; two where the second holds nothing but units and such names."""
    if not lines:
        return ()
    scores = [header_score(cells, layer) for _, cells in lines[:most]]
    best = int(np.argmax(scores))
    if scores[best] == 0:
        return ()
    if best + 1 < len(lines):
        below = [name_text(cell) for cell in lines[best + 1][1]]
        units = [text for text in below if text]
        signs = {fold(word) for unit, words in UNIT_WORDS.items() for word in (unit, *words.split())}
        if units and all(fold(text) in signs or not fold(text) or _is_name(text, layer) for text in units):
            return lines[best][0], lines[best + 1][0]
    return (lines[best][0],)


def _is_name(text: str, layer: str) -> bool:
    return not _is_number(text) and max(likeness(text, entry) for entry in columns_of(layer)) >= NEEDED_FROM


def _least(entry: Column) -> float:
    needed = entry.must or entry.name in ("row_by_vine", "row", "vine", "block", *PLACES, "easting", "northing")
    return NEEDED_FROM if needed else OPTIONAL_FROM


@dataclass(frozen=True)
class _Cells:
    """What stands in the first cells of a column: whole, without the unit behind each, and that unit."""

    texts: list[str]
    plain: list[str]
    unit: str


def _cells_of(column: pd.Series) -> _Cells:
    texts = [text for text in column.head(LOOKED_AT).map(name_text) if text]
    plain, unit = without_unit(texts)
    return _Cells(texts, plain, unit or unit_behind(texts))


def _candidate(header: str, cells: _Cells, entry: Column, around: Surroundings) -> Candidate:
    texts, plain, behind = cells.texts, cells.plain, cells.unit
    unit = behind or unit_of(header) if entry.units else ""
    unit = unit if unit in entry.units else ""
    can = [one for one in around.lengths if not unit and entry.kind == "length" and _can_be(texts, entry, one)]
    unit, as_elsewhere = (can[0], True) if len(can) == 1 else (unit, False)
    held = in_degrees(texts) if entry.name in PLACES else plain if unit == behind else texts
    by_name, by_content = likeness(header, entry), _content(held, entry, unit, around) if texts else 0.0
    score = by_name * (0.4 + 0.6 * by_content) if by_content else 0.0
    alone = BY_CONTENT.get(entry.name, 0.0)
    if (entry.name == "block" and entry.layer != "blocks") or (entry.kind == "weight" and behind in entry.units):
        alone = TELLING
    if by_content >= 0.6:
        score = max(score, alone * by_content)
    return Candidate(entry, header, unit, score, tuple(dict.fromkeys(texts))[:3], as_elsewhere)


def _can_be(texts: list[str], entry: Column, unit: str) -> bool:
    """Whether every value of a column of lengths can be in a unit: rows and vines that stand so far apart."""
    if entry.name != "row_by_vine":
        return bool(texts) and _within(texts, entry, unit) == 1.0
    shape = re.compile(two_lengths(unit), re.IGNORECASE)
    pairs = [found.groups() for found in map(shape.match, texts) if found]
    both = column("blocks", "row_spacing"), column("blocks", "vine_spacing")
    return len(pairs) == len(texts) > 0 and all(
        _within([pair[place] for pair in pairs], one, unit) == 1.0 for place, one in enumerate(both)
    )


def lengths_beside(headers: Iterable[str]) -> tuple[str, ...]:
    """Return the units of length that go with the units told in names of columns; none where they tell none, or both kinds.

    Examples
    --------
    >>> lengths_beside(["Peso de poda (g)", "Marco"])
    ('m', 'cm')
    """
    told = set(map(unit_of, headers))
    systems = [lengths for lengths, units in SYSTEMS.items() if told & units]
    return systems[0] if len(systems) == 1 else ()


def _content(texts: list[str], entry: Column, unit: str, around: Surroundings) -> float:
    """How well the values of a column go with what is wanted: 1 all of them, 0 not at all."""
    judge = _JUDGES.get((entry.layer, entry.name)) or _JUDGES.get(("", entry.name))
    if judge is not None:
        return judge(texts, around)
    if entry.one_of:
        return _share(word.casefold() in {one.casefold() for one in entry.one_of} for word in texts) or 0.3
    if entry.kind == "text":
        return 0.6 + 0.4 * _share(not _is_number(text) for text in texts)
    return _within(texts, entry, unit)


def _within(texts: list[str], entry: Column, unit: str) -> float:
    """Share of values that are numbers the column can hold, in its unit; in the likeliest one where it is not known."""
    values = numbers(texts)
    if entry.kind == "whole":
        values = np.where(values % 1 == 0, values, np.nan)
    if entry.limits is None:
        return float(np.isfinite(values).mean())
    low, high = entry.limits
    factors = [SUFFIXES[entry.kind][unit]] if unit else [*SUFFIXES.get(entry.kind, {"": 1.0}).values()]
    with np.errstate(over="ignore"):  # what grows past all numbers is out of range
        return float(max(((values * factor >= low) & (values * factor <= high)).mean() for factor in factors))


def numbers(texts: Iterable[str]) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    """Return texts as numbers, whichever of comma and point is the decimal mark; NaN where there is none."""
    texts = (text.replace(".", "") if POINTS_AND_COMMA.fullmatch(text) else text for text in texts)
    plain = (text.replace(",", ".") if text.count(",") == 1 and "." not in text else text for text in texts)
    return pd.to_numeric(pd.Series(list(plain), dtype=object), errors="coerce").to_numpy(dtype=float)


def _is_number(text: str) -> bool:
    return bool(np.isfinite(numbers([text])).all())


def _share(hits: Iterable[bool]) -> float:
    found = list(hits)
    return sum(found) / len(found) if found else 0.0


def _own_names(texts: list[str], around: Surroundings) -> float:
    return 1.0 if len({text.casefold() for text in texts}) == len(texts) else 0.0


def _of_blocks(texts: list[str], around: Surroundings) -> float:
    if not around.blocks:
        return 0.5
    return max(_share(matched(pd.Series(texts), around.blocks) != ""), 0.2)


def _of_rows(texts: list[str], around: Surroundings) -> float:
    if not around.rows:
        return 0.8 if len(set(texts)) > 1 else 0.5
    return max(_share(matched(pd.Series(texts), around.rows) != ""), 0.2)


def _trainings(texts: list[str], around: Surroundings) -> float:
    return _share(bool(suggest_trainings(text)) for text in texts) or 0.2


def _rules(texts: list[str], around: Surroundings) -> float:
    if around.book is None:
        return 0.5
    return _share(_resolves(around.book, text) for text in set(texts))


def _resolves(book: RuleBook, text: str) -> bool:
    try:
        book.resolve(text)
    except DataError:
        return False
    return True


def _varieties(texts: list[str], around: Surroundings) -> float:
    return _share(not _is_number(text) for text in texts)


def _two_lengths(texts: list[str], around: Surroundings) -> float:
    shape = re.compile(two_lengths("m|ft|cm"), re.IGNORECASE)
    return _share(bool(shape.match(text)) for text in texts)


def _degrees(most: float) -> Callable[[list[str], Surroundings], float]:
    def judge(texts: list[str], around: Surroundings) -> float:
        values = numbers(texts)
        return float(((np.abs(values) <= most) & (values % 1 != 0)).mean())

    return judge


def _on_grid(texts: list[str], around: Surroundings) -> float:
    return float((np.abs(numbers(texts)) > LEAST_GRID).mean())


_JUDGES: dict[tuple[str, str], Callable[[list[str], Surroundings], float]] = {
    ("blocks", "block"): _own_names,
    ("", "block"): _of_blocks,
    ("rows", "row"): _own_names,
    ("", "row"): _of_rows,
    ("", "training"): _trainings,
    ("", "rule"): _rules,
    ("", "variety"): _varieties,
    ("", "row_by_vine"): _two_lengths,
    ("", "lon"): _degrees(PLACES["lon"]),
    ("", "lat"): _degrees(PLACES["lat"]),
    ("", "easting"): _on_grid,
    ("", "northing"): _on_grid,
}
