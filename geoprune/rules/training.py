"""Training systems as data: the wood a vine carries, its wires and its drawing."""

from __future__ import annotations

import tomllib
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass
from difflib import get_close_matches
from functools import cache, lru_cache
from importlib.resources import files
from pathlib import Path
from typing import Any

from geoprune.errors import DataError, Message, Problem
from geoprune.rules.own_rules import is_number, read_entries, shown, text_faults
from geoprune.rules.rule import fold


@dataclass(frozen=True)
class Training:
    """One training system; lengths in m. See `training.toml` for the meaning of each key and its source.

    `canes`, `buds_per_cane` and `buds_per_spur` are (usual or fewest, most); `buds_per_cane_aim` is the cane
    length that sets the number of canes where it is free (0 where canes have their places on the wires). `own`: it is a
    grower's, and is called by its `id` in every language.
    """

    id: str
    drawing: str
    kind: str
    canopies: int
    shoots: str
    wires_m: tuple[float, ...]
    renewal_spurs: int
    buds_per_renewal_spur: int
    source: str
    tag: str
    divided: str = ""
    canopy_form: str = ""
    spurs_most: int = 0
    mind: str = ""
    own: bool = False
    also_called: tuple[str, ...] = ()
    suggested_for: tuple[str, ...] = ()
    cordon_per_spacing: float = 0.0
    spur_spacing_m: float = 0.0
    spur_spacing_range_m: tuple[float, float] = (0.0, 0.0)
    buds_per_spur: tuple[int, int] = (0, 0)
    reach: float = 0.0
    gap_m: float = 0.0
    canes: tuple[int, int] = (0, 0)
    buds_per_cane: tuple[int, int] = (0, 0)
    node_spacing_m: float = 0.0
    buds_per_cane_aim: int = 0

    def cane_length_m(self, vine_spacing_m: float) -> float:
        """Room for one cane along the wire, m; infinite where canes hang free."""
        return self.reach * (vine_spacing_m - self.gap_m) if self.reach else float("inf")

    def cordon_length_m(self, vine_spacing_m: float) -> float:
        """Room for spurs on one vine, m; where it does not depend on the spacing, that of the most there are places for."""
        return self.spurs_most * self.spur_spacing_m or self.cordon_per_spacing * vine_spacing_m

    @property
    def canopy(self) -> str:
        """Kind of canopy, for published bands: "single", "divided horizontal", "divided vertical", or a form of its own."""
        return self.canopy_form or (f"divided {self.divided}" if self.divided else "single")

    @property
    def name(self) -> Message:
        """What it is called, in any language; a grower's own training by the name it was given."""
        return Message("recipe.training_own", {"name": self.id}) if self.own else Message(f"recipe.training_{self.drawing}")


def load_trainings(extra: Path | None = None) -> dict[str, Training]:
    """All training systems by name, and a grower's own from a TOML file of the same form.

    Parameters
    ----------
    extra : Path, optional
        A file with one ``[[training]]`` table per training. `id`, `kind` ("cane" or "spur"), `source`, and `canes` and
        `buds_per_cane`, or `spurs_most` and `buds_per_spur`, are needed; the other keys of `training.toml` are optional.

    Raises
    ------
    DataError
        With every problem of the file: not readable, a key missing or unknown, a number that no vine has, a name that is
        taken.
    """
    known = _published()
    return known if extra is None else known | _read_own(Path(extra), known)


@cache
def _published() -> dict[str, Training]:
    data = tomllib.loads(files("geoprune.rules").joinpath("training.toml").read_text("utf-8"))
    return {entry["id"]: Training(**_frozen(entry)) for entry in data["training"]}


def find_training(name: str | Training, known: Mapping[str, Training] | None = None) -> Training:
    """Return the training of that name, or also called so; case, accents, hyphens and spacing do not matter.

    Parameters
    ----------
    name : str or Training
        A training is returned as it is.
    known : mapping, optional
        The trainings there are, as `load_trainings` gives them; those of geoprune if not given.

    Raises
    ------
    DataError
        If there is none of that name; those it may mean, or the nearest, are suggested, none is guessed.
    """
    if isinstance(name, Training):
        return name
    known = load_trainings() if known is None else known
    taken = {other: training for training in known.values() for other in _names(training)}
    if _plain(name) in taken:
        return taken[_plain(name)]
    near = suggest_trainings(name, known)
    asked = f"Did you mean {' or '.join(repr(lead) for lead in near)}? " if near else ""
    raise DataError([Problem("", "blocks", "", f"unknown training '{name}'", f"{asked}Known: {', '.join(known)}")])


def system_of(settings: Any) -> Training:
    """Return the training of a block's settings: the grower's own where `own_training` is one, else that of `training`."""
    own: Training | None = getattr(settings, "own_training", None)
    return own or find_training(settings.training)


def suggest_trainings(name: str, known: Mapping[str, Training] | None = None) -> list[str]:
    """Return the names of the trainings that a name may mean; of one that is not known, the nearest."""
    known = load_trainings() if known is None else known
    leads: dict[str, list[str]] = {}
    for training in known.values():
        for other in (*_names(training), *map(_plain, training.suggested_for)):
            leads.setdefault(other, []).append(training.id)
    asked = _plain(name)
    hits = [asked] if asked in leads else get_close_matches(asked, leads, n=1, cutoff=0.6)
    return list(dict.fromkeys(lead for hit in hits for lead in leads[hit]))


def _names(training: Training) -> list[str]:
    return [_plain(other) for other in (training.id, *training.also_called)]


@lru_cache(maxsize=1024)
def _plain(name: str) -> str:
    """A name without case, marks and accents, as it is compared."""
    apart = unicodedata.normalize("NFKD", fold(name))
    return "".join(letter for letter in apart if not unicodedata.combining(letter))


def _frozen(entry: Mapping[str, Any]) -> dict[str, Any]:
    return {key: tuple(value) if isinstance(value, list) else value for key, value in entry.items()}


#: Keys of a grower's own training: what each must be, and its lowest and highest value.
_TEXTS = ("id", "source", "shoots", "divided")
_NUMBERS = {
    "canopies": (1, 2),
    "spurs_most": (1, 100),
    "renewal_spurs": (0, 20),
    "buds_per_renewal_spur": (1, 3),
    "buds_per_cane_aim": (0, 40),
    "reach": (0.0, 2.0),
    "gap_m": (0.0, 1.0),
    "node_spacing_m": (0.02, 0.3),
    "spur_spacing_m": (0.03, 1.0),
    "cordon_per_spacing": (0.0, 2.0),
}
_PAIRS = {"canes": (1, 12), "buds_per_cane": (4, 40), "buds_per_spur": (1, 8)}
_NEEDED = {"cane": ("canes", "buds_per_cane"), "spur": ("buds_per_spur",)}
_DEFAULTS: dict[str, Any] = {"canopies": 1, "shoots": "up", "renewal_spurs": 0, "buds_per_renewal_spur": 2, "wires_m": [1.0]}


def _read_own(path: Path, known: Mapping[str, Training]) -> dict[str, Training]:
    """A grower's trainings; `known` are those whose names are taken."""
    taken = {name for training in known.values() for name in _names(training)}
    problems, found = [], {}
    for number, entry in enumerate(read_entries(path, "training"), start=1):
        given = entry.get("id")
        row = f"training {number}" + (f" '{given}'" if isinstance(given, str) else "")
        faults = _faults_of(entry)
        if not faults and taken & {_plain(name) for name in (entry["id"], *entry.get("also_called", ()))}:
            faults = [("its name is taken by another training", "Give it a name of its own")]
        if not faults:
            training = _own(entry)
            taken |= set(_names(training))
            found[training.id] = training
        problems += [Problem(path.name, "", row, what, mend) for what, mend in faults]
    if problems:
        raise DataError(problems)
    return found


def _own(entry: Mapping[str, Any]) -> Training:
    """The training of one checked table; it is drawn plainly, by its canes or spurs."""
    cane = entry["kind"] == "cane"
    usual = {"drawing": "other_canes" if cane else "other_spurs", "tag": "given", "own": True}
    default_spacing = {"node_spacing_m": 0.076} if cane else {"spur_spacing_m": 0.1}
    if not cane and "cordon_per_spacing" not in entry:
        default_spacing["spurs_most"] = 40
    return Training(**_frozen(_DEFAULTS | usual | default_spacing | dict(entry)))


def _faults_of(entry: Mapping[str, Any]) -> list[tuple[str, str]]:
    """What is wrong with one table of a grower's trainings, and how to mend it."""
    kind = entry.get("kind")
    faults = text_faults(
        entry, {"id": "Give the training a name", "source": "Say where it comes from"}, ("shoots", "divided")
    )
    known = {*_TEXTS, "kind", *_NUMBERS, *_PAIRS, "wires_m", "also_called"}
    for key in sorted(set(entry) - known):
        faults.append((f"`{key}` is not a key of a training", f"Use {', '.join(sorted(known))}"))
    if kind not in _NEEDED:
        faults.append((f"`kind` is {shown(kind)}", 'Write kind = "cane" or kind = "spur"'))
    for key in _NEEDED.get(str(kind), ()):
        if key not in entry:
            faults.append((f"`{key}` is missing", f"Write it as fewest and most, such as {key} = [2, 4]"))
    for key, words in {"shoots": ("up", "down", "both"), "divided": ("", "horizontal", "vertical")}.items():
        if entry.get(key, words[0]) not in words:
            faults.append((f"`{key}` is {shown(entry[key])}", f"Use one of {', '.join(filter(None, words))}"))
    for key, limits in {key: limits for key, limits in (_NUMBERS | _PAIRS).items() if key in entry}.items():
        values = entry[key] if key in _PAIRS else [entry[key]]
        shape = isinstance(values, list) and len(values) == (2 if key in _PAIRS else 1) and all(map(is_number, values))
        if not shape or not (limits[0] <= min(values) and max(values) <= limits[1]) or values != sorted(values):
            wanted = f"{'two numbers' if key in _PAIRS else 'a number'} from {limits[0]:g} to {limits[1]:g}"
            faults.append((f"`{key}` is {shown(entry[key])}", f"Write {wanted}"))
        elif isinstance(limits[0], int) and any(value != int(value) for value in values):
            faults.append((f"`{key}` is {shown(entry[key])}, not whole", "Write whole numbers"))
    for key, right in {"wires_m": is_number, "also_called": lambda name: isinstance(name, str)}.items():
        value = entry.get(key, [])
        if not isinstance(value, list) or not all(map(right, value)):
            faults.append((f"`{key}` is {shown(value)}", "Write it as a list, in square brackets"))
    return faults
