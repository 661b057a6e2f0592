"""Pictures of the documentation, made from the results of `make demo`.

Run as: python docs/make_pictures.py demo_results docs/pictures
Needs headless Chromium (Debian's chromium) for the pages and pdftoppm (Debian's poppler-utils) for the sheets.
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
from pathlib import Path

from PIL import Image
from playwright.sync_api import Browser, sync_playwright

BLOCK = "creek-bend"
LARGEST_BYTES = 200_000
PAGES = {
    "estate": ("index.html", 1280, 860),
    "map": (f"{BLOCK}/map.html", 1280, 860),
    "phone": (f"{BLOCK}/map.html", 380, 760),
}
PRINTED = {"sheet": ("crew_sheet.pdf", 1), "rows": ("crew_sheet.pdf", 2), "card": ("crew_card.pdf", 1)}
FLAGS = ("--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking")


def take(
    browser: Browser, page: Path, target: Path, *, width: int, height: int, wait_for: str = "html[data-ready=yes]"
) -> None:
    """Photograph a page once it says it is ready, with no network."""
    context = browser.new_context(viewport={"width": width, "height": height}, offline=True)
    opened = context.new_page()
    opened.goto(page.resolve().as_uri())
    opened.wait_for_selector(wait_for, timeout=30_000)
    opened.wait_for_timeout(400)
    opened.screenshot(path=target)
    context.close()


def print_page(pdf: Path, number: int, target: Path) -> None:
    """Draw one page of a PDF."""
    stem = target.with_suffix("")
    command = ["pdftoppm", "-png", "-r", "80", "-f", str(number), "-l", str(number), "-singlefile", str(pdf), str(stem)]
    subprocess.run(command, check=True)


def shrink(picture: Path, target: Path) -> int:
    """Save with few colours, fewer until it is small enough; return its bytes."""
    whole = Image.open(picture).convert("RGB")
    for colors in (128, 64, 32, 16):
        whole.quantize(colors, dither=Image.Dither.NONE).save(target, optimize=True)
        if target.stat().st_size <= LARGEST_BYTES:
            break
    return target.stat().st_size


def main(results: Path, pictures: Path) -> None:
    """Make all pictures."""
    pictures.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as work, sync_playwright() as driver:
        folder = Path(work)
        browser = driver.chromium.launch(executable_path="/usr/bin/chromium", args=list(FLAGS))
        for name, (page, width, height) in PAGES.items():
            take(browser, results / page, folder / f"{name}.png", width=width, height=height)
        report = results / BLOCK / "report.html"
        take(browser, report, folder / "report.png", width=1000, height=1000, wait_for="body")
        browser.close()
        for name, (pdf, number) in PRINTED.items():
            print_page(results / BLOCK / pdf, number, folder / f"{name}.png")
        for picture in sorted(folder.glob("*.png")):
            print(f"{picture.name}: {shrink(picture, pictures / picture.name) / 1000:.0f} kB")


if __name__ == "__main__":
    main(Path(sys.argv[1]), Path(sys.argv[2]))
