"""Write the table of every sentence of advice into rules.md: `python docs/make_sentences.py`."""

from __future__ import annotations

import tomllib
from pathlib import Path

from geoprune.rules import FEWEST_BUDS, FEWEST_REPLANTS, FEWEST_VINES
from geoprune.words import word_lists

HERE = Path(__file__).parent
START, END = "<!-- sentences: made by make_sentences.py -->", "<!-- end of sentences -->"
FLOORS = {"buds": FEWEST_BUDS, "vines": FEWEST_VINES, "replants": FEWEST_REPLANTS}


def load_sentences() -> list[dict[str, object]]:
    """Return the entries of sentences.toml: keys, when, n, source."""
    return tomllib.loads((HERE / "sentences.toml").read_text("utf-8"))["sentence"]


def sentence_table() -> str:
    """Return the table in Markdown, from sentences.toml and the English words."""
    lines = ["| sentence | when | on which n | source |", "|---|---|---|---|"]
    for entry in load_sentences():
        said = "<br>".join(_sentence(str(key)) for key in entry["keys"])  # type: ignore[attr-defined]
        cells = [str(entry[name]).format(**FLOORS) for name in ("when", "n", "source")]
        lines.append(f"| {said} | {' | '.join(cells)} |")
    return "\n".join(lines)


def page_with_table(page: str) -> str:
    """Return rules.md with its table made anew."""
    before, _, rest = page.partition(START)
    _, _, after = rest.partition(END)
    return f"{before}{START}\n\n{sentence_table()}\n\n{END}{after}"


def _sentence(key: str) -> str:
    room, name = key.split(".")
    text = word_lists()["en"][room][name].replace("|", "\\|")
    return f"`{key}` {text}"


if __name__ == "__main__":
    path = HERE / "rules.md"
    path.write_text(page_with_table(path.read_text("utf-8")), "utf-8")
