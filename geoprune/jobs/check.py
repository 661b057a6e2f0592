"""Read everything and plan nothing: what is there, what is missing or odd, and which column may be which."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np

from geoprune.errors import Message, Problem, Remark
from geoprune.jobs.asking import Answer, Option, Question, Sitting, proposed
from geoprune.jobs.check_beside import check_beside, open_beside
from geoprune.jobs.check_image import Image, hold_against
from geoprune.jobs.check_places import ask_bearings, ask_exchanged, ask_grid
from geoprune.jobs.check_tables import MOST_OPTIONS, Tables, declared_in
from geoprune.jobs.check_values import ask_rules, ask_statuses, ask_trainings, ask_unnamed
from geoprune.jobs.settings_entries import merged
from geoprune.layers import Vineyard, column, columns_of, incoming
from geoprune.reading import Faults, choices_of, read_vineyard
from geoprune.reading.columns import DECIMAL_COMMA, POINTS_AND_COMMA, RawTable, clean_name, name_text
from geoprune.reading.declared import NOTHING, Declared
from geoprune.reading.matching import (
    Candidate,
    Surroundings,
    header_lines,
    header_score,
    lengths_beside,
    numbers,
    propose_columns,
    propose_layers,
)
from geoprune.reading.samples import read_sample_file
from geoprune.reading.tables import ALL_SHEETS, same_columns, sheets_of, together
from geoprune.reading.vector_files import ENDINGS, layer_names, read_layers
from geoprune.rules import RuleBook, Training, load_rules, load_trainings
from geoprune.settings import SETTINGS_FILE, Files
from geoprune.settings.reading import settings_from
from geoprune.zones.labels import NAMES_OF_ZONES

PLACES = (("row", "vine"), ("lon", "lat"), ("easting", "northing"))
#: Rows as they are painted with the same letters before each number: R05.
LETTERS_AND_NUMBER = re.compile(r"([^\W\d_]{1,10})[\s.°º#-]*0*(\d{1,5})")
LETTER = re.compile(r"[A-Za-z]")
SPACINGS = ("row_spacing", "vine_spacing")


@dataclass(frozen=True)
class Checked:
    """What a check found.

    Attributes
    ----------
    counts : mapping
        Layer -> lines or features in it.
    used : mapping
        Layer -> name in the file -> wanted name, of every column that is read.
    unused : mapping
        Layer -> names in the file of columns that are not read.
    asked : tuple
        Questions with their answers, in order; None where one stays open.
    sets : mapping
        What the answers set in the settings file.
    covariates : mapping
        Name -> file of each layer that may explain vine size.
    problems, remarks : tuple
        What reading says with these settings; where questions are open, as if each had its first answer, so that what is
        wrong beside them is reported now.
    vineyard : Vineyard or None
        As it was read, where all is ready.
    """

    counts: Mapping[str, int]
    used: Mapping[str, Mapping[str, str]]
    unused: Mapping[str, tuple[str, ...]]
    asked: tuple[tuple[Question, Option | None], ...]
    sets: Mapping[str, Any]
    problems: tuple[Problem, ...]
    remarks: tuple[Remark, ...]
    vineyard: Vineyard | None
    covariates: Mapping[str, str] = field(default_factory=dict)

    @property
    def open(self) -> tuple[Question, ...]:
        """Questions that stay open."""
        return tuple(question for question, option in self.asked if option is None)

    @property
    def ready(self) -> bool:
        """Whether a plan can be made: nothing is open, and nothing wrong."""
        return not self.open and not self.problems


def check_files(
    vineyard: str | Path,
    samples: str | Path | None = None,
    *,
    beside: Mapping[str, Any] = NOTHING,
    settings: Mapping[str, Any] | None = None,
    answer: Answer = proposed,
) -> Checked:
    """Read a vineyard, its weighed vines and the files beside them, ask what is not clear, and plan nothing.

    Parameters
    ----------
    vineyard, samples : str or Path
        As for `read_vineyard`; samples that the settings name are taken where none are given.
    beside : mapping, optional
        Setting (bud_checks, harvest, scores, zones_from, covariates) -> what it names, over what the settings file says.
    settings : mapping, optional
        Tables of the settings file as it is; files named there count from the vineyard's folder.
    answer : callable, optional
        Answers each question; as proposed if not given.

    Returns
    -------
    Checked

    Raises
    ------
    DataError
        If the settings, or a file of own rules or trainings, are at fault.
    """
    path = Path(vineyard)
    files = settings_from(settings or {}, path.parent / SETTINGS_FILE).files
    named: dict[str, Any] = {**beside} | ({} if samples is None else {"samples": Path(samples)})
    files = replace(files, **named)
    file = files.samples
    book, known = load_rules(files.rules), load_trainings(files.trainings)
    image = Image(files.image, Faults("" if files.image is None else files.image.name, "image"))
    sitting = Sitting(answer, settings or {})
    if path.suffix.lower() in ENDINGS:
        _ask_layers(path, sitting)
    if file is not None:
        _ask_sheet(file, sitting)
    tables = Tables(_opened(path, file, sitting) | open_beside(files), sitting)
    lengths = lengths_beside(header for raw in tables.raw.values() for header in raw.headers.values())
    for layer in [name for name in incoming() if name in tables.raw]:
        names = tables.names("blocks", "block"), tables.names("rows", "row")
        _ask_columns(tables, layer, Surroundings(*names, book, lengths))
    _ask_row_numbers(tables)
    _ask_decimal_mark(tables)
    if "blocks" in tables.raw:
        ask_unnamed(sitting, lambda: tables.declared("blocks"), path.stem)
        ask_trainings(sitting, lambda: tables.declared("blocks"), known)
        ask_rules(sitting, lambda: tables.declared("blocks"), book)
        if "vines" in tables.raw:
            ask_statuses(sitting, lambda: tables.declared("vines"))
        ask_exchanged(tables)
        ask_grid(tables)
        ask_bearings(tables, known, image)
    return _read_as_declared(path, files, tables, book, known, image)


def _opened(path: Path, file: Path | None, sitting: Sitting) -> dict[str, RawTable]:
    """The raw tables of both files; what cannot be read is reported later, when all is read."""
    choices, faults = choices_of(sitting.tables), Faults(path.name)
    raw = read_layers(path, faults, choices.get("layers", {}))
    if file is not None:
        lines = choices.get("header_row", ())
        lines = (lines,) if isinstance(lines, int) else tuple(lines)
        weighed = read_sample_file(file, faults, Declared(sheet=choices.get("sheet", ""), header_row=lines))
        raw = {name: table for name, table in raw.items() if name != "samples"}
        raw |= {} if weighed is None else {"samples": weighed}
    return raw


def _ask_layers(path: Path, sitting: Sitting) -> None:
    """Ask which layers of a file are which, where they have other names."""
    found = propose_layers([name for name in layer_names(path) if name not in sitting.tables.get("layers", {}).values()])
    for layer, name in found.items():
        about = Message("check.ask_layer", {"layer": Message(f"check.{layer}"), "name": name})
        sitting.ask(about, [Option(Message("check.that_one", {"name": name}), {"layers": {layer: name}})])


def _ask_sheet(file: Path, sitting: Sitting) -> None:
    """Ask which sheet of a workbook, and which of its lines names the columns, where it is not the first."""
    choices = choices_of(sitting.tables)
    sheets = sheets_of(file, Faults(file.name))
    if not sheets or "header_row" in choices:
        return
    alike = [name for name in sheets if same_columns(sheets[name], next(iter(sheets.values())))]
    if "sheet" not in choices and len(alike) > 1 and header_score(together(sheets)[0][1], "samples") > 0:
        fields = {"count": len(alike), "names": ", ".join(alike)}
        all_of_them = Option(Message("check.all_sheets", fields), {"files": {"sheet": ALL_SHEETS}})
        if sitting.ask(Message("check.ask_sheets", fields), [all_of_them]) is not None:
            return
    if choices.get("sheet") == ALL_SHEETS:
        return
    heads = {name: header_lines(lines, "samples") for name, lines in sheets.items()}
    score = {
        name: max((header_score(cells, "samples") for number, cells in lines if number in heads[name]), default=0.0)
        for name, lines in sheets.items()
    }
    usual = next((name for name in sheets if name.strip().casefold() == "samples"), next(iter(sheets)))
    best = choices.get("sheet") or max(sheets, key=lambda name: (score[name], name == usual))
    best = next((name for name in sheets if name.casefold() == str(best).casefold()), usual)
    if best != usual and "sheet" not in choices and score[best] > score[usual]:
        options = [Option(Message("check.that_one", {"name": name}), {"files": {"sheet": name}}) for name in (best, usual)]
        if sitting.ask(Message("check.ask_sheet", {"name": best}), options) is None:
            best = usual
    first = next((number for number, cells in sheets[best] if any(map(name_text, cells))), 1)
    if heads[best] and heads[best] != (first,):
        lines = heads[best][0] if len(heads[best]) == 1 else list(heads[best])
        shown = " + ".join(map(str, heads[best]))
        option = Option(Message("check.that_line", {"line": shown}), {"files": {"header_row": lines}})
        sitting.ask(Message("check.ask_header", {"line": shown}), [option])


def _ask_columns(tables: Tables, layer: str, around: Surroundings) -> None:
    """Ask for every column that a layer lacks and may have under another name."""
    raw = tables.declared(layer)
    taken = {clean_name(name) for name in tables.sitting.tables.get("columns", {}).get(layer, {}).values()}
    found = propose_columns(raw, around, taken)
    told = "zones_column" in tables.sitting.tables.get("files", {})
    for name in _in_place_of_others(raw, found) | ({"zone"} if layer == "zones" and told else set()):
        found.pop(name, None)
    for name, candidates in found.items():
        means = Message(f"layers.{layer}_{name}")
        fields = {"layer": Message(f"check.{layer}"), "column": name, "means": means}
        about = Message("check.ask_column", fields)
        options = [option for candidate in candidates[:MOST_OPTIONS] for option in _options(layer, candidate)]
        tables.sitting.ask(about, options, 0 if candidates[0].settled else None)


def _in_place_of_others(raw: RawTable, found: Mapping[str, list[Candidate]]) -> set[str]:
    """Wanted columns that are not asked for, as others stand for them: two spacings in one cell, or a place by number."""

    def there(name: str) -> bool:
        return name in found or any(one in raw.table for one in column(raw.layer, name).names)

    spare: set[str] = set()
    if raw.layer == "blocks":
        apart = [name for name in SPACINGS if there(name)]
        spare |= {"row_by_vine"} if len(apart) == 2 else set(SPACINGS) if there("row_by_vine") else set()
    if raw.layer == "zones" and any(name in raw.table for name in NAMES_OF_ZONES):
        spare |= {"zone"}
    if raw.layer == "bud_checks" and "geometry" in raw.table:
        spare |= {"lon", "lat"}
    if raw.layer == "samples":
        complete = [pair for pair in PLACES if all(map(there, pair))]
        geometry = "geometry" in raw.table
        keep = {name for pair in complete for name in pair}
        spare |= {name for pair in PLACES[1:] for name in pair if geometry or name not in keep}
        spare |= {"easting", "northing"} if ("lon", "lat") in complete else set()
    return spare


def _options(layer: str, candidate: Candidate) -> list[Option]:
    """A candidate as an answer; one for each unit where its name has none."""
    entry, units = candidate.entry, ("",) if candidate.settled else candidate.units
    found = []
    for unit in units:
        key = f"{entry.name}_{unit}" if unit else candidate.key
        fields = {"name": candidate.given, "unit": unit or candidate.unit, "examples": " · ".join(candidate.examples)}
        label = "check.column_in" if fields["unit"] else "check.column"
        label = "check.column_as_elsewhere" if candidate.as_elsewhere else label
        found.append(Option(Message(label, fields), {"columns": {layer: {key: candidate.given}}}))
    return found


def _ask_row_numbers(tables: Tables) -> None:
    """Ask whether rows such as R05 are the rows by number, where none are drawn: these are named by number alone."""
    if "rows" in tables.raw:
        return
    named = {text: LETTERS_AND_NUMBER.fullmatch(text) for text in tables.names("samples", "row")}
    parts = {text: found for text, found in named.items() if found is not None}
    if not named:
        return
    if all(LETTER.fullmatch(text) for text in named):
        letters = {text: ord(text.upper()) - ord("A") + 1 for text in named}
        first = min(letters, key=lambda text: letters[text])
        fields = {"name": first, "number": letters[first]}
        numbered = {"values": {"row": {text: str(number) for text, number in letters.items()}}}
        tables.sitting.ask(Message("check.ask_row_letters", fields), [Option(Message("check.row_letters"), numbered)], None)
        return
    if not parts or len(parts) < len(named) or len({found[1].casefold() for found in parts.values()}) > 1:
        return
    first = next(iter(parts))
    fields = {"name": first, "number": parts[first][2]}
    sets = {"values": {"row": {text: found[2] for text, found in parts.items()}}}
    tables.sitting.ask(Message("check.ask_row_numbers", fields), [Option(Message("check.row_numbers", fields), sets)])


def _ask_decimal_mark(tables: Tables) -> None:
    """Ask for the decimal mark where numbers stand as text with a comma."""
    if "decimal_mark" in tables.sitting.tables.get("files", {}):
        return
    comma, point, place = 0, 0, ""
    for layer in tables.raw:
        table = tables.declared(layer).table
        for entry in columns_of(layer):
            for name in [name for name in entry.names if name in table and entry.kind != "text"]:
                texts = [name_text(value) for value in table[name] if isinstance(value, str)]
                pieces = [part for text in texts for part in text.replace("x", " ").replace("×", " ").split()]
                here = sum(bool(DECIMAL_COMMA.fullmatch(part) or POINTS_AND_COMMA.fullmatch(part)) for part in pieces)
                point += sum("." in part and "," not in part and bool(np.isfinite(numbers([part])).all()) for part in pieces)
                given = tables.sitting.tables.get("columns", {}).get(layer, {}).get(name, name)
                place = place or (tables.raw[layer].headers.get(given, given) if here else "")
                comma += here
    if comma:
        options = [Option(Message("check.comma"), {"files": {"decimal_mark": ","}})]
        options += [Option(Message("check.point"), {"files": {"decimal_mark": "."}})]
        tables.sitting.ask(Message("check.ask_mark", {"name": place}), options, 0 if not point else None)


def _read_as_declared(
    path: Path, files: Files, tables: Tables, book: RuleBook, known: Mapping[str, Training], image: Image
) -> Checked:
    """Read all once more as it is declared now, and gather what is to be reported."""
    faults, settings = Faults(path.name), tables.sitting.tables
    still_open = [question for question, option in tables.sitting.asked if option is None]
    for question in still_open:
        settings = merged(settings, question.options[0].sets) if question.options else settings
    apart: dict[str, Any] = {"samples": files.samples, "bud_checks": files.bud_checks, "trainings": known}
    vineyard = read_vineyard(path, faults=faults, **apart, **choices_of(settings))
    check_beside(files, vineyard, declared_in(settings), faults)
    hold_against(image, vineyard)
    faults.problems.keep(image.faults.problems)
    faults.remarks.extend(image.faults.remarks)
    for block in vineyard.blocks.itertuples():
        problems = faults.problems
        before = len(problems)
        problems.gather(book.resolve, str(block.rule), str(block.variety))
        problems[before:] = [
            replace(p, file=path.name, layer="blocks", row=f"block '{block.block}'") for p in problems[before:]
        ]
    used: dict[str, dict[str, str]] = {}
    unused: dict[str, tuple[str, ...]] = {}
    for layer, raw in tables.raw.items():
        names = {name for entry in columns_of(layer) for name in entry.names}
        declared = {clean_name(g): key for key, g in tables.sitting.tables.get("columns", {}).get(layer, {}).items()}
        given = {name: declared.get(name, name) for name in map(str, raw.table.columns) if name != "geometry"}
        used[layer] = {raw.headers.get(name, name): wanted for name, wanted in given.items() if wanted in names}
        unused[layer] = tuple(raw.headers.get(name, name) for name, wanted in given.items() if wanted not in names)
    return Checked(
        counts={layer: len(raw.table) for layer, raw in tables.raw.items()},
        used=used,
        unused=unused,
        asked=tuple(tables.sitting.asked),
        sets=tables.sitting.added,
        problems=tuple(faults.problems),
        remarks=tuple(faults.remarks),
        vineyard=None if faults.problems or still_open else vineyard,
        covariates={name: file.name for name, file in files.covariates.items()},
    )
