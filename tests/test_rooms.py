"""A room imports only from those above it in the list of DEVELOPERS.md, which has all of them."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import zcd

PACKAGE = Path(zcd.__file__).parent
LIST = (PACKAGE.parent / "DEVELOPERS.md").read_text(encoding="utf-8").split("```")[1]
NAMES = [
    name.removesuffix("/").removesuffix(".py")
    for line in re.findall(r"^  (\w[\w./, ]*?)(?:  |$)", LIST, re.MULTILINE)
    for name in line.split(", ")
]


def imported(path: Path) -> Iterator[str]:
    """What of `zcd` a module imports, also inside a function or for types alone."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom) and node.module is not None:
            first, _, rest = node.module.partition(".")
            if first == "zcd":
                yield from [rest.partition(".")[0]] if rest else (each.name for each in node.names)


def test_the_list_has_every_room() -> None:
    there = {path.stem for path in PACKAGE.glob("*.py")}
    there |= {path.name for path in PACKAGE.iterdir() if path.is_dir() and path.name[0] != "_"}
    assert set(NAMES) == there


def test_a_room_imports_only_from_those_above_it() -> None:
    rooms = [name for name in NAMES if (PACKAGE / name / "__init__.py").is_file()]
    assert len(rooms) > 10
    below = [
        (path.relative_to(PACKAGE).as_posix(), other)
        for number, room in enumerate(rooms)
        for path in sorted((PACKAGE / room).rglob("*.py"))
        for other in imported(path)
        if other in rooms[number + 1 :]
    ]
    assert not below
