"""The errors geoprune raises. A `DataError` carries every problem found, not only the first one."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any, ParamSpec, TypeVar

from geoprune.text import cut_names, one_line

Given = ParamSpec("Given")
Found = TypeVar("Found")


@dataclass(frozen=True)
class Problem:
    """One fault in the input: file, layer, row, what is wrong and how to mend it."""

    file: str
    layer: str
    row: str
    what: str
    mend: str

    def __str__(self) -> str:
        place = ", ".join(part for part in (self.file, self.layer and f"layer {self.layer}", self.row) if part)
        return cut_names(one_line(f"{place}: {self.what}. {self.mend}." if place else f"{self.what}. {self.mend}."))


class GeopruneError(Exception):
    """Root of all errors raised by geoprune."""


class DataError(GeopruneError, ValueError):
    """The input cannot be used. `problems` lists everything that was found."""

    def __init__(self, problems: Iterable[Problem]) -> None:
        self.problems: tuple[Problem, ...] = tuple(problems)
        super().__init__("\n".join(str(problem) for problem in self.problems))


class Problems(list[Problem]):
    """The problems of several steps, so that all of them are told together."""

    def gather(self, step: Callable[Given, Found], *args: Given.args, **kwargs: Given.kwargs) -> Found | None:
        """Run a step; where it raises `DataError`, keep its problems and return None."""
        try:
            return step(*args, **kwargs)
        except DataError as error:
            self.keep(error.problems)
            return None

    def keep(self, problems: Iterable[Problem]) -> None:
        """Take in problems, each once."""
        self += [problem for problem in problems if problem not in self]

    def stop(self) -> None:
        """Raise `DataError` with everything found so far, if anything was."""
        if self:
            raise DataError(self)


class OutputError(GeopruneError, OSError):
    """The results cannot be written."""


@dataclass(frozen=True)
class Message:
    """A sentence that can be told in several languages.

    `key` names the sentence in the word lists (`geoprune/words/<language>.toml`), as "section.name";
    `fields` are the values it is filled with. SI numbers go in as numbers; the teller chooses units.
    """

    key: str
    fields: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class Remark:
    """Something assumed, dropped, mended or extrapolated, said in the output.

    `block` is "" when the remark concerns the whole vineyard. `kind` is one of "assumed", "dropped",
    "mended", "extrapolated", "warning".
    """

    kind: str
    message: Message
    block: str = ""
