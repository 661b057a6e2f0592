"""Weight and speed of the map pages in headless Chromium, from files, with the network off.

    python benchmarks/map_weight.py

Prints the median of several openings. `ready` is the time from the start of loading until the page says it is drawn;
a toggle is timed from the click until the canvas has been read back, so that drawing put off by the browser counts.
"""

from __future__ import annotations

import platform
import statistics
import sys
import tempfile
import time
from dataclasses import replace
from pathlib import Path

from playwright.sync_api import Browser, sync_playwright

sys.path.insert(0, str(Path(__file__).parents[1] / "tests"))

from small_plans import edition, small_estate, small_plan

from geoprune.brief import brief_block
from geoprune.deliver.maps import render_block_map, render_estate

OPENINGS = 9
FLAGS = ["--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-sync", "--no-first-run"]
TOGGLES = """() => [...document.querySelectorAll('#layers input:not([disabled])')].map((box) => {
  const canvas = document.getElementById('canvas');
  const start = performance.now();
  box.click();
  canvas.getContext('2d').getImageData(0, 0, 1, 1);
  return [box.dataset.layer, performance.now() - start];
})"""


def measure(
    browser: Browser, page_file: Path, *, width: int, height: int, slower: int = 1
) -> tuple[float, dict[str, float]]:
    """Return the median time until ready and, per layer, the median time of a toggle; both in ms."""
    ready, toggles = [], {}
    for _ in range(OPENINGS):
        context = browser.new_context(viewport={"width": width, "height": height}, offline=True)
        page = context.new_page()
        if slower > 1:
            context.new_cdp_session(page).send("Emulation.setCPUThrottlingRate", {"rate": slower})
        page.goto(page_file.as_uri())
        page.wait_for_selector("html[data-ready=yes]")
        ready.append(page.evaluate("window.geopruneReady"))
        for name, took in page.evaluate(TOGGLES):
            toggles.setdefault(name, []).append(took)
        context.close()
    return statistics.median(ready), {name: statistics.median(took) for name, took in toggles.items()}


def main() -> None:
    block = small_plan(rows=125, vines=320, seed=7, bend_m=8.0)
    few = small_estate(10, rows=50, vines=50).blocks
    estate = [brief_block(replace(few[i % 10], name=f"Field {i + 1}")) for i in range(200)]
    links = {brief.name: {"map": f"b{i}/map.html", "sheet": f"b{i}/s.html"} for i, brief in enumerate(estate)}
    makers = {
        f"block, {len(block.vines):,} vines, {block.polygon.area / 1e4:.0f} ha": lambda: render_block_map(
            edition(brief_block(block))
        ),
        f"estate, 200 blocks, {sum(brief.vines for brief in estate):,} vines": lambda: render_estate(estate, links=links),
    }
    print(platform.platform(), "Python", platform.python_version())
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path="/usr/bin/chromium", args=FLAGS)
        print("Chromium", browser.version)
        for name, make in makers.items():
            start = time.perf_counter()
            file = Path(folder) / "page.html"
            file.write_text(make(), encoding="utf-8")
            print(f"{name}: {file.stat().st_size / 1e6:.2f} MB, written in {time.perf_counter() - start:.2f} s")
            for screen in ((1280, 800, 1), (360, 740, 1), (360, 740, 4)):
                ready, toggles = measure(browser, file, width=screen[0], height=screen[1], slower=screen[2])
                slowest = max(toggles, key=toggles.get)
                slow = f"slowest toggle {slowest} {toggles[slowest]:.0f} ms"
                print(f"  {screen[0]} x {screen[1]}, CPU / {screen[2]}: ready {ready:.0f} ms, {slow}")
        browser.close()


if __name__ == "__main__":
    main()
