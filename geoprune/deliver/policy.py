"""The content policy of a page: the scripts and styles it came with, by their digests, and nothing from elsewhere."""

from __future__ import annotations

import base64
import hashlib

from markupsafe import Markup


def page_policy(styles: tuple[str, ...], scripts: tuple[str, ...] = (), pictures: str = "") -> Markup:
    """Return the policy of a page, to stand in a `meta` element before all else.

    Parameters
    ----------
    styles, scripts : tuple of str
        What stands between the tags, sign for sign; nothing else of the kind runs, and no attribute `style` or `onclick`.
    pictures : str
        Sources of pictures that the page may load besides, such as "data:"; plain signs without quotes, as `tile_host` makes
        them.
    """
    allowed_by_kind = {
        "default-src": "'none'",
        "script-src": _digests(scripts),
        "style-src": _digests(styles),
        "img-src": pictures,
        "base-uri": "'none'",
        "form-action": "'none'",
    }
    return Markup("; ".join(f"{kind} {allowed}" for kind, allowed in allowed_by_kind.items() if allowed))


def _digests(texts: tuple[str, ...]) -> str:
    found = (hashlib.sha256(text.encode("utf-8")).digest() for text in texts)
    return " ".join(f"'sha256-{base64.b64encode(digest).decode('ascii')}'" for digest in found)
