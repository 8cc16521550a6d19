"""An exercise: a fault that is hidden in a board, and what the appliance shows of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from zcd.board.files import board_from_dict
from zcd.board.model import Board, Topology
from zcd.board.starter import example_of
from zcd.circuit.build import build_circuit
from zcd.circuit.elements import Circuit
from zcd.diagnosis.circuit_edits import second_severity
from zcd.diagnosis.fault_dictionary import SAMPLES, faults_and_shares
from zcd.diagnosis.faults import HEALTHY, REPLACED, Fault
from zcd.diagnosis.likelihood import restless
from zcd.diagnosis.meters import Meter
from zcd.diagnosis.priors import FITTED, MISFITS
from zcd.diagnosis.samples import sample_circuits
from zcd.errors import InputError, invalid_value
from zcd.simulation.causes import Cause, Subsystem, causes_of, of_severity
from zcd.simulation.intermittent_contact import Pattern
from zcd.simulation.timeline import Story, stories_of

FloatArray = NDArray[np.float64]

LEVELS = {
    1: "a part that is open or shorted",
    2: "a part that has failed in any way: open, shorted, drifted, leaky, aged",
    3: "any one fault: parts, dirt, relay, supplies, mains, the controller's pin",
    4: "a fault that has a size, which may be small: drift, leak, ageing, low supply",
    5: "two faults, a loose joint, a part wrongly fitted, or a fault outside the sync circuit",
}
"""What may be hidden, by level."""
LOOSE_LEVEL = max(LEVELS)
"""The only one with joints that open now and then, and with two faults."""
HARD = ("pair", "loose", "misfit", "else")
"""Sorts of faults at the last level."""
MOST_SEED = 999_999
LIMITS = {"level": (min(LEVELS), max(LEVELS)), "seed": (0, MOST_SEED)}
TRIES = 60
"""Faults that are drawn until one shows: without a complaint no board comes to a bench."""
_FAN = {
    "drive not firing": ("triac not firing",),
    "fan not turning": ("run capacitor open", "main winding open", "rotor stalled", "tacho lost"),
}
"""What lies behind the faults that leave the sync circuit good."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Exercise:
    """A board with a hidden fault.

    Parameters
    ----------
    board : Board
        As it was designed.
    meter : Meter
        What the apprentice measures with.
    level, seed : int
        The same board, level, seed and meter make the same exercise.
    fault : Fault
        What is hidden.
    states : tuple of Circuit
        One row each; of a loose joint two, between which it changes.
    story : Story
        How the controller comes to its error flags.
    drawn : Circuit
        The board on the bench without the fault.
    sample : int
        Which of the samples of the fault dictionary board and meter are.
    severity : float
        Of the fault, 0 to 1.
    """

    board: Board
    meter: Meter
    level: int
    seed: int
    fault: Fault
    states: tuple[Circuit, ...]
    story: Story
    drawn: Circuit
    sample: int
    severity: float

    def left_with(self, faults: Sequence[Fault]) -> Exercise:
        """The exercise once the others of its faults are mended."""
        circuit = self.drawn
        for fault in faults:
            severity = np.array([self.severity])
            if fault.key in self.fault.members[1:]:
                severity = second_severity(severity)
            circuit = fault.edit(circuit, severity)
        return replace(self, states=(circuit,))

    @property
    def flags(self) -> tuple[str, ...]:
        """Error flags that the controller shows; ``none`` alone where it shows none."""
        return tuple(self.story.flags) or ("none",)

    @property
    def hidden(self) -> str:
        """What is hidden; where the sync circuit is good, what is behind it."""
        return self.story.cause.key if self.fault.key in _FAN else self.fault.key


def example_keys(seed: int) -> dict[str, Any]:
    """Keys of an invented board that a seed chooses, with a load relay as most have."""
    return {**example_of(list(Topology)[seed % len(Topology)]), "feed": {"kind": "switched"}}


def example_board(seed: int) -> Board:
    """The same as a board."""
    return board_from_dict(example_keys(seed))


def require_number(given: int | str, key: str) -> int:
    """A level or a seed, as a number.

    Raises
    ------
    InputError
        If there is none such.
    """
    low, high = LIMITS[key]
    text = str(given)
    is_whole = text.isascii() and text.isdigit() and len(text) <= len(str(MOST_SEED))
    if not (is_whole and low <= int(text) <= high):
        raise invalid_value(given, f"{low} to {high}", key)
    return int(text)


def make_exercise(board: Board, meter: Meter, level: int, seed: int) -> Exercise:
    """Hide a fault in a board.

    Parameters
    ----------
    board : Board
    meter : Meter
    level : int
        A key of `LEVELS`.
    seed : int
        From 0 to `MOST_SEED`.

    Returns
    -------
    exercise : Exercise

    Raises
    ------
    InputError
        If there is no such level or seed, or this board shows no fault of the level.

    Notes
    -----
    Faults are drawn by how often they occur (`zcd.diagnosis.priors`), at the last level the sorts
    of them evenly; sizes evenly. Only what raises an error flag is taken. Board and meter are one
    of the samples that the diagnosis knows of all that is unknown at a bench: what is said of a
    good board is true of each good part of this one.
    """
    require_number(level, "level")
    require_number(seed, "seed")
    rng = np.random.default_rng((seed, level))
    faults, shares = faults_and_shares(build_circuit(board))
    weights = hidden_weights(level, faults, shares)
    for _ in range(TRIES if weights.any() else 0):
        fault = faults[rng.choice(len(faults), p=weights / weights.sum())]
        severity = float(rng.random())
        (story,) = stories_of(board, [_cause(board, faults, fault, severity, rng)])
        if story.flags:
            may = restless(SAMPLES) if fault.states else np.ones(SAMPLES, dtype=bool)
            sample = int(rng.choice(np.flatnonzero(may)))
            drawn = sample_circuits(board, SAMPLES)[0].rows(np.array([sample]))
            edits = [_by_key(faults, key).edit for key in fault.states] or [fault.edit]
            return Exercise(
                board=board,
                meter=meter,
                level=level,
                seed=seed,
                fault=fault,
                states=tuple(edit(drawn, np.array([severity])) for edit in edits),
                story=story,
                drawn=drawn,
                sample=sample,
                severity=severity,
            )
    raise InputError(
        f"level: found no fault of level {level} that this board shows; allowed: another level"
    )


def hidden_weights(level: int, faults: Sequence[Fault], shares: FloatArray) -> FloatArray:
    """How likely a level hides each of some faults.

    Parameters
    ----------
    level : int
    faults : sequence of Fault
    shares : ndarray, shape (F,)
        Their prior probabilities.

    Returns
    -------
    weights : ndarray, shape (F,)
        Not normalised; 0 for what the level does not hide.
    """
    if level == LOOSE_LEVEL:
        sorts = np.array([_sort(fault) for fault in faults])
        of_sort = {sort: shares[sorts == sort].sum() for sort in HARD}
        return np.array(
            [w / of_sort[s] if s in of_sort else 0.0 for s, w in zip(sorts, shares, strict=True)]
        )
    may = [_sort(f) == "" and _is_of(level, f) for f in faults]
    return np.where(may, shares, 0.0)


def may_be_part_of(level: int, fault: Fault) -> bool:
    """Whether a level hides a single fault, alone or beside another."""
    return level == LOOSE_LEVEL or (_sort(fault) == "" and _is_of(level, fault))


def _sort(fault: Fault) -> str:
    """What makes a fault one of the last level; empty for an ordinary single one."""
    if fault.key == HEALTHY.key:
        return "healthy"
    if fault.kind in FITTED and fault.mode in MISFITS:
        return "misfit"
    if fault.reports:
        return "else"
    if fault.joint is not None:
        return "joint"  # the bench of the exercise puts its probes on points, not on leads
    return "pair" if fault.members else "loose" if fault.states else ""


def _is_of(level: int, fault: Fault) -> bool:
    """Whether a single fault is one of a level below the last."""
    part = fault.mode in REPLACED.get(fault.kind, ())
    return {
        1: part and fault.mode in ("open", "short"),
        2: part,
        3: True,
        4: fault.amount is not None,
    }[level]


def _cause(
    board: Board, faults: Sequence[Fault], fault: Fault, severity: float, rng: np.random.Generator
) -> Cause:
    """What the story of a fault begins with."""
    if fault.reports:
        causes = {cause.key: cause for cause in causes_of(board)}
        return causes[str(rng.choice(_FAN.get(fault.key, (fault.key,))))]
    pattern = Pattern.HEAT if fault.states else None
    if fault.states:
        fault = _by_key(faults, fault.states[-1])
    cause = Cause(key=fault.key, fault=fault, subsystem=Subsystem.SYNC, pattern=pattern)
    return of_severity(cause, severity)


def _by_key(faults: Sequence[Fault], key: str) -> Fault:
    return next(fault for fault in faults if fault.key == key)
