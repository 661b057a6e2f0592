"""Characters of users' text that steer, hide or turn what stands beside them, and text without them."""

from __future__ import annotations

import re
from collections.abc import Iterable

#: Control characters that are no blanks (C0, C1), marks of no width and of reading order (Unicode Standard Annex 9),
#: tags, byte order marks, half characters, and what XML 1.0 cannot hold.
HIDDEN = re.compile(
    "[\x00-\x08\x0e-\x1b\x7f-\x84\x86-\x9f\xad\u061c\u180e\u200b-\u200f\u202a-\u202e\u2060-\u206f\ufeff\ufff9-\ufffb"
    "\ud800-\udfff\ufffe\uffff\U000e0000-\U000e007f]"
)
#: Blanks that move to another place or line.
_MOVING = re.compile("[\t\x0b\x0c\r\x1c-\x1f\x85\u2028\u2029]")
#: Names of files and users are shown up to so many letters.
LONGEST_NAME = 40
#: A quoted name, or a word without a space, that is longer.
LONG_NAME = re.compile(rf"(?<!\w)'([^'\n]{{{LONGEST_NAME}}})[^'\n]{{2,}}'(?!\w)|(\S{{{2 * LONGEST_NAME}}})\S{{2,}}")


def clean(text: object) -> str:
    """Return text without hidden characters and with plain blanks; line breaks stay.

    Examples
    --------
    >>> clean("row\\u202e\\t1\\x1b[2J")
    'row 1[2J'
    """
    plain = str(text)
    if plain.isascii() and plain.isprintable():  # most texts are, and there are many
        return plain
    return HIDDEN.sub("", _MOVING.sub(" ", plain))


def one_line(text: object) -> str:
    """Return clean text on one line, single blanks between its words.

    Examples
    --------
    >>> one_line(" A\\nB: \\u200bprune ")
    'A B: prune'
    """
    return " ".join(clean(text).split())


def cut_names(text: str) -> str:
    """Return a message with every quoted name over 40 letters, and every word over 80, cut and marked."""
    return LONG_NAME.sub(lambda found: f"'{found[1]}…'" if found[1] else f"{found[2]}…", text)


def few(names: Iterable[str], most: int = 6) -> str:
    """Return the first few names of a list, for messages."""
    given = [name for name in names if name]
    listed = ", ".join(name if len(name) <= LONGEST_NAME else f"{name[:LONGEST_NAME]}…" for name in given[:most])
    return listed + (" ..." if len(given) > most else "")
