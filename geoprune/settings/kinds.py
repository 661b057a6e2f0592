"""What a setting's value may be: how it is read from a settings file and from a command line, and how it is written.

Each kind has `read` (a TOML value), `parse` (what was typed, once or several times) and `write` (back to TOML). A value
that cannot be is a `WrongValue` with how to mend it.
"""

from __future__ import annotations

import json
import math
import os
import re
import reprlib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from geoprune.errors import DataError, GeopruneError
from geoprune.text import HIDDEN, clean, one_line

#: Digits as they are typed: no other script's, no "nan", no "inf", no underscores.
PLAIN = r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?"
#: Texts of a settings file are names, paths and addresses; longer ones are a slip or an attack (a design choice).
LONGEST_TEXT = 4096
#: So many values fit a list of files (a design choice).
LONGEST_LIST = 1000


class WrongValue(GeopruneError, ValueError):
    """A value that a setting cannot have: what is wrong, and how to mend it."""

    def __init__(self, what: str, mend: str) -> None:
        super().__init__(what)
        self.what, self.mend = what, mend


@dataclass(frozen=True)
class Kind:
    """The kind of a setting's value; this one is text on one line."""

    #: Whether an option may be given several times, and what a value looks like in help.
    many = False
    metavar = "TEXT"

    def read(self, value: Any, folder: Path) -> Any:
        """Return the value of a TOML file; paths in it count from `folder`."""
        if not isinstance(value, str):
            raise WrongValue(f"{shown(value)} is not text", "Write it in quotes")
        if len(value) > LONGEST_TEXT or not value.strip():
            raise WrongValue(f"{shown(value)} is no text to use", "Write a short text, or leave it out")
        if HIDDEN.search(value) or len(value.splitlines()) > 1 or "\t" in value:
            raise WrongValue(f"{shown(value)} holds line breaks or hidden characters", "Write it as plain text on one line")
        return value.strip()

    def parse(self, texts: Sequence[str], folder: Path) -> Any:
        """Return the value that was typed; of several the last."""
        return self.read(texts[-1], folder)

    def write(self, value: Any, folder: Path) -> str:
        """Return the value as TOML; paths are written from `folder`."""
        return quoted(value)


@dataclass(frozen=True)
class Number(Kind):
    """A number from `low` to `high`, in plain digits; a whole one where asked for.

    `read` and `parse` take it in the unit of its key, whose size in SI is `factor`; limits are SI.
    """

    low: float = -math.inf
    high: float = math.inf
    whole: bool = False
    #: Where the limits are kept, if another room knows them.
    kept: Callable[[], tuple[float, float]] | None = None

    @property
    def metavar(self) -> str:  # type: ignore[override]
        """What help calls it."""
        return "WHOLE NUMBER" if self.whole else "NUMBER"

    def read(self, value: Any, folder: Path, *, factor: float = 1.0) -> float:
        """Return the number in SI."""
        wanted = "a whole number" if self.whole else "a number"
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise WrongValue(f"{shown(value)} is not {wanted}", f"Write {wanted} without quotes")
        low, high = self.kept() if self.kept else (self.low, self.high)
        if not -1e15 < value < 1e15 or not low <= value * factor <= high:  # "not a number" is no number either
            within = f"{low / factor:g} to {high / factor:g}"
            raise WrongValue(f"{shown(value)} is not from {within}", f"Give {wanted} from {within}")
        if self.whole and value != int(value):
            raise WrongValue(f"{shown(value)} is not {wanted}", f"Write {wanted}")
        return int(value) if self.whole else float(value * factor)

    def parse(self, texts: Sequence[str], folder: Path, *, factor: float = 1.0) -> float:
        """Return the number that was typed, in SI."""
        wanted = "a whole number" if self.whole else "a number"
        number = plain_number(texts[-1])
        if number is None or (self.whole and number != int(number)):
            raise WrongValue(f"{shown(texts[-1])} is not {wanted}", f"Write {wanted} in digits")
        return self.read(number, folder, factor=factor)

    def write(self, value: Any, folder: Path) -> str:
        """Return the number as TOML."""
        return repr(int(value) if self.whole else float(value))


@dataclass(frozen=True)
class Choice(Kind):
    """One of a few words; `words` may be looked up when they are first asked for."""

    words: tuple[str, ...] | Callable[[], tuple[str, ...]] = ()

    @property
    def known(self) -> tuple[str, ...]:
        """The words there are."""
        return self.words() if callable(self.words) else self.words

    @property
    def metavar(self) -> str:  # type: ignore[override]
        """What help calls it."""
        return f"[{'|'.join(self.known)}]"

    def read(self, value: Any, folder: Path) -> str:
        """Return the word."""
        if not isinstance(value, str) or value not in self.known:
            near = nearest(value, self.known)
            raise WrongValue(f"{shown(value)} is not known", f"{near}Use one of {', '.join(self.known)}")
        return value


@dataclass(frozen=True)
class Checked(Kind):
    """Text that another room knows how to read: `check` returns its proper form, or raises ValueError."""

    check: Callable[[str], str] = str

    def read(self, value: Any, folder: Path) -> str:
        """Return the text in its proper form."""
        text = super().read(value, folder)
        try:
            return self.check(text)
        except DataError as error:
            problem = error.problems[0]
            raise WrongValue(problem.what, problem.mend) from None
        except ValueError as error:
            raise WrongValue(one_line(error), "Correct it, or leave the line out") from None


@dataclass(frozen=True)
class Lines(Kind):
    """One or several lines of a file, counted from 1."""

    many = True
    metavar = "LINE"

    def read(self, value: Any, folder: Path) -> tuple[int, ...]:
        """Return the numbers of the lines."""
        numbers = value if isinstance(value, list | tuple) else [value]
        whole = all(isinstance(one, int) and not isinstance(one, bool) and 1 <= one <= 1000 for one in numbers)
        if len(numbers) > LONGEST_LIST or not whole:
            raise WrongValue(f"{shown(value)} is not the number of a line", "Write it like 2, or [2, 3] for two lines")
        return tuple(numbers)

    def parse(self, texts: Sequence[str], folder: Path) -> tuple[int, ...]:
        """Return the lines that were typed."""
        numbers = [plain_number(text) for text in texts]
        return self.read([int(one) if one is not None and one == int(one) else str(one) for one in numbers], folder)

    def write(self, value: Any, folder: Path) -> str:
        """Return the lines as TOML."""
        return str(list(value))


@dataclass(frozen=True)
class FilePath(Kind):
    """A file that is there; whether it can be read is reported with the other faults of the data."""

    metavar = "FILE"
    folders = False

    def read(self, value: Any, folder: Path) -> Path:
        """Return its path."""
        if isinstance(value, Path):
            path = value
        elif not isinstance(value, str) or not value or "\0" in value or len(value) > LONGEST_TEXT:
            raise WrongValue(f"{shown(value)} is not the name of a file", "Write its path in quotes")
        else:
            path = folder / value
        if (path.is_dir() and not self.folders) or not os.path.lexists(path):
            what = f"'{clean(value)}' is a folder" if path.is_dir() else f"there is no file '{clean(value)}'"
            raise WrongValue(what, "Name a file; paths in a settings file count from its folder")
        return path

    def write(self, value: Any, folder: Path) -> str:
        """Return the path as seen from `folder`, with forward slashes."""
        return quoted(_seen_from(folder, value))


@dataclass(frozen=True)
class FileList(FilePath):
    """Several files."""

    many = True

    def read(self, value: Any, folder: Path) -> tuple[Path, ...]:  # type: ignore[override]
        """Return their paths."""
        listed = [value] if isinstance(value, str) else value
        if not isinstance(listed, list | tuple) or len(listed) > LONGEST_LIST:
            raise WrongValue(f"{shown(value)} is not a list of files", 'Write it like ["a.json", "b.json"]')
        return tuple(super(FileList, self).read(one, folder) for one in listed)

    def parse(self, texts: Sequence[str], folder: Path) -> tuple[Path, ...]:
        """Return the files that were typed."""
        return self.read(list(texts), folder)

    def write(self, value: Any, folder: Path) -> str:
        """Return the list as TOML."""
        listed = [quoted(_seen_from(folder, path)) for path in value]
        return f"[{listed[0]}]" if len(listed) == 1 else "[\n" + "".join(f"    {path},\n" for path in listed) + "]"


@dataclass(frozen=True)
class ResultList(FileList):
    """Earlier results, each named by its summary or by its folder."""

    metavar = "FOLDER|FILE"
    folders = True


@dataclass(frozen=True)
class FileMap(FilePath):
    """Files with a name each for what they hold: elevation = "heights.tif"."""

    many = True
    metavar = "NAME=FILE"

    def read(self, value: Any, folder: Path) -> dict[str, Path]:  # type: ignore[override]
        """Return name -> path."""
        if not isinstance(value, Mapping) or len(value) > LONGEST_LIST:
            raise WrongValue(f"{shown(value)} is no list of named files", 'Write it like { elevation = "heights.tif" }')
        if not all(one_line(name) for name in value):
            raise WrongValue("a file has no name for what it holds", 'Write it like { elevation = "heights.tif" }')
        return {one_line(name): super(FileMap, self).read(path, folder) for name, path in value.items()}

    def parse(self, texts: Sequence[str], folder: Path) -> dict[str, Path]:
        """Return the files that were typed as NAME=FILE."""
        named: dict[str, str] = {}
        for text in texts:
            name, sign, path = text.partition("=")
            if not one_line(name) or not sign or not path:
                raise WrongValue(f"{shown(text)} is not of the form NAME=FILE", "Write it like elevation=heights.tif")
            if one_line(name) in named:
                raise WrongValue(f"'{one_line(name)}': a name stands twice", "Give each layer its own")
            named[one_line(name)] = path
        return self.read(named, folder)

    def write(self, value: Any, folder: Path) -> str:
        """Return the files as an inline table."""
        return "{ " + ", ".join(f"{key_text(k)} = {quoted(_seen_from(folder, v))}" for k, v in value.items()) + " }"


def plain_number(value: Any) -> float | None:
    """Return a finite number as a person types it, or None."""
    if isinstance(value, str) and not re.fullmatch(PLAIN, value.strip(), re.ASCII):
        return None
    return number if math.isfinite(number := float(value)) else None


def nearest(value: Any, known: Sequence[str]) -> str:
    """Return "Did you mean 'x'? " for the known word that is nearest to a value, or ""."""
    if not isinstance(value, str) or len(value) > 200:
        return ""
    from difflib import get_close_matches  # only where something is wrong

    folded = {word.casefold(): word for word in known}
    near = get_close_matches(value.casefold(), folded, n=1, cutoff=0.6)
    return f"Did you mean '{one_line(folded[near[0]])}'? " if near else ""


def shown(value: Any) -> str:
    """Return a value as it is quoted in a message: short, on one line."""
    try:
        return f"{value:g}" if isinstance(value, float) else one_line(_short.repr(value))
    except ValueError:
        return "a number of thousands of digits"


_short = reprlib.Repr()
_short.maxstring = 60


def quoted(value: Any) -> str:
    """Return text as a TOML basic string."""
    return json.dumps(clean(value), ensure_ascii=False).replace("\x7f", "\\u007f")


def key_text(name: str) -> str:
    """Return a key as TOML: bare where it can be."""
    return name if re.fullmatch(r"[A-Za-z0-9_-]+", name) else quoted(name)


def _seen_from(folder: Path, path: Path) -> str:
    """A file's path from a folder; its full path where the two lie on different drives."""
    try:
        return Path(os.path.relpath(path, folder)).as_posix()
    except ValueError:
        return Path(path).absolute().as_posix()
