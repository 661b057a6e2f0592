"""Sixty vines are entered on the field page while tab or browser is killed at random moments: is anything confirmed lost?

    PYTHONPATH=tests:tests/field python benchmarks/field_kills.py --kills 50 --seed 1

A kill (SIGKILL) hits the tab's process or the whole browser, which then starts again with the same profile. What the page
had told as saved is held against what is there at the end. The counts of docs/field-page.md come from here.
"""

from __future__ import annotations

import argparse
import tempfile
from pathlib import Path

from field_blocks import field_block
from phone import Phone, weigh_while_killed
from playwright.sync_api import sync_playwright

from geoprune.deliver.field import render_field_page

VINES = 60


def run(*, kills: int, seed: int, again: bool) -> dict[str, int]:
    """One list of vines under so many kills."""
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as driver:
        html = Path(folder) / "page.html"
        html.write_text(render_field_page(field_block(listed=VINES)), encoding="utf-8")
        phone = Phone(driver.chromium, html, Path(folder) / "profile")
        counted = weigh_while_killed(phone, vines=VINES, kills=kills, seed=seed, again=again)
        phone.close()
    return counted


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--kills", type=int, default=50)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--again", action="store_true", help="kill it up to three times more while it starts after a kill")
    given = parser.parse_args()
    print(run(kills=given.kills, seed=given.seed, again=given.again))


if __name__ == "__main__":
    main()
