"""Text from users' files made fit for paper: nothing invisible in it, nothing that turns the line around."""

from __future__ import annotations

import re

from markupsafe import Markup

from geoprune.text import one_line as clean

#: Longest name shown; a longer one ends in an ellipsis.
LONGEST = 60
#: Lets a long word go on in the next line.
BREAK = "\u200b"


def shorten(text: str, most: int = LONGEST) -> str:
    """Return clean text of at most `most` characters; long words may break where a zero-width space stands."""
    shown = clean(text)
    shown = shown if len(shown) <= most else shown[: most - 1].rstrip() + "…"
    return re.sub(r"\S{13,}", lambda found: BREAK.join(found.group()), shown)


def css_string(text: str) -> Markup:
    """Return text as a CSS string; all but ASCII letters and digits are escapes (CSS Syntax Level 3, section 4.3.7)."""
    return Markup('"' + re.sub(r"[^A-Za-z0-9]", lambda found: f"\\{ord(found.group()):x} ", text) + '"')
