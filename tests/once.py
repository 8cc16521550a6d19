"""What is asked of the same boards by many tests is worked out once in each process of a run.

Whoever tests that it is worked out alike twice, or what is said meanwhile, asks for `anew`.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Hashable
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

Answers = dict[Hashable, tuple[tuple[Any, ...], Any]]
KEPT: dict[str, Answers] = {name: {} for name in FUNCTIONS}


def _key(argument: Any) -> Hashable:
    if isinstance(argument, Board):  # equal boards may be told of in other words
        return argument, argument.read_as, argument.file, repr(argument.description)
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
    def kept(*arguments: Any, **named: Any) -> Any:
        key = tuple(map(_key, (*arguments, *named.items())))
        if key not in answers:
            if len(answers) >= MOST:
                answers.clear()
            # with its arguments, as another could get the identity of one that is gone
            answers[key] = arguments, do(*arguments, **named)
        return answers[key][1]

    return kept


def keep(patch: pytest.MonkeyPatch) -> None:
    """From now on."""
    for name, answers in KEPT.items():
        module, _, function = name.rpartition(".")
        patch.setattr(name, _once(getattr(import_module(module), function), answers))


def forget() -> None:
    """All that is kept."""
    for answers in KEPT.values():
        answers.clear()
