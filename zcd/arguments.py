"""What the public functions are given: the wrong kind is one line, not an error from the inside."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from inspect import Parameter, Signature
from math import isfinite
from numbers import Integral, Real
from os import PathLike

from zcd.errors import InputError, invalid_value

PAPERS = {"a4": ("A4", "a4"), "letter": ("Letter", "us-letter")}
"""Sizes of paper by what a person calls them: what CSS does, and what Typst does."""
STORY_SECONDS = (1.0, 600.0)
"""Shortest and longest time that a story is followed. [s]"""
_OURS = {
    "Board": 'a board, as from zcd.load("board.toml")',
    "Drawer": "a drawer, as from zcd.loads_drawer",
    "Job": "a job",
    "Measured": "a reading",
    "Meter": "a zcd.Meter",
}


def _is_list(value: object) -> bool:
    """Whether it is several things; text is one."""
    return isinstance(value, Iterable) and not isinstance(value, str | bytes | Mapping)


def _is_number(value: object) -> bool:
    return isinstance(value, Real) and not isinstance(value, bool) and isfinite(value)


_KINDS: dict[str, tuple[Callable[[object], bool], str]] = {
    "None": (lambda value: value is None, ""),
    "str": (lambda value: isinstance(value, str), "text"),
    "Path": (lambda value: isinstance(value, PathLike), "a path"),
    "bool": (lambda value: isinstance(value, bool), "True or False"),
    "int": (lambda value: isinstance(value, Integral) and _is_number(value), "a whole number"),
    "float": (_is_number, "a number"),
    "Amounts": (lambda value: True, ""),  # read, and refused, as a quantity
    "ProgressBar": (callable, "such as zcd.progress.progress_bar"),
    "Collection[str]": (_is_list, "a list of texts"),
    "Sequence[str]": (_is_list, "a list of texts"),
    "Sequence[Measured]": (_is_list, "a list of readings"),
}


def require_kinds(signature: Signature, given: Mapping[str, object]) -> None:
    """Refuse arguments of another kind than a function's annotations say.

    Parameters
    ----------
    signature : Signature
        Annotations as text, alternatives divided by ``|``.
    given : mapping of str to object
        By name of the parameter.

    Raises
    ------
    InputError
        One line: the argument, what was found, what is allowed.
    """
    for name, value in given.items():
        parameter = signature.parameters[name]
        several = parameter.kind is Parameter.VAR_POSITIONAL
        for each in value if several and isinstance(value, tuple) else (value,):
            _require_kind(name, each, parameter.annotation.split(" | "))


def _require_kind(name: str, value: object, kinds: list[str]) -> None:
    if not any(_is_of(value, kind) for kind in kinds):
        words = [_OURS[kind] if kind in _OURS else _KINDS[kind][1] for kind in kinds]
        raise invalid_value(value, " or ".join(word for word in words if word), name)
    for element in (kind.partition("[")[2][:-1] for kind in kinds if kind.endswith("]")):
        for each in value if isinstance(value, Iterable) else ():
            _require_kind(name, each, [element])


def _is_of(value: object, kind: str) -> bool:
    if kind in _OURS:  # by name: what nobody asked for is not loaded
        return any(
            each.__name__ == kind and each.__module__.startswith("zcd.")
            for each in type(value).__mro__
        )
    return _KINDS[kind][0](value)


def require_range(name: str, value: float, low: float, high: float = float("inf")) -> None:
    """Refuse a number outside its range, both ends in it."""
    if not low <= value <= high:
        reach = f"{low:g} to {high:g}" if isfinite(high) else f"{low:g} or more"
        raise InputError(f"{name}: found {value:g}; allowed: {reach}")
