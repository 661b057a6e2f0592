"""What a check reports, as headed lists of messages, and what it writes into the settings file."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from geoprune.errors import Message, Remark
from geoprune.jobs.asking import Question
from geoprune.jobs.check import Checked
from geoprune.jobs.settings_entries import entry_text, write_entries
from geoprune.reading import clean_name
from geoprune.reading.declared import NOTHING
from geoprune.settings import SETTINGS_FILE, definitions
from geoprune.words import say

#: A heading, and the lines below it.
Section = tuple[Message, tuple[Message, ...]]


def check_sections(checked: Checked, *, file: str = SETTINGS_FILE) -> list[Section]:
    """Return what is said of a check: what is there, what was settled, what stays open, what is odd; problems are apart.

    Parameters
    ----------
    checked : Checked
    file : str
        Name of the settings file.
    """
    here = {"file": file}
    sections: list[Section] = [(Message("check.there"), _there(checked))]
    settled = tuple(
        Message("check.answer", {"about": question.about, "option": option.label})
        for question, option in checked.asked
        if option is not None
    )
    if settled:
        sections.append((Message("check.settled", here), settled))
    if checked.open:
        lines = tuple(line for question in checked.open for line in _open_lines(question, file))
        sections.append((Message("check.open", here), lines))
    odd = tuple(_with_block(remark) for remark in checked.remarks)
    if odd:
        sections.append((Message("check.odd"), odd))
    return sections


def _with_block(remark: Remark) -> Message:
    if not remark.block:
        return remark.message
    return Message("check.of_block", {"block": remark.block, "text": remark.message})


def _there(checked: Checked) -> tuple[Message, ...]:
    lines = []
    for layer, count in checked.counts.items():
        lines.append(Message("check.layer", {"layer": Message(f"check.{layer}"), "count": count}))
        just_set = checked.sets.get("columns", {}).get(layer, {})
        renamed = {g: wanted for g, wanted in checked.used[layer].items() if clean_name(g) != wanted not in just_set}
        lines += [Message("check.read_as", {"name": given, "column": wanted}) for given, wanted in renamed.items()]
        if checked.unused[layer]:
            names = ", ".join(checked.unused[layer])
            lines.append(Message("check.unused", {"layer": Message(f"check.{layer}"), "names": names}))
    lines += [Message("check.covariate", {"name": name, "file": file}) for name, file in checked.covariates.items()]
    return tuple(lines)


def _open_lines(question: Question, file: str) -> list[Message]:
    if not question.options:
        return [question.about, Message("check.no_choice", {"file": file})]
    choices = [Message("check.choice", {"entry": entry_text(one.sets), "option": one.label}) for one in question.options]
    return [question.about, *choices]


def write_checked(checked: Checked, folder: Path, *, language: str, units: str) -> Path | None:
    """Put what was settled into the settings file of a folder, and what stays open as notes; None where there is nothing.

    Raises
    ------
    OutputError
        If the file cannot be written, or entries cannot be put in safely.
    """
    path = folder / SETTINGS_FILE
    notes = [
        (say(question.about, language, units), [(one.sets, say(one.label, language, units)) for one in question.options])
        for question in checked.open
        if question.options
    ]
    if not checked.sets and not notes:
        return None
    write_entries(path, checked.sets, notes)
    return path


def spacing_is_missing(checked: Checked) -> bool:
    """Return whether no column tells how far rows or vines stand apart: it can be told for all blocks at once."""
    return any(problem.layer == "blocks" and problem.what.endswith("_spacing is missing") for problem in checked.problems)


def next_step(checked: Checked, vineyard: Path, samples: Path | None, beside: Mapping[str, Any] = NOTHING) -> Message:
    """Return what to do next; the files that were typed are typed again."""
    if not checked.ready:
        return Message("check.not_ready")
    options = {one.name: one.option_for(one.name) for one in definitions() if one.name in beside}
    typed = [f" --samples {samples.name}"] if samples else []
    for name, given in beside.items():
        named = [f"{key}={path.name}" for key, path in given.items()] if isinstance(given, Mapping) else [given.name]
        typed += [f" {options[name]} {one}" for one in named]
    files_given: Mapping[str, str] = {"vineyard": vineyard.name, "samples": "".join(typed)}
    return Message("check.ready", files_given)
