"""Weight and time to open of the estate's page in headless Chromium: `python benchmarks/estate_page.py [blocks openings]`.

The blocks are ten small invented ones, set side by side as often as asked for. Prints the median over the openings of the
time until the page says it is drawn, and of the processor time that the page's own thread took until then, which does not
depend on what else the machine does.
"""

from __future__ import annotations

import statistics
import sys
import tempfile
from dataclasses import replace
from pathlib import Path

from playwright.sync_api import Browser, sync_playwright
from shapely.affinity import translate

sys.path.insert(0, str(Path(__file__).parents[1] / "tests"))

from map_weight import FLAGS
from small_plans import small_estate

from geoprune.brief import BlockBrief, brief_block
from geoprune.deliver.deliverables import links_of
from geoprune.deliver.maps import render_estate
from geoprune.deliver.writing.block import lighten

#: Blocks in a line of the invented estate, and metres from one to the next.
ACROSS, STEP_M = 80, 150.0
VARIETIES = ("Concord", "Niagara", "Catawba", "Vidal", "Chambourcin", "Riesling")


def invent(count: int) -> tuple[BlockBrief, ...]:
    """Return what is told of so many blocks."""
    briefs = [brief_block(plan) for plan in small_estate(10, rows=24, vines=40).blocks]
    return tuple(_moved(briefs[i % 10], i) for i in range(count))


def _moved(brief: BlockBrief, i: int) -> BlockBrief:
    plan, name = brief.plan, f"Block {i + 1}"
    east = STEP_M * (i % ACROSS) - 400.0 * (i % 10)
    north = STEP_M * (i // ACROSS)
    settings = replace(plan.settings, block=name, variety=VARIETIES[i % len(VARIETIES)])
    shapes = {layer: getattr(plan, layer) for layer in ("zones", "replant_areas")}
    shapes = {layer: table.set_geometry(table.geometry.translate(east, north)) for layer, table in shapes.items()}
    moved = replace(plan, name=name, settings=settings, polygon=translate(plan.polygon, east, north), **shapes)
    return lighten(replace(brief, plan=moved), drawn=False)


def open_once(browser: Browser, file: Path) -> tuple[float, float]:
    """Return ms until the page is drawn, and ms of processor time of its thread until then."""
    context = browser.new_context(viewport={"width": 1280, "height": 800}, offline=True)
    page = context.new_page()
    session = context.new_cdp_session(page)
    session.send("Performance.enable", {"timeDomain": "threadTicks"})
    page.goto(file.as_uri())
    page.wait_for_selector("html[data-ready=yes]")
    ready = page.evaluate("window.geopruneReady")
    told = {entry["name"]: entry["value"] for entry in session.send("Performance.getMetrics")["metrics"]}
    context.close()
    return ready, 1000.0 * told["TaskDuration"]


def main() -> None:
    """Measure and print."""
    count, openings = [int(word) for word in sys.argv[1:]] or (5000, 9)
    briefs = invent(count)
    links = {brief.name: links_of(f"block-{i + 1}") for i, brief in enumerate(briefs)}
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as driver:
        file = Path(folder) / "index.html"
        file.write_text(render_estate(briefs, links=links), encoding="utf-8")
        browser = driver.chromium.launch(executable_path="/usr/bin/chromium", args=FLAGS)
        taken = [open_once(browser, file) for _ in range(openings)]
        ready, spent = (statistics.median(times) for times in zip(*taken, strict=True))
        browser.close()
        size = file.stat().st_size / 1e6
    print(f"{count} blocks: {size:.2f} MB, drawn after {ready:.0f} ms, {spent:.0f} ms of processor time, of {openings}")


if __name__ == "__main__":
    main()
