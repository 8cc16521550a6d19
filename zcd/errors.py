"""Errors that zcd raises on purpose; the command line catches the one base class."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, time

_LONGEST_SHOWN = 40


class ZcdError(Exception):
    """Base of all errors zcd raises on purpose.

    Attributes
    ----------
    exit_code : int
        What the command line returns for it.
    """

    exit_code = 1


class InputError(ZcdError, ValueError):
    """A value, key or file given by the user cannot be used."""

    exit_code = 2


class SolverError(ZcdError, RuntimeError):
    """The engine did not find a solution to its stated tolerance.

    Parameters
    ----------
    message : str
    rows : sequence of int
        Rows of the batch that have none; empty where that is not known.
    """

    exit_code = 3

    def __init__(self, message: str, rows: Sequence[int] = ()) -> None:
        super().__init__(message)
        self.rows = rows


class NoSimulatorError(ZcdError, RuntimeError):
    """No circuit simulator was found on this computer."""

    exit_code = 3


class SimulationError(ZcdError, RuntimeError):
    """The circuit simulator did not finish a run.

    Parameters
    ----------
    message : str
        One line, with the simulator's own words.
    deck : str
        The netlist it was given.
    """

    exit_code = 3

    def __init__(self, message: str, deck: str = "") -> None:
        super().__init__(message)
        self.deck = deck


def require(ok: bool, name: str, value: object, unit: str, rule: str) -> None:
    """Raise `InputError` in the one shape used everywhere: name, rule, value, unit."""
    if not ok:
        raise InputError(f"{name} must be {rule}, got {value!r} {unit}".rstrip())


def plain(text: str) -> str:
    """Text on one line: what a terminal or a drawing cannot show becomes a question mark."""
    return "".join(c if c.isprintable() else "?" for c in text)


def describe_value(value: object) -> str:
    """Say what stood in the file, short and on one line.

    Examples
    --------
    >>> describe_value("2,2k"), describe_value(True), describe_value([1])
    ('"2,2k"', 'true', 'a list')
    """
    shown = type(value).__name__
    if isinstance(value, str):
        text = plain(value[: _LONGEST_SHOWN + 1])
        shown = f'"{text if len(text) <= _LONGEST_SHOWN else text[:_LONGEST_SHOWN] + "..."}"'
    elif isinstance(value, bool):
        shown = str(value).lower()
    elif value is None:
        shown = "nothing"
    elif isinstance(value, int) and abs(value) >= 10**_LONGEST_SHOWN:
        shown = "a very large number"
    elif isinstance(value, int | float | date | time):
        shown = str(value)
    elif isinstance(value, Mapping):
        shown = "a table"
    elif isinstance(value, list | tuple):
        shown = "a list"
    return shown


def invalid_value(value: object, allowed: str, key: str = "") -> InputError:
    """Make the one error for a value that cannot be used: key, what was found, what is allowed."""
    return InputError(
        f"{key}{': ' if key else ''}found {describe_value(value)}; allowed: {allowed}"
    )
