"""One name for a place, and one sentence for the signs, for paper, phone and receiver alike."""

from __future__ import annotations

from typing import Any

import pandas as pd

from geoprune.errors import Message

#: How the signs are read: the crew's first line, and the same sentence on sheet, card and map and in every waypoint file.
READ_SIGNS = Message("tape.read")
#: What to do when signs are lost or do not agree.
SIGNS_DISAGREE = Message("tape.disagree")
#: How the tape is hung.
HANG_SIGNS = Message("tape.hang")


def place_name(row: object, vine: int, post: int | None = None) -> Message:
    """Return the name of a vine's place: row and vine, and where posts were surveyed the post before it.

    Examples
    --------
    >>> from geoprune.words import say
    >>> say(place_name("3", 24), "en", "us"), say(place_name("3", 24, 7), "es", "us")
    ('row 3, vine 24', 'hilera 3, cepa 24 (pasando el poste 7)')
    """
    if post is None:
        return Message("tape.place", {"row": str(row), "vine": int(vine)})
    return Message("tape.place_surveyed", {"row": str(row), "vine": int(vine), "post": int(post)})


def post_name(row: object, after_vine: int, post: int | None = None, *, end: bool = False) -> Message:
    """Return the name of a post: row and the vine before it, and where posts were surveyed its number; `end`: an end post.

    Examples
    --------
    >>> from geoprune.words import say
    >>> say(post_name("3", 24), "en", "us"), say(post_name("3", 0), "en", "us")
    ('row 3, post after vine 24', 'row 3, end post before vine 1')
    """
    if after_vine == 0:
        return Message("tape.post_first", {"row": str(row)})
    fields = {"row": str(row), "vine": int(after_vine)}
    if post is not None:
        return Message("tape.post_surveyed", {**fields, "post": int(post)})
    return Message("tape.post_end" if end else "tape.post", fields)


def short_place(row: object, vine: int) -> str:
    """Return the shortest name of a place, for a receiver's screen: "3/24"; a post is named by the vine before it."""
    return f"{row}/{int(vine)}"


def short_sign(line: Any) -> str:
    """Return the shortest name of a marked post: place, then the bands on the sides of lower and higher vine numbers.

    Examples
    --------
    >>> from types import SimpleNamespace
    >>> short_sign(SimpleNamespace(row="3", after_vine=24, low_bands=1, high_bands=2))
    '3/24 1|2'
    """
    return f"{short_place(line.row, line.after_vine)} {_bands(line.low_bands)}|{_bands(line.high_bands)}"


def sign_message(line: Any, *, surveyed: bool = False) -> Message:
    """Return what to tie on a post: a line of `sign_posts` (row, post, kind, after_vine, low_bands, high_bands)."""
    post = post_name(line.row, line.after_vine, line.post if surveyed else None, end=line.kind == "end")
    sides = [
        Message("tape.side_band" if bands == "1" else "tape.side_bands", {"bands": int(bands), "vine": vine})
        for bands, vine in ((_bands(line.low_bands), line.after_vine), (_bands(line.high_bands), line.after_vine + 1))
        if bands != "-"
    ]
    if len(sides) == 1:
        return Message("tape.tie_one", {"post": post, "side": sides[0]})
    return Message("tape.tie_two", {"post": post, "low": sides[0], "high": sides[1]})


def posts_go(upward: bool) -> Message:
    """Return whether post numbers go up or down along the way."""
    return Message("tape.posts_up" if upward else "tape.posts_down")


def _bands(bands: Any) -> str:
    return "-" if pd.isna(bands) else str(int(bands))
