"""What is asked of the same boards by many tests is worked out once in each process of a run.

A board of another file differs only in the command that is to be typed next: the answer about the
one is the answer about the other, with the other's file in it.

Whoever tests that it is worked out alike twice, or what is said meanwhile, asks for `anew`.
"""

from __future__ import annotations

import operator
import sys
from collections.abc import Callable, Collection, Hashable
from dataclasses import fields, is_dataclass, replace
from functools import wraps
from importlib import import_module
from typing import Any

import pytest

from zcd.board.model import Board

FUNCTIONS = (
    "zcd.margin.check.nominal_check",
    "zcd.margin.spread.spread_of",
    "zcd.margin.spread.remedies_of",
    "zcd.margin.loss_map.loss_map",
    "zcd.margin.loss_share.loss_share",
    "zcd.simulation.flags.all_stories",
)
"""They take seconds, give the same for the same, and nobody changes what they give."""
MOST = 200
"""Results that are kept of each."""

Answers = dict[Hashable, tuple[tuple[Any, ...], dict[str, Any]]]
"""With what was asked, the answer about a board of each file."""
KEPT: dict[str, Answers] = {name: {} for name in FUNCTIONS}
apart = ""
"""Answers found under other circumstances are kept apart."""


def _key(argument: Any) -> Hashable:
    if isinstance(argument, Board):  # equal boards may be told of in other words
        return argument, argument.read_as, repr(argument.description)
    if isinstance(argument, Collection) and not isinstance(argument, str):
        each = map(_key, argument)
        return frozenset(each) if isinstance(argument, set | frozenset) else tuple(each)
    try:
        hash(argument)
    except TypeError:
        return ("the very same", id(argument))
    return argument


def _once(do: Callable[..., Any], answers: Answers) -> Callable[..., Any]:
    @wraps(do)
    def kept(board: Board, *arguments: Any, **named: Any) -> Any:
        asked = (board, *arguments, *named.items())
        key = (apart, *map(_key, asked))
        if key not in answers:
            if len(answers) >= MOST:
                answers.clear()
            # with its arguments, as another could get the identity of one that is gone
            answers[key] = asked, {board.file: do(board, *arguments, **named)}
        of_files = answers[key][1]
        if board.file not in of_files:
            of_files[board.file] = _of_file(next(iter(of_files.values())), board.file)
        return of_files[board.file]

    return kept


def _of_file(answer: Any, file: str) -> Any:
    """The same with all boards in it those of a file; itself where there are none."""
    if isinstance(answer, Board):
        return replace(answer, file=file)
    if type(answer) is tuple:
        each = tuple(_of_file(one, file) for one in answer)
        return answer if all(map(operator.is_, each, answer)) else each
    if not is_dataclass(answer):
        return answer
    parts = {each.name: getattr(answer, each.name) for each in fields(answer) if each.init}
    changed = {name: _of_file(part, file) for name, part in parts.items()}
    changed = {name: part for name, part in changed.items() if part is not parts[name]}
    return replace(answer, **changed) if changed else answer


def keep(patch: pytest.MonkeyPatch) -> None:
    """From now on, also where a module has taken one by its name."""
    for name, answers in KEPT.items():
        module, _, function = name.rpartition(".")
        do = getattr(import_module(module), function)
        kept = _once(do, answers)
        for loaded, each in list(sys.modules.items()):
            if loaded.startswith("zcd.") and vars(each).get(function) is do:
                patch.setattr(each, function, kept)


def forget() -> None:
    """All that is kept."""
    for answers in KEPT.values():
        answers.clear()
