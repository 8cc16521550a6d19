"""Examples in docstrings give what stands below them."""

from __future__ import annotations

import doctest
import os
from collections.abc import Callable
from importlib import import_module
from inspect import isfunction
from pathlib import Path

import pytest

import zcd
from zcd.diagnosis.case import Case
from zcd.results import Picture, Result
from zcd.spice.library import library_path
from zcd.sync.solved import Solved

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
    runner = doctest.DocTestRunner()
    for each in doctest.DocTestFinder().find(import_module(name)):
        if each.name != "zcd.api.compare_spice" or has_simulator():
            runner.run(each)
    failed, tried = runner.summarize(verbose=False)
    assert tried
    assert not failed


def has_simulator() -> bool:
    """Whether ngspice is here; with `CI` set it has to be."""
    return bool(os.environ.get("CI")) or library_path() is not None


@pytest.mark.parametrize("name", zcd.__all__)
def test_the_public_face_has_examples_and_says_what_it_raises(name: str) -> None:
    offered = getattr(zcd, name)
    if isfunction(offered):
        assert ">>> " in (offered.__doc__ or "")
        assert "Raises\n" in (offered.__doc__ or "")


@pytest.mark.parametrize(
    "method",
    [
        Result.table, Result.to_dict, Result.plot, Result.picture, Picture.save, Solved.voltage,
        Solved.current, Case.add,
    ],
)  # fmt: skip
def test_methods_of_results_have_examples(method: Callable[..., object]) -> None:
    assert ">>> " in (method.__doc__ or "")
