"""Words of a grower's layer of blocks that are not ours, and what it leaves out: asked, never guessed."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

import pandas as pd

from geoprune.errors import DataError, Message
from geoprune.jobs.asking import Option, Sitting
from geoprune.layers import STATUSES
from geoprune.reading.columns import RawTable, name_text
from geoprune.reading.declared import OTHERWISE
from geoprune.reading.headers import fold
from geoprune.rules import Rule, RuleBook, Training, find_training, suggest_trainings

#: A rule of each group of grapes, offered where the variety names none.
GROUP_RULES = ("vinifera", "american", "french hybrids", "new hybrids", "seedless table")
#: What growers call a vine's status (common practice, no source).
STATUS_WORDS = {
    "missing": "missing gap falta faltante falla fallas marra marras mancante manquant absent fehlt falha vacio",
    "dead": "dead muerta muerto seca seco morta morto mort morte tot",
    "young": "young replant joven nueva nuevo replante replantada giovane jeune jung nova novo",
    "diseased": "diseased sick enferma enfermo malata malato malade krank doente",
    "bearing": "bearing ok good healthy sana viva buena normal produccion productiva sano saine gesund boa",
}
#: Grapes of Vitis vinifera that no published rule lists (botany, from memory): the rule of the species is proposed for them.
VINIFERA = frozenset(
    fold(name)
    for name in (
        *(
            "Aglianico",
            "Albariño",
            "Alvarinho",
            "Alicante Bouschet",
            "Aligoté",
            "Aragonez",
            "Arinto",
            "Assyrtiko",
            "Baga",
            "Barbera",
        ),
        *("Blaufränkisch", "Bobal", "Bonarda", "Carignan", "Carmenère", "Castelão", "Catarratto", "Cereza", "Chasselas"),
        *(
            "Chenin",
            "Chenin blanc",
            "Cinsault",
            "Colombard",
            "Cordisco",
            "Corvina",
            "Criolla grande",
            "Dolcetto",
            "Dornfelder",
            "Fiano",
        ),
        *("Furmint", "Gamay", "Garganega", "Garnacha", "Glera", "Godello", "Graciano", "Grenache", "Grüner Veltliner"),
        *("Kerner", "Lambrusco", "Lemberger", "Macabeo", "Malbec", "Malvasia", "Marsanne", "Mencía", "Monastrell"),
        *("Montepulciano", "Moscatel", "Mourvèdre", "Müller-Thurgau", "Muscat", "Nebbiolo", "Negroamaro", "Nero d'Avola"),
        *("País", "Palomino", "Pedro Giménez", "Pedro Ximénez", "Picpoul", "Pinot blanc", "Pinotage", "Portugieser"),
        *("Primitivo", "Roussanne", "Saint-Laurent", "Sangiovese", "Savagnin", "Semillon", "Shiraz", "Silvaner", "Tannat"),
        *("Tempranillo", "Tinta Roriz", "Torrontés", "Torrontés riojano", "Touriga Franca", "Touriga Nacional", "Trebbiano"),
        *("Trollinger", "Ugni blanc", "Verdejo", "Verdicchio", "Vermentino", "Xarel·lo", "Zinfandel", "Zweigelt"),
    )
)
Read = Callable[[], RawTable]


def ask_unnamed(sitting: Sitting, read: Read, stem: str) -> None:
    """Offer the file's name for a single block without one, and "unknown" for a variety that is not given."""
    table = read().table
    if len(table) == 1 and not _texts(table, "block"):
        option = Option(Message("check.that_one", {"name": stem}), {"values": {"block": {OTHERWISE: stem}}})
        sitting.ask(Message("check.ask_block_name"), [option])
    if len(_texts(read().table, "variety")) < len(table):
        unknown = {"values": {"variety": {OTHERWISE: "unknown"}}}
        sitting.ask(Message("check.ask_variety"), [Option(Message("check.variety_unknown"), unknown)])


def ask_trainings(sitting: Sitting, read: Read, known: Mapping[str, Training]) -> None:
    """Ask what each training is that is not known by its name, and what it is where none is given."""
    table = read().table
    words = _texts(table, "training")
    for word in dict.fromkeys(words):
        try:
            find_training(word, known)
        except DataError:
            near = suggest_trainings(word, known)
            options = _training_options(near or list(known), known, word)
            about = Message("check.ask_training", {"word": word})
            sitting.ask(about, options, 0 if len(near) == 1 else None)
    if len(words) < len(table):
        sitting.ask(Message("check.ask_no_training"), _training_options(list(known), known, OTHERWISE), None)


def _training_options(names: list[str], known: Mapping[str, Training], word: str) -> list[Option]:
    found = []
    for name in names:
        system = known[name]
        wood = Message("check.on_canes" if system.kind == "cane" else "check.on_spurs")
        label = Message("check.training", {"training": system.name, "id": name, "wood": wood})
        found.append(Option(label, {"values": {"training": {word: name}}}))
    return found


def ask_rules(sitting: Sitting, read: Read, book: RuleBook) -> None:
    """Ask for the pruning rule of blocks that name none, and of those whose rule is not known.

    A rule that names the block's variety is proposed, or that of its species where this is known; where there is none, one
    of each group of grapes is offered.
    """
    table = read().table
    rules = table["rule"].map(name_text) if "rule" in table else table.index.to_series().map(lambda _: "")
    varieties = table["variety"].map(name_text) if "variety" in table else rules.map(lambda _: "")
    for word in dict.fromkeys(rule for rule in rules if rule and not _resolves(book, rule)):
        variety = varieties[rules == word].iloc[0]
        _ask_rule(sitting, Message("check.ask_rule", {"word": word}), book, variety, {"values": {"rule": {word: ""}}})
    without = rules == ""
    kinds = list(dict.fromkeys(varieties[without]))
    for variety in kinds:
        about = Message("check.ask_no_rule", {"variety": variety or "-"})
        alone = len(kinds) == 1
        blocks = table["block"].map(name_text)[without & (varieties == variety)] if "block" in table else []
        sets: dict[str, Any] = (
            {"values": {"rule": {OTHERWISE: ""}}} if alone else {"block": {block: {"rule": ""} for block in blocks}}
        )
        _ask_rule(sitting, about, book, variety, sets)


def _ask_rule(
    sitting: Sitting, about: Message, book: RuleBook, variety: str, sets: Mapping[str, Mapping[str, object]]
) -> None:
    """Ask for one rule; `sets` holds "" wherever its name goes."""
    named = [rule for rule in book.named_for(variety) if rule.tag != "memory"]
    named = named or [rule for rule in book.rules if rule.id == "vinifera" and fold(variety) in VINIFERA]
    others = sorted((r for r in book.rules if r.id in GROUP_RULES and r not in named), key=lambda r: GROUP_RULES.index(r.id))
    options = [_rule_option(rule, sets) for rule in (*named, *others)]
    sitting.ask(about, options, 0 if named else None)


def _rule_option(rule: Rule, sets: Mapping[str, Any]) -> Option:
    def filled(inner: object) -> object:
        return {key: filled(value) for key, value in inner.items()} if isinstance(inner, Mapping) else rule.id

    label = Message("check.rule", {"rule": rule.id, "figures": rule.text, "title": rule.title})
    return Option(label, {table: filled(inner) for table, inner in sets.items()})


def ask_statuses(sitting: Sitting, read: Read) -> None:
    """Ask what each status of a vine means that is none of ours."""
    for word in dict.fromkeys(_texts(read().table, "status")):
        if word.casefold() in STATUSES:
            continue
        near = [status for status, words in STATUS_WORDS.items() if set(fold(word).split()) & set(words.split())]
        order = [*near, *(status for status in STATUSES if status not in near)]
        options = [Option(Message(f"check.status_{status}"), {"values": {"status": {word: status}}}) for status in order]
        sitting.ask(Message("check.ask_status", {"word": word}), options, 0 if near else None)


def _texts(table: pd.DataFrame, name: str) -> list[str]:
    """Texts of a column, those left empty left out."""
    return [text for text in table[name].map(name_text) if text] if name in table else []


def _resolves(book: RuleBook, text: str) -> bool:
    try:
        book.resolve(text)
    except DataError:
        return False
    return True
