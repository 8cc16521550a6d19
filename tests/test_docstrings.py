"""Examples in docstrings give what stands below them."""

from __future__ import annotations

import doctest
from importlib import import_module
from pathlib import Path

import pytest

PACKAGE = Path(__file__).resolve().parents[1] / "zcd"
MODULES = [
    ".".join(path.relative_to(PACKAGE.parent).with_suffix("").parts)
    for path in sorted(PACKAGE.rglob("*.py"))
    if ">>> " in path.read_text(encoding="utf-8")
]


def test_there_are_examples() -> None:
    assert len(MODULES) > 40


@pytest.mark.parametrize("name", MODULES)
def test_examples_of_a_module(name: str) -> None:
    failed, tried = doctest.testmod(import_module(name))
    assert tried
    assert not failed
