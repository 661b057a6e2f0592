"""The field page: one HTML file with its words, data and script inside, locked against everything else."""

from __future__ import annotations

import json
from dataclasses import asdict
from functools import cache
from importlib.resources import files
from typing import Any

from jinja2 import Environment, StrictUndefined, Template
from markupsafe import Markup

from geoprune import look
from geoprune.deliver.dom import dom_script
from geoprune.deliver.field.block import KINDS_APART, LEAST_KG, MOST_COUNT, MOST_KG, FieldBlock, FieldRow
from geoprune.deliver.field.log import LEFT_OUT
from geoprune.deliver.policy import page_policy
from geoprune.errors import Message
from geoprune.rules import caution_notes
from geoprune.words import UNITS, say, word_lists

#: The page's script, in the order its parts stand.
SCRIPTS = ("text.js", "log.js", "store.js", "csv.js", "ground.js", "form.js", "screens.js", "prune.js", "page.js")
#: The unit weights are entered in first; people choose another on the page.
WEIGHT_UNITS = {"us": "lb", "metric": "kg"}


def render_field_page(block: FieldBlock, *, language: str = "en", units: str = "us") -> str:
    """Return a block's field page: one HTML file that works from a phone's storage, with no signal and no server.

    Parameters
    ----------
    block : FieldBlock
    language : str
        Code of a word list; the page can be switched to any other.
    units : {"us", "metric"}
        Weights are entered in lb or kg first.

    Returns
    -------
    str

    Raises
    ------
    ValueError
        If there is no such language or unit system.
    """
    words = field_words()
    if language not in words:
        raise ValueError(f"no word list for language {language!r}: {', '.join(words)}")
    if units not in UNITS:
        raise ValueError(f"units {units!r}: {' or '.join(UNITS)}")
    script, style = _script(), _style()
    return _template().render(
        language=language,
        name=block.name,
        words=words[language],
        policy=page_policy((style,), (script,)),
        style=Markup(style),
        script=Markup(script),
        payload=Markup(_json(page_data(block, language=language, units=units))),
    )


def field_words() -> dict[str, dict[str, str]]:
    """Return language code -> the words of the page."""
    return {code: rooms["field"] for code, rooms in word_lists().items() if "field" in rooms}


def page_data(block: FieldBlock, *, language: str, units: str) -> dict[str, Any]:
    """Return what the page's script is given: plain data, every sentence in every language."""

    def said(messages: tuple[Message, ...], code: str) -> list[str]:
        return [say(message, code, units) for message in messages]

    cautions = tuple(caution_notes())
    lists = {name: [asdict(vine) for vine in getattr(block, name)] for name in ("weigh", "buds", "check")}
    data = vars(block) | lists | {"rows": [_row(row) for row in block.rows]}  # rows are many: each is turned once
    return data | {
        "book": block.book,
        "language": language,
        "unit": WEIGHT_UNITS[units],
        "words": field_words(),
        "texts": {code: {"signs": said(block.signs, code), "cautions": said(cautions, code)} for code in field_words()},
        "signs": [],
        "limits": {"least_kg": LEAST_KG, "most_kg": MOST_KG, "most_count": MOST_COUNT},
        "left_out": LEFT_OUT,
    }


def _row(row: FieldRow) -> dict[str, Any]:
    known = {kind: sorted(row.apart[kind]) for kind in KINDS_APART if row.apart.get(kind)}
    return vars(row) | {"apart": known, "runs": [vars(run) for run in sorted(row.runs, key=lambda run: run.first_vine)]}


def _json(data: dict[str, Any]) -> str:
    """JSON that can stand in a script element: no text in it closes the element or opens a comment.

    Raises
    ------
    ValueError
        If it holds NaN or infinity; missing is None.
    """
    text = json.dumps(data, allow_nan=False, ensure_ascii=True, separators=(",", ":"))
    return text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026")


@cache
def _template() -> Template:
    return Environment(autoescape=True, undefined=StrictUndefined).from_string(_asset("page.html"))


@cache
def _script() -> str:
    return f'(function(){{"use strict";\n{dom_script()}{"".join(map(_asset, SCRIPTS))}}})();'


@cache
def _style() -> str:
    colors = {"ink": look.INK, "ink-soft": look.INK_SOFT, "paper": look.PAPER, "paper-deep": look.PAPER_DEEP}
    colors |= {"rule": look.RULE, "alarm": look.ALARM, "straw": look.ZONE_FILLS[1], "deep": look.ZONE_FILLS[4]}
    variables = "".join(f"--{name}:{value};" for name, value in (colors | {"serif": look.SERIF, "sans": look.SANS}).items())
    return f":root{{{variables}}}\n{_asset('page.css')}"


def _asset(name: str) -> str:
    return (files("geoprune.deliver.field") / "assets" / name).read_text(encoding="utf-8")
