"""Text from users' files made fit for paper: nothing invisible in it, nothing that turns the line around."""

from __future__ import annotations

import re

from geoprune.text import one_line as clean

#: Longest name shown; a longer one ends in an ellipsis.
LONGEST = 60
#: Lets a long word go on in the next line.
BREAK = "\u200b"


def shorten(text: str, most: int = LONGEST) -> str:
    """Return clean text of at most `most` characters; long words may break where a zero-width space stands."""
    told = clean(text)
    told = told if len(told) <= most else told[: most - 1].rstrip() + "…"
    return re.sub(r"\S{13,}", lambda found: BREAK.join(found.group()), told)
