"""A small invented block for the field page, and the finger that touches the page."""

from __future__ import annotations

import json
import math
from typing import Any

from geoprune.deliver.field import FieldBlock, FieldRow, FieldRun, FieldVine
from geoprune.signs import READ_SIGNS

LON, LAT = -79.5, 42.3
ROW_M, VINE_M = 2.7, 2.0
METRES = 111_320.0


def place(across: float, along: float) -> tuple[float, float]:
    """Longitude and latitude of a place `across` and `along` (m) from the first row's vine 1; rows run north."""
    return (LON + across / METRES / math.cos(math.radians(LAT)), LAT + along / METRES)


def field_block(
    rows: int = 12, vines: int = 40, *, listed: int = 60, name: str = "Invented Hill", **changed: Any
) -> FieldBlock:
    """An invented block: rows "1", "2", ...; a list of vines to weigh that walks up and down."""
    made = []
    for i in range(rows):
        line = (place(i * ROW_M, 0.0), place(i * ROW_M, (vines - 1) * VINE_M))
        half = vines // 2
        runs = (FieldRun(1, half, 1, 30, 1), FieldRun(half + 1, vines, 2, 40, 2))
        apart = {"gone": (3, 7, 8, 9), "renew": (12,)} if i == 1 else {}
        made.append(FieldRow(str(i + 1), 1, vines, line, runs, apart))
    per_row = -(-listed // rows)
    stops = [(i, k) for i in range(rows) for k in (range(per_row) if i % 2 == 0 else reversed(range(per_row)))][:listed]
    weigh = [FieldVine(n, str(i + 1), 2 + 3 * k) for n, (i, k) in enumerate(stops, start=1)]
    settings = {
        "season": 2027,
        "variety": "Concord",
        "rows": tuple(made),
        "weigh": tuple(weigh),
        "check": tuple(FieldVine(n, str(n), 5 * n) for n in range(1, 5)),
        "expected_kg": (0.2, 2.5),
        "signs": (READ_SIGNS,),
        "taped": True,
    }
    return FieldBlock(name, **(settings | changed))


#: Presses what lies uppermost in the middle of each button, so that a button that is covered is not pressed.
PRESS = """(keys) => keys.filter((key) => {
  const node = document.querySelector(`[data-key="${CSS.escape(key)}"]`);
  if (!node || node.disabled) return true;
  node.scrollIntoView({ block: "nearest" });
  const box = node.getBoundingClientRect();
  const top = document.elementFromPoint(box.left + box.width / 2, box.top + box.height / 2);
  if (!node.contains(top)) return true;
  node.focus();
  node.click();
  return false;
})"""


def tap(page: Any, *keys: str) -> None:
    """Press buttons by their keys, one after the other."""
    missed = page.evaluate(PRESS, list(keys))
    assert missed == [], missed


def enter(page: Any, text: str) -> None:
    """Touch a number on the page's own pad."""
    tap(page, *(f"pad-{digit}" for digit in text))


def wait_saved(page: Any) -> str:
    """Wait until the page says it has saved; return what it says."""
    page.wait_for_selector('#status[data-state="saved"]')
    return page.locator("#status").inner_text()


def log_told(page: Any) -> list[dict[str, Any]]:
    """Return all entries the page holds, from its text for copying."""
    if page.locator("#page").get_attribute("data-screen") != "home":
        tap(page, "home")
    tap(page, "export")
    return json.loads(page.locator("#text").input_value())["entries"]
