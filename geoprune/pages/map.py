"""The block's map: folium gives the page, Leaflet is inlined from its package, data go in as JSON, labels as text nodes."""

from __future__ import annotations

import base64
import hashlib
import json
import re
from importlib.resources import files
from typing import Any

import folium
import geopandas as gpd
import numpy as np
import shapely
from branca.element import Element
from jinja2 import Template

from geoprune.plan import BlockPlan
from geoprune.rules import CAUTIONS
from geoprune.units import KG_PER_LB


class Literal(Element):
    """Text that goes into the page as it is, never read as a template."""

    _template = Template("{{ this.text }}")

    def __init__(self, text: str) -> None:
        super().__init__()
        self.text = text


class OfflineMap(folium.Map):
    """A folium map that loads nothing: Leaflet's files stand in the page."""

    default_js: list[tuple[str, str]] = []  # noqa: RUF012
    default_css: list[tuple[str, str]] = []  # noqa: RUF012


def _leaflet() -> tuple[str, str]:
    folder = files("js_lib_leaflet") / "static" / "js_lib_leaflet"
    script = (folder / "leaflet.js").read_text(encoding="utf-8")
    style = (folder / "leaflet.css").read_text(encoding="utf-8")
    script = re.sub(r"//# sourceMappingURL=\S*", "", script)
    return script, re.sub(r"url\([^)]*\)", "none", style)


def safe_json(data: Any) -> str:
    """JSON that cannot end a script element."""
    text = json.dumps(data, allow_nan=False, separators=(",", ":"))
    return re.sub(r"[<>&\u2028\u2029]", lambda m: f"\\u{ord(m[0]):04x}", text)


def _degrees(table: gpd.GeoDataFrame) -> list[list[list[float]]]:
    """Outer vertices of each feature as [[lat, lon], ...], 7 decimals (1 cm)."""
    lines = table.to_crs(4326).geometry
    outer = [g.geoms[0].exterior if g.geom_type == "MultiPolygon" else g for g in lines]
    return [np.round(shapely.get_coordinates(g)[:, ::-1], 7).tolist() for g in outer]


def _data(plan: BlockPlan, units: str) -> dict[str, Any]:
    panels = plan.panels
    polygons = [
        [np.round(shapely.get_coordinates(p.exterior)[:, ::-1], 7).tolist() for p in g.geoms]
        for g in plan.zones.to_crs(4326).geometry
    ]
    used = plan.samples
    largest = [max(g.geoms, key=lambda part: part.area) for g in plan.zones.geometry]
    inside = gpd.GeoDataFrame(geometry=[part.representative_point() for part in largest], crs=plan.zones.crs)
    return {
        "labels": [at[0] for at in _degrees(inside)],
        "units": units,
        "lb": KG_PER_LB,
        "panels": [
            {
                "line": line,
                "row": p.row,
                "panel": int(p.panel),
                "first": int(p.first_vine),
                "last": int(p.last_vine),
            }
            | {"zone": int(p.zone), "buds": int(p.buds_per_vine), "kg": _number(p.vine_size_kg)}
            | {"se": _number(p.vine_size_se_kg)}
            for line, p in zip(_degrees(panels), panels.itertuples(), strict=True)
        ],
        "zones": polygons,
        "buds": plan.zones["buds_per_vine"].tolist(),
        "samples": [
            {
                "at": at[0],
                "kg": _number(s.vine_weight_kg),
                "row": s.row,
                "vine": int(s.vine),
                "used": bool(s.used),
            }
            | {"outlier": bool(s.outlier), "note": s.note}
            for at, s in zip(_degrees(used), used.itertuples(), strict=True)
        ],
        "replant": _degrees(plan.replant_areas) if len(plan.replant_areas) else [],
    }


def _number(value: float) -> float | None:
    return round(float(value), 4) if np.isfinite(value) else None


def map_page(plan: BlockPlan, *, units: str = "us") -> str:
    """Return the block's map as one self-contained HTML page (no network request, strict content policy)."""
    from geoprune.pages.sheet import page_parts

    shell = OfflineMap(tiles=None, control_scale=True, prefer_canvas=True, zoom_control=True)
    shell.options["maxZoom"] = 22
    figure: Any = shell.get_root()
    script, style = _leaflet()
    figure.header.add_child(Literal(f"<style>{style}</style>"), name="leaflet_style")
    figure.header.add_child(Literal(f"<script>{script}</script>"), name="leaflet_script")
    own_style = (files("geoprune.pages") / "map.css").read_text(encoding="utf-8")
    figure.header.add_child(Literal(f"<style>{own_style}</style>"), name="own_style")
    page = figure.render()
    name = shell.get_name()
    page = page.replace(name, "map_block")
    page = re.sub(r"<meta name=\"viewport\".*?/>", "", page, flags=re.S)
    drawing = (files("geoprune.pages") / "map.js").read_text(encoding="utf-8")
    panel = page_parts(plan, units=units, cautions=CAUTIONS["en"])
    head = (
        '<meta charset="utf-8"><meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>{panel['title']}</title>"
    )
    page = page.replace("<html>", '<html lang="en">', 1).replace("<head>", "<head>" + head, 1)
    page = page.replace("<body>", f"<body><main>{panel['answer']}", 1)
    data = f'<script type="application/json" id="data">{safe_json(_data(plan, units))}</script>'
    page = page.replace("</html>", f"{data}<script>{drawing}</script></html>", 1)
    return _with_policy(page)


def _with_policy(page: str) -> str:
    hashes = [
        "'sha256-" + base64.b64encode(hashlib.sha256(body.encode()).digest()).decode() + "'"
        for body in re.findall(r"<script>(.*?)</script>", page, flags=re.S)
    ]
    policy = (
        f"default-src 'none'; script-src {' '.join(hashes)}; style-src 'unsafe-inline'; img-src data: blob:; "
        "base-uri 'none'; form-action 'none'"
    )
    return page.replace("<head>", f'<head><meta http-equiv="Content-Security-Policy" content="{policy}">', 1)
