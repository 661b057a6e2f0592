"""The page around a map: folium's map with Leaflet inlined, our own text added untouched, and a strict policy.

branca renders what an element's template produced a second time as a template, so text from a user's file must never
pass through it: it would run. Here such text travels only in the packed data (`packing`) or comes out of an
autoescaping Jinja template of our own and is added as `Literal`, which nobody parses again.
"""

from __future__ import annotations

import base64
import hashlib
import html
import re
from functools import cache
from importlib.resources import files
from typing import cast
from urllib.parse import urlsplit

import folium
from branca.element import Element, Figure
from jinja2 import Template

from geoprune import look

#: SHA-256 of Leaflet 1.9.4's leaflet.js as published (npm and PyPI carry the same bytes).
LEAFLET_SHA256 = "db49d009c841f5ca34a888c96511ae936fd9f5533e90d8b2c4d57596f4e5641a"
_SCRIPT = re.compile(r"<script>(.*?)</script>", re.DOTALL)
_STYLE = re.compile(r"<style>(.*?)</style>", re.DOTALL)
_VIEWPORT = re.compile(r'<meta name="viewport".*?/>', re.DOTALL)
_CHARSET = re.compile(r'<meta http-equiv="content-type".*?/>')


class Literal(Element):
    """Text that goes into the page as it is, whatever braces it holds."""

    _template = Template("{{ this.text }}")

    def __init__(self, text: str) -> None:
        super().__init__()
        self._name = "Literal"
        self.text = text


class OfflineMap(folium.Map):
    """folium's map without the files it fetches: no scripts, styles, fonts or tiles from elsewhere."""

    default_js: list[tuple[str, str]] = []  # noqa: RUF012
    default_css: list[tuple[str, str]] = []  # noqa: RUF012


def asset(name: str) -> str:
    """Return the text of one of the page's own files."""
    return (files("geoprune.maps") / "assets" / name).read_text(encoding="utf-8")


@cache
def leaflet() -> tuple[str, str]:
    """Return Leaflet's script and style sheet, ready to stand inside a page.

    The style sheet's three pictures belong to controls we do not use; they are taken out so that nothing is asked for.

    Raises
    ------
    RuntimeError
        If the installed Leaflet is not the one that was checked, or could close a tag of the page.
    """
    folder = files("js_lib_leaflet") / "static" / "js_lib_leaflet"
    script = (folder / "leaflet.js").read_bytes()
    if hashlib.sha256(script).hexdigest() != LEAFLET_SHA256:
        raise RuntimeError("django-js-lib-leaflet does not carry Leaflet 1.9.4 as published")
    text = re.sub(r"//# sourceMappingURL=.*", "", script.decode("utf-8"))
    style = re.sub(r"url\(images/[a-z0-9-]+\.png\)", "none", (folder / "leaflet.css").read_text("utf-8"))
    if "</script" in text.lower() or "</style" in style.lower() or "url(images" in style:
        raise RuntimeError("Leaflet's files cannot be inlined")
    return text.strip(), style.strip()


def tile_host(background: str) -> str:
    """Return the source expression of a tile URL template for the page's policy.

    Raises
    ------
    ValueError
        If it is not an http(s) URL in plain signs with {z}, {x} and {y}, or its host holds anything but letters,
        digits, dots, hyphens, a leading "{s}." and a port.
    """
    parts = urlsplit(background)
    host = re.fullmatch(r"(\{s\}\.)?([A-Za-z0-9.-]+)(:[0-9]{1,5})?", parts.netloc)
    tiles = all(mark in parts.path + parts.query for mark in ("{z}", "{x}", "{y}"))
    plain = re.fullmatch(r"[!-~]+", background) and (not host or not host[3] or 0 < int(host[3][1:]) < 65_536)
    if parts.scheme not in ("http", "https") or not host or not tiles or not plain:
        raise ValueError(f"the background {background!r} is not a tile address such as https://host/{{z}}/{{x}}/{{y}}.png")
    return f"{parts.scheme}://{'*.' if host[1] else ''}{host[2]}{host[3] or ''}"


def build_page(
    *,
    center: tuple[float, float],
    title: str,
    language: str,
    before: str,
    after: str,
    scripts: tuple[str, ...],
    payload: str,
    background: str | None = None,
) -> str:
    """Return a whole page: head, `before`, the map's element, `after`, the packed data and the scripts.

    Parameters
    ----------
    center : tuple of float
        Latitude and longitude.
    title, language : str
        Text of the tab (escaped here) and BCP 47 code.
    before, after : str
        Finished HTML (user text escaped already) around the map's element.
    scripts : tuple of str
        Names of our scripts among the assets, in order.
    payload : str
        Base64 of the packed data.
    background : str, optional
        Tile URL template; its host is the only one the policy then allows, for pictures only.
    """
    page = OfflineMap(location=list(center), tiles=None, zoom_start=15, zoom_control=False, attribution_control=False)
    figure = cast(Figure, page.get_root())
    script, style = leaflet()
    figure.header.add_child(Literal(f"<style>{style}</style>"))
    figure.header.add_child(Literal(f"<style>{page_style()}</style>"))
    figure.header.add_child(Literal(f"<script>{script}</script>"))
    figure.html.add_child(Literal(before), name="before")
    page.render()
    data = f'<script type="application/gzip;base64" id="plan">{payload}</script>'
    figure.html.add_child(Literal(after + data), name="after")
    own = "\n".join(asset(name) for name in scripts)
    figure.script.add_child(Literal(f'(function(){{"use strict";\n{own}\n}})();'), name="own")
    numbered = figure.render().replace(page.get_name(), "map_1")
    return _finish(numbered, title=title, language=language, background=background)


def page_style() -> str:
    """Return our style sheet with the shared colours and fonts put in."""
    colors = {"ink": look.INK, "ink-soft": look.INK_SOFT, "paper": look.PAPER, "paper-deep": look.PAPER_DEEP}
    colors |= {"rule": look.RULE, "alarm": look.ALARM, "serif": look.SERIF, "sans": look.SANS}
    variables = "".join(f"--{name}:{value};" for name, value in colors.items())
    return f":root{{{variables}}}\n{asset('page.css')}"


def _finish(page: str, *, title: str, language: str, background: str | None) -> str:
    """Name the language and title, allow zooming, and lock the page."""
    viewport = '<meta name="viewport" content="width=device-width, initial-scale=1">'
    page = _CHARSET.sub("", _VIEWPORT.sub(viewport, page, count=1), count=1)
    page = page.replace("<html>", f'<html lang="{html.escape(language)}">', 1)
    page = page.replace("</body>\n<script>", "<script>", 1)
    page = page.replace("</script>\n</html>", "</script>\n</body>\n</html>", 1)
    head = (
        '<head>\n<meta charset="utf-8">\n'
        f'<meta http-equiv="Content-Security-Policy" content="{_policy(page, background)}">\n'
        f"<title>{html.escape(title)}</title>"
    )
    return page.replace("<head>", head, 1)


def _policy(page: str, background: str | None) -> str:
    def hashes(pattern: re.Pattern[str]) -> str:
        digests = (hashlib.sha256(text.encode("utf-8")).digest() for text in pattern.findall(page))
        return " ".join(f"'sha256-{base64.b64encode(digest).decode('ascii')}'" for digest in digests)

    pictures = "data: blob:" + (f" {tile_host(background)}" if background else "")
    return (
        f"default-src 'none'; script-src {hashes(_SCRIPT)}; style-src {hashes(_STYLE)}; "
        f"img-src {pictures}; base-uri 'none'; form-action 'none'"
    )
