"""The page around a map: folium's map in a page of our own, with Leaflet inside it and a strict policy.

branca renders what an element's template produced a second time as a template, so text from a user's file must never
pass through it: it would run. Here such text travels only in the packed data (`packing`) or comes out of an
autoescaping Jinja template of our own. Of folium we take the map's element and the script that starts it; it never sees
our text, and what it would fetch (scripts, styles, fonts, tiles) is not taken.
"""

from __future__ import annotations

import re
from functools import cache
from importlib.resources import files
from typing import cast

import folium
from branca.element import Figure
from jinja2 import Environment, StrictUndefined, Template
from markupsafe import Markup

from geoprune import look
from geoprune.deliver.dom import dom_script
from geoprune.deliver.edition import tile_host
from geoprune.deliver.policy import page_policy

#: SHA-256 of Leaflet 1.9.4's leaflet.js and leaflet.css as published; the files and their licence lie in `leaflet/`.
LEAFLET_SHA256 = {
    "leaflet.js": "db49d009c841f5ca34a888c96511ae936fd9f5533e90d8b2c4d57596f4e5641a",
    "leaflet.css": "a7837102824184820dfa198d1ebcd109ff6d0ff9a2672a074b9a1b4d147d04c6",
}


def asset(name: str) -> str:
    """Return the text of one of the page's own files."""
    return (files("geoprune.deliver.maps") / "assets" / name).read_text(encoding="utf-8")


@cache
def template(name: str) -> Template:
    """Return one of the page's own templates; what is put in is escaped."""
    return Environment(autoescape=True, undefined=StrictUndefined).from_string(asset(name))


@cache
def leaflet() -> tuple[str, str]:
    """Return Leaflet's script and style sheet, ready to stand inside a page.

    The style sheet's three pictures belong to controls we do not use; they are taken out so that nothing is asked for.
    """
    folder = files("geoprune.deliver.maps") / "leaflet"
    script, style = ((folder / name).read_text("utf-8") for name in LEAFLET_SHA256)
    script = re.sub(r"//# sourceMappingURL=.*", "", script)
    return script.strip(), re.sub(r"url\(images/[a-z0-9-]+\.png\)", "none", style).strip()


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
    element, start = map_parts(center)
    script, style = leaflet()
    own = "\n".join((dom_script(), *map(asset, scripts)))
    started = f'{start}\n(function(){{"use strict";\n{own}\n}})();'
    pictures = "data: blob:" + (f" {tile_host(background)}" if background else "")
    whole = template("shell.html").render(
        language=language,
        policy=page_policy((style, page_style(), NO_SCRIPT_STYLE), (script, started), pictures),
        title=title,
        styles=[Markup(style), Markup(page_style())],
        leaflet=Markup(script),
        before=Markup(before),
        map=Markup(element),
        after=Markup(after),
        payload=payload,
        script=Markup(started),
    )
    return whole.replace("\r\n", "\n")


def map_parts(center: tuple[float, float]) -> tuple[str, str]:
    """Return folium's map as its HTML element and the script that starts it."""
    page = folium.Map(location=list(center), tiles=None, zoom_start=15, zoom_control=False, attribution_control=False)
    page._id = "1"  # the name that folium gives the map; drawn by lot otherwise, and then no two pages would be alike
    figure = cast(Figure, page.get_root())
    page.render()
    return figure.html.render().strip(), figure.script.render().strip()


@cache
def page_style() -> str:
    """Return our style sheet with the shared colours and fonts put in."""
    colors = {"ink": look.INK, "ink-soft": look.INK_SOFT, "paper": look.PAPER, "paper-deep": look.PAPER_DEEP}
    colors |= {"rule": look.RULE, "alarm": look.ALARM, "serif": look.SERIF, "sans": look.SANS}
    variables = "".join(f"--{name}:{value};" for name, value in colors.items())
    return f":root{{{variables}}}\n{asset('page.css')}"


#: Hides, where no script runs, what only a script fills.
NO_SCRIPT_STYLE = "#page,.skip{display:none}"
