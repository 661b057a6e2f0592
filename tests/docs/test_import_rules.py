"""The picture in DEVELOPERS.md: who may import whom, and which library lives in which room."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]


def import_table() -> dict[str, tuple[set[str], set[str]]]:
    """Room -> (rooms it may import, libraries that live there), from the table."""
    rooms = {}
    for line in (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8").splitlines():
        cells = [cell.strip() for cell in line.strip().strip("|").split("|")]
        if line.startswith("| `") and len(cells) == 4:
            listed = [{word.strip() for word in cell.split(",") if word.strip()} for cell in cells[2:]]
            rooms[cells[0].strip("`")] = (listed[0], listed[1])
    return rooms


RULES = import_table()
HOMES: dict[str, set[str]] = {}
for _room, (_, _libraries) in RULES.items():
    for _library in _libraries:
        HOMES.setdefault(_library, set()).add(_room)


def room_of(path: Path) -> str:
    return room_named(".".join(path.relative_to(ROOT).with_suffix("").parts))


def room_named(module: str) -> str:
    """The room a module stands in: a folder within a room where the table names it ("deliver/maps"), else the first."""
    first, *rest = module.split(".")[1:]
    inner = f"{first}/{rest[0]}" if rest else first
    return inner if inner in RULES else first


def imports(node: ast.AST) -> Iterator[str]:
    """Modules imported anywhere below a node, not counting what is for type checkers only."""
    for child in ast.iter_child_nodes(node):
        if isinstance(child, ast.Import):
            yield from (name.name for name in child.names)
        elif isinstance(child, ast.ImportFrom):
            if child.module == "geoprune":
                yield from (f"geoprune.{name.name}" for name in child.names)
            else:
                yield child.module or ""
        elif not (isinstance(child, ast.If) and "TYPE_CHECKING" in ast.dump(child.test)):
            yield from imports(child)


def modules() -> list[Path]:
    return [
        path
        for path in sorted((ROOT / "geoprune").rglob("*.py"))
        if path.parent.name not in ("geoprune", "deliver") or path.name != "__init__.py"
    ]


def test_every_room_is_in_the_picture():
    assert {room_of(path) for path in modules()} <= set(RULES)


@pytest.mark.parametrize("path", modules(), ids=lambda path: str(path.relative_to(ROOT)))
def test_rooms_import_only_what_they_may(path):
    room = room_of(path)
    found = list(imports(ast.parse(path.read_text(encoding="utf-8"))))
    rooms = {room_named(name) for name in found if name.startswith("geoprune.")} - {room}
    assert rooms <= RULES[room][0], f"{path.name} imports {rooms - RULES[room][0]}"
    strangers = {name.split(".")[0] for name in found if room not in HOMES.get(name.split(".")[0], {room})}
    assert not strangers, f"{path.name} imports {strangers}"


def test_no_room_imports_one_that_imports_it():
    def reach(room: str, seen: set[str]) -> set[str]:
        for other in RULES[room][0] - seen:
            seen |= {other} | reach(other, seen | {other})
        return seen

    assert [room for room in RULES if room in reach(room, set())] == []


def test_the_picture_promises_no_more_than_is_there():
    there: dict[str, set[str]] = {}
    for path in modules():
        found = {name.split(".")[0] for name in imports(ast.parse(path.read_text(encoding="utf-8")))}
        there[room_of(path)] = there.get(room_of(path), set()) | found
    assert {room: RULES[room][1] - found for room, found in there.items() if RULES[room][1] - found} == {}
