"""The crew's sheet, HTML and PDF, English over Spanish."""

from __future__ import annotations

import json
from importlib.resources import files
from typing import Any

import typst
from jinja2 import Environment, PackageLoader

from geoprune.maps.telling import page_words
from geoprune.plan import BlockPlan
from geoprune.rules import CAUTIONS
from geoprune.units import KG_PER_LB, M2_PER_AC, M2_PER_HA

_pages = Environment(loader=PackageLoader("geoprune", "pages"), autoescape=True)


def _weight(kilograms: float, units: str) -> str:
    return f"{kilograms / KG_PER_LB:.2f} lb" if units == "us" else f"{kilograms:.2f} kg"


def _area(hectares: float, units: str) -> str:
    return f"{hectares * M2_PER_HA / M2_PER_AC:.2f} ac" if units == "us" else f"{hectares:.2f} ha"


def content(plan: BlockPlan, *, units: str) -> dict[str, Any]:
    """What the sheet says, as plain data shared by HTML and PDF."""
    stop = plan.buds_per_vine is None
    spanish = page_words()["es"]
    return {
        "block": plan.name,
        "rule": plan.rule.name,
        "source": plan.rule.source,
        "training": plan.training,
        "reason": plan.reason,
        "stop": stop,
        "zones": [
            {
                "zone": int(z.zone),
                "class": z[3],
                "spanish": spanish["class_" + z[3].replace(" ", "_")],
                "buds": "?" if stop else str(z.buds_per_vine),
                "recipe": "" if stop else z.recipe,
                "vines": int(z.vines),
                "size": _weight(z.vine_size_kg, units),
                "error": _weight(z.vine_size_se_kg, units),
                "area": _area(z.area_ha, units),
            }
            for z in plan.zones.itertuples()
        ],
        "rows": [
            {"row": str(r.row), "from": int(r.from_post), "to": int(r.to_post), "bands": int(r.bands)}
            | {"buds": "?" if stop else str(r.buds_per_vine), "vines": int(r.vines)}
            for r in plan.runs.itertuples()
        ],
        "cautions": list(zip(CAUTIONS["en"], CAUTIONS["es"], strict=True)),
        "remarks": list(plan.remarks),
    }


def crew_sheet_html(plan: BlockPlan, *, units: str = "us") -> str:
    """Return the crew's sheet as one self-contained page for print."""
    return _pages.get_template("sheet.html").render(content(plan, units=units))


def crew_sheet_pdf(plan: BlockPlan, *, units: str = "us", paper: str = "us-letter") -> bytes:
    """Return the crew's sheet as PDF. The data go in as JSON, never as source."""
    source = (files("geoprune.pages") / "sheet.typ").read_text(encoding="utf-8")
    inputs = {"data": json.dumps(content(plan, units=units)), "paper": paper}
    return bytes(typst.compile(source.encode(), sys_inputs=inputs))
