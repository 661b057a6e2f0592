"""Check a built site: every link and picture leads to a file and anchor of it, and nothing is fetched from elsewhere.

Run as: python docs/check_links.py site
"""

from __future__ import annotations

import sys
from html.parser import HTMLParser
from pathlib import Path
from urllib.parse import unquote, urlsplit

FETCHED = {("script", "src"), ("img", "src"), ("link", "href"), ("iframe", "src"), ("source", "src")}


class Page(HTMLParser):
    """The links, fetched files and anchors of one page."""

    def __init__(self, path: Path) -> None:
        super().__init__()
        self.links: list[tuple[str, str]] = []
        self.anchors: set[str] = set()
        self.feed(path.read_text(encoding="utf-8"))

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Note what a tag leads to, and its own names."""
        for name, value in attrs:
            if name in ("id", "name") and value:
                self.anchors.add(value)
            elif name in ("href", "src") and value is not None and (tag == "a" or (tag, name) in FETCHED):
                self.links.append((tag, value))


def find_faults(site: Path) -> list[str]:
    """Return what is wrong with the links of a site."""
    pages = {path.resolve(): Page(path) for path in site.rglob("*.html")}
    faults = []
    for path, page in pages.items():
        for tag, link in page.links:
            fault = _fault(path, tag, link, pages, site.resolve())
            if fault:
                faults.append(f"{path.relative_to(site.resolve())}: {link}: {fault}")
    return faults


def _fault(path: Path, tag: str, link: str, pages: dict[Path, Page], site: Path) -> str:
    parts = urlsplit(link)
    if parts.scheme or parts.netloc:
        return "" if tag == "a" or link.startswith("data:") else "fetched from elsewhere"
    folder = site if parts.path.startswith("/") else path.parent
    target = path if not parts.path else (folder / unquote(parts.path).lstrip("/")).resolve()
    target = target / "index.html" if target.is_dir() else target
    if not target.exists() or not target.is_relative_to(site):
        return "leads nowhere"
    if parts.fragment and target in pages and unquote(parts.fragment) not in pages[target].anchors:
        return "there is no such anchor"
    return ""


if __name__ == "__main__":
    found = find_faults(Path(sys.argv[1]))
    print("\n".join(found) if found else f"{sys.argv[1]}: all links lead somewhere, nothing is fetched from elsewhere")
    sys.exit(bool(found))
