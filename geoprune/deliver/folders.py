"""Safe names for the folders of blocks."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable

#: Names that Windows keeps for devices, whatever the ending.
RESERVED = frozenset(["con", "prn", "aux", "nul", *(f"com{n}" for n in range(10)), *(f"lpt{n}" for n in range(10))])


def block_folders(names: Iterable[str]) -> dict[str, str]:
    """Give each block a folder name that is safe on every system.

    Parameters
    ----------
    names : iterable of str
        Block names as in the file.

    Returns
    -------
    dict
        Block name -> folder name of `a-z 0-9 _ -`, at most 44 characters, no two alike, no device name.

    Examples
    --------
    >>> block_folders(["Peña Alta", "../x", "CON"])
    {'Peña Alta': 'pena-alta', '../x': 'x', 'CON': 'block-con'}
    """
    folders: dict[str, str] = {}
    for name in names:
        plain = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode().lower()
        slug = re.sub(r"[^a-z0-9_]+", "-", plain).strip("-_")[:40].rstrip("-_") or "block"
        if slug in RESERVED:
            slug = f"block-{slug}"
        taken, candidate, number = set(folders.values()), slug, 2
        while candidate in taken:
            candidate, number = f"{slug}-{number}", number + 1
        folders[name] = candidate
    return folders
