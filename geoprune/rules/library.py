"""The book of rules: the published ones with their sources, a grower's own, and the one a block names."""

from __future__ import annotations

import tomllib
from collections.abc import Iterable
from dataclasses import dataclass, replace
from difflib import get_close_matches
from importlib.resources import files
from pathlib import Path

from geoprune.errors import DataError, Message
from geoprune.rules.own_rules import entry_rule, read_own_rules
from geoprune.rules.rule import TAGS, Rule, figures_rule, fold, rule_names, single_problem

#: Balanced pruning is for vines over 3 years (Smith 2023, Ohio State University, Grape Pruning Primer).
YOUNG_YEARS = 3


@dataclass(frozen=True)
class Trial:
    """A published trial of a rule or fixed count; cited, not computed with."""

    variety: str
    place: str
    tried: str
    result: str
    source: str
    tag: str


@dataclass(frozen=True)
class RuleBook:
    """All rules that a block may name, and the trials that go with them."""

    rules: tuple[Rule, ...]
    trials: tuple[Trial, ...] = ()

    def resolve(self, text: str, variety: str = "", *, planted: int | None = None, season: int | None = None) -> Rule:
        """Return the rule a block asks for. Never guessed: an empty or unknown rule is an error.

        Parameters
        ----------
        text : str
            "20+20", "20 + 20", "44/kg", "20 per lb", or the name of a rule in the book. Case, hyphens and
            spacing do not matter.
        variety : str
            The block's cultivar; used to suggest rules, and to say when a rule was not made for it.
        planted, season : int, optional
            Year of planting and year of the pruning; both are needed for a caution about young vines.

        Raises
        ------
        DataError
            If no rule, or more than one, answers to `text`; with the nearest names.
        """
        asked = fold(text)
        if not asked:
            raise self._asked_for(variety)
        by_name = [rule for rule in self.rules if asked in rule_names(rule)]
        if by_name:
            found = by_name[0]
        elif (given := figures_rule(text)) is not None:
            found = given
        else:
            raise self._unknown(text, asked)
        cautions = rule_cautions(found, variety, planted=planted, season=season)
        group = self.group_of(variety) or ("" if found.group == "Any" else found.group)
        return replace(found, group=group, cautions=cautions)

    def named_for(self, variety: str) -> tuple[Rule, ...]:
        """Rules that list a cultivar, published ones before those from memory."""
        wanted = fold(variety)
        hits = [rule for rule in self.rules if wanted and wanted in map(fold, rule.cultivars)]
        return tuple(sorted(hits, key=lambda rule: TAGS.index(rule.tag)))

    def group_of(self, variety: str) -> str:
        """Grape group of a cultivar, by the rules that list it; "" when none does."""
        groups = {rule.group for rule in self.named_for(variety)}
        return groups.pop() if len(groups) == 1 else ""

    def nearest_cultivars(self, variety: str) -> tuple[str, ...]:
        """Cultivars of the book whose names are nearest to one it does not know; empty when it knows it."""
        names = {fold(name): name for rule in self.rules for name in rule.cultivars}
        asked = fold(variety)
        if asked in names:
            return ()
        return tuple(names[near] for near in get_close_matches(asked, names, n=3, cutoff=0.7))

    def _asked_for(self, variety: str) -> DataError:
        what, mend = "the block has no pruning rule, and none is guessed", "Write one in the column `rule`"
        named, near = self.named_for(variety), self.nearest_cultivars(variety)
        if named:
            return single_problem(what, f"{mend}; rules that name {variety}: {_quoted(rule.id for rule in named)}")
        if near:
            what = f"{what}; '{variety}' is not a cultivar of the rule book"
            return single_problem(what, f"{mend}, such as '20+20'. Cultivars with names like it: {', '.join(near)}")
        return single_problem(what, f"{mend}, such as '20+20' or 'french hybrids'")

    def _unknown(self, text: str, asked: str) -> DataError:
        for_cultivar = self.named_for(asked)
        if for_cultivar:
            names = _quoted(rule.id for rule in for_cultivar)
            what = f"'{text}' names a cultivar, not a rule"
            return single_problem(what, f"Choose one of its rules: {names}")
        return single_problem(f"unknown rule '{text}'", self._suggestion(asked))

    def _suggestion(self, asked: str) -> str:
        owner = {name: rule.id for rule in self.rules for name in rule_names(rule)}
        near = get_close_matches(asked, owner, n=4, cutoff=0.5)
        near += [name for name in owner if set(name.split()) & set(asked.split())]
        ids = list(dict.fromkeys(owner[name] for name in near))[:5]
        nearest = f"Nearest: {_quoted(ids)}. " if ids else ""
        return f"{nearest}Write buds for the first and for each further pound, such as '20+20', or a rule's name"


def load_rules(extra: Path | None = None) -> RuleBook:
    """Load the published rules, and a grower's own from a TOML file of the same form.

    Parameters
    ----------
    extra : Path, optional
        A file with one ``[[rule]]`` table per rule. `id`, `first`, `further`, `unit` ("lb" or "kg") and
        `source` are needed; the other keys of the published file are optional.

    Raises
    ------
    DataError
        With every problem of the file: not readable, a key missing or unknown, a figure impossible, a name
        that is taken.
    """
    data = tomllib.loads(files("geoprune.rules").joinpath("published.toml").read_text("utf-8"))
    rules = tuple(entry_rule(entry) for entry in data["rule"])
    trials = tuple(Trial(**entry) for entry in data["trial"])
    if extra is not None:
        rules += read_own_rules(Path(extra), rules)
    return RuleBook(rules, trials)


def rule_cautions(
    rule: Rule, variety: str = "", *, planted: int | None = None, season: int | None = None
) -> tuple[Message, ...]:
    """What must be said beside a rule used on this block: memory value, thinning, cultivar, young vines."""
    said = []
    if rule.tag == "memory":
        said.append(Message("rules.from_memory", {"rule": rule.text, "title": rule.title}))
    if rule.thinning.startswith("yes") and not rule.thinning.startswith("yes or no"):
        key = "needs_cluster_thinning" if "cluster" in rule.thinning else "needs_thinning"
        said.append(Message(f"rules.{key}", {"title": rule.title}))
    if variety and rule.cultivars and fold(variety) not in map(fold, rule.cultivars):
        said.append(Message("rules.other_cultivar", {"title": rule.title, "variety": variety}))
    if planted is not None and season is not None and season - planted <= YOUNG_YEARS:
        said.append(Message("rules.young_vines", {"planted": planted, "years": YOUNG_YEARS}))
    return tuple(said)


def rule_table(book: RuleBook) -> list[dict[str, str]]:
    """Rows for listing the rules: name, figures in pounds and kilograms, for what, how known, source."""
    return [
        {
            "rule": rule.id,
            "buds": rule.text,
            "buds_metric": "{1:.2f}/kg to {0:.3f} kg, then {2:.2f}/kg".format(*rule.per_unit("kg")),
            "title": rule.title,
            "group": rule.group,
            "cultivars": ", ".join(rule.cultivars),
            "validity": rule.validity,
            "thinning": rule.thinning,
            "known": rule.tag,
            "source": rule.source,
        }
        for rule in book.rules
    ]


def _quoted(names: Iterable[str]) -> str:
    return ", ".join(f"'{name}'" for name in names)
