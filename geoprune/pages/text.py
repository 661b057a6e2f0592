"""Text from users' files made fit for paper: nothing invisible in it, nothing that turns the line around."""

from __future__ import annotations

import re
import unicodedata

#: Longest name shown; a longer one ends in an ellipsis.
LONGEST = 60
#: Lets a long word go on in the next line.
BREAK = "\u200b"
#: Control and format characters (among them marks that reverse the reading order), and what XML cannot carry.
_HIDDEN = frozenset({"Cc", "Cf", "Cs", "Co", "Cn"})


def clean(text: str) -> str:
    """Return the text without control and direction marks, every blank one space.

    Examples
    --------
    >>> clean("row\\u202e 1\\n\\x00")
    'row 1'
    """
    spaced = re.sub(r"\s+", " ", text)
    return "".join(sign for sign in spaced if unicodedata.category(sign) not in _HIDDEN).strip()


def shorten(text: str, most: int = LONGEST) -> str:
    """Return clean text of at most `most` characters; long words may break where a zero-width space stands."""
    told = clean(text)
    told = told if len(told) <= most else told[: most - 1].rstrip() + "…"
    return re.sub(r"\S{13,}", lambda found: BREAK.join(found.group()), told)
