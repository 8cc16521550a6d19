"""Errors that zcd raises on purpose; the command line catches the one base class."""

from __future__ import annotations

from collections.abc import Sequence


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
