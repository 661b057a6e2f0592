"""Write the licences of what geoprune runs on into docs/licences.md: `make licences`."""

from __future__ import annotations

import re
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT / ".ci" / "supply"))
from components import components  # noqa: E402

PAGE = ROOT / "docs" / "licences.md"
START, END = "<!-- packages: made by .ci/supply/licences.py -->", "<!-- end of packages -->"


def table() -> str:
    """Return the table in Markdown: package, version, licence, native libraries in it."""
    lines = ["| package | version | licence (SPDX) | native libraries in its wheels |", "|---|---|---|---|"]
    lines += [f"| {one.name} | {one.version} | {one.licence} | {one.native} |" for one in components()]
    return "\n".join(lines)


def page_with_table(page: str) -> str:
    """Return the page with its table made anew."""
    return re.sub(f"{START}.*{END}", lambda _: f"{START}\n\n{table()}\n\n{END}", page, flags=re.DOTALL)


if __name__ == "__main__":
    PAGE.write_text(page_with_table(PAGE.read_text("utf-8")), "utf-8")
