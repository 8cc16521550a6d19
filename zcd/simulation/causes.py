"""Causes: what can be wrong with the sync circuit, the drive or the fan, as a story needs it."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from difflib import get_close_matches
from enum import StrEnum
from typing import NamedTuple

import numpy as np

from zcd.board.model import Board
from zcd.board.units import require_part
from zcd.circuit.build import build_circuit
from zcd.diagnosis.circuit_edits import Amount
from zcd.diagnosis.faults import HEALTHY, Fault, faults_of
from zcd.errors import InputError, plain
from zcd.simulation.gate import Switch
from zcd.simulation.intermittent_contact import Pattern

SIZES = (1 / 6, 1 / 2, 5 / 6)
"""Severities at which a fault that has a size is told."""
MIDDLE = 0.5
WEAK_CAPACITOR = (0.9, 0.2)
"""What is left of a run capacitor."""
STIFF_BEARING = (0.1, 3.0)
"""Friction over the torque that the motor has at full speed."""


class Subsystem(StrEnum):
    """Where a cause lies, by what has to be measured to find it."""

    FEED = "feed side"
    SYNC = "sync circuit"
    FAN = "fan side"
    NONE = "nowhere"


FEED_KINDS = ("mains", "contact", "coil", "driver", "suppressor")
DEAF_KIND = "controller"
OF_DRIVE = {
    "drive open": "triac not firing",
    "drive short": "triac short",
    "drive one half cycle only": "triac fires one half cycle only",
    "drive zero-cross coupler": "zero-cross coupler fitted",
}
"""What the trade calls the faults of the fan's drive."""
FORMER = {
    **OF_DRIVE,
    "drive one half": "triac fires one half cycle only",
    "drive zero-cross part": "zero-cross coupler fitted",
}
"""Names that earlier versions had for causes; they are still understood."""
LOOSE_SHARE = 0.1
"""Loose parts and joints over open ones, each pattern: common practice, no source."""


class Condition(NamedTuple):
    """State of drive, motor and tacho; the defaults are those of a good one.

    `bearing_ratio` is friction over the torque at full speed, None: that of a good bearing;
    `pulses_ratio` is tacho pulses that come over those that should; a `deaf` controller sees no
    sync pulse, however good.
    """

    switch: Switch = Switch.GOOD
    zero_cross: bool = False
    capacitor_ratio: float = 1.0
    main_open: bool = False
    start_open: bool = False
    bearing_ratio: float | None = None
    pulses_ratio: float = 1.0
    deaf: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Cause:
    """One thing that is wrong, at one size.

    Parameters
    ----------
    key : str
        Such as ``R2 drift``.
    fault : Fault
        Its words, its prior, and its edit on the circuit.
    subsystem : Subsystem
    severity : float
        0 to 1, where the fault has a size.
    pattern : Pattern or None
        When it comes and goes; None: it is there all the time.
    condition : Condition
        Of drive and fan.
    share_ratio : float
        Of the fault's prior.
    """

    key: str
    fault: Fault
    subsystem: Subsystem
    severity: float = MIDDLE
    pattern: Pattern | None = None
    condition: Condition = field(default_factory=Condition)
    share_ratio: float = 1.0

    @property
    def words(self) -> str:
        """What is wrong and what to do about it."""
        if self.pattern is not None:
            return f"{self.fault.part} {_LOOSE_WORDS[self.pattern]}"
        return self.fault.words

    @property
    def amount(self) -> float | None:
        """The size in the fault's unit; None where it has none."""
        size = self.fault.amount
        return None if size is None else float(size(np.array(self.severity)))


def causes_of(board: Board) -> tuple[Cause, ...]:
    """All causes of a board, each fault with a size at its middle; ``healthy`` first.

    Parameters
    ----------
    board : Board

    Returns
    -------
    causes : tuple of Cause
    """
    faults = [f for f in faults_of(build_circuit(board)) if not _told_finer(f)]
    result = [
        Cause(
            key=f.key,
            fault=f,
            subsystem=_subsystem(f),
            condition=Condition(deaf=f.kind == DEAF_KIND),
        )
        for f in faults
    ]
    result += [cause for fault in faults for cause in _that_come_and_go(fault)]
    return (*result, *_outside())


def sizes_of(cause: Cause) -> tuple[Cause, ...]:
    """The same cause at small, middle and large size; alone where it has none."""
    if cause.fault.amount is None:
        return (cause,)
    return tuple(of_severity(cause, severity) for severity in SIZES)


def of_severity(cause: Cause, severity: float) -> Cause:
    """The same cause at another severity."""
    cause, condition = replace(cause, severity=severity), cause.condition
    match cause.fault.kind, cause.amount:
        case "run capacitor", float(left):
            condition = condition._replace(capacitor_ratio=left)
        case "bearing", float(friction):
            condition = condition._replace(bearing_ratio=friction)
    return replace(cause, condition=condition)


def of_amount(cause: Cause, amount: float) -> Cause:
    """The same cause at a size given in the fault's unit.

    Raises
    ------
    InputError
        If it has no size, or not this one.
    """
    size = cause.fault.amount
    if size is None:
        raise InputError(f"amount: found {amount:g}; allowed: none, {cause.key} has no size")
    grid = np.linspace(0.0, 1.0, 1001)
    sizes = np.asarray(size(grid), dtype=float)
    if not sizes.min() <= amount <= sizes.max():
        unit = f" {cause.fault.unit}" if cause.fault.unit else ""
        raise InputError(
            f"amount: found {amount:g}; allowed: {sizes.min():.3g} to {sizes.max():.3g}{unit} "
            f"for {cause.key}"
        )
    order = np.argsort(sizes)
    return of_severity(cause, float(np.interp(amount, sizes[order], grid[order])))


def find_cause(board: Board, key: str) -> Cause:
    """The cause of this key.

    Parameters
    ----------
    board : Board
    key : str
        Case and spaces do not matter; what a meter shows will do for an open part, and the names
        that earlier versions had.

    Raises
    ------
    InputError
        If there is none; the nearest is suggested.
    """
    causes = {_folded(cause.key): cause for cause in causes_of(board)}
    typed = _folded(key)
    said = _GONE_HIGH.sub("drift", typed)
    for each in (typed, _OPEN.sub("open", typed), said, FORMER.get(typed, "")):
        if each in causes:
            return causes[each]
    require_part(key, (cause.key for cause in causes_of(board)), "cause ")
    near = get_close_matches(typed, causes, n=1, cutoff=0.5)
    hint = f' (did you mean "{causes[near[0]].key}"?)' if near else ""
    shown = plain(key[:40])
    raise InputError(
        f'cause: found "{shown}"; allowed: a cause that zcd story BOARD --all lists{hint}'
    )


_OPEN = re.compile(r"\b(?:ol|burnt|blown)$")
_GONE_HIGH = re.compile(r"\bgone high$")
"""What people say of an open part."""


def _folded(key: str) -> str:
    return " ".join(key.split()).casefold()


def _told_finer(fault: Fault) -> bool:
    """Faults that come and go, or lie at drive and fan: a story tells them in its own way. What an
    open joint does, an open part does too."""
    return (bool(fault.states) and fault.kind != DEAF_KIND) or fault.joint is not None


def _subsystem(fault: Fault) -> Subsystem:
    if fault.kind == "healthy":
        return Subsystem.NONE
    feeds = fault.kind in FEED_KINDS or fault.part == "coil supply"
    return Subsystem.FEED if feeds else Subsystem.SYNC


LOOSE_KINDS = ("resistor", "diode", "led", "phototransistor", "contact")
_LOOSE_WORDS = {
    Pattern.HEAT: "opens when it gets warm and closes when it has cooled: with the plug pulled, "
    "look at its joints with a lens, reflow them, then replace it",
    Pattern.SHAKE: "opens for moments when it is shaken: with the plug pulled, look at its joints "
    "with a lens, reflow them",
    Pattern.BOUNCE: "bounces for long after it has closed: worn, burnt or dirty; replace the relay",
}


def _that_come_and_go(fault: Fault) -> Iterator[Cause]:
    """A part or joint that is now sound, now open."""
    if fault.mode != "open" or fault.kind not in LOOSE_KINDS:
        return
    patterns = [Pattern.HEAT, Pattern.SHAKE]
    patterns += [Pattern.BOUNCE] if fault.kind == "contact" else []
    for pattern in patterns:
        yield Cause(
            key=f"{fault.part} {pattern}",
            fault=fault,
            subsystem=_subsystem(fault),
            pattern=pattern,
            share_ratio=LOOSE_SHARE,
        )


def _outside() -> Iterator[Cause]:
    """Faults of drive, fan and tacho, which leave the sync circuit as a good one."""
    for part, kind, mode, words, condition in (
        (
            "drive", "triac", "open",
            "the triac never fires: measure it, its coupler, the gate's resistor, the controller's "
            "pin",
            Condition(switch=Switch.OPEN),
        ),
        (
            "drive", "triac", "short",
            "the triac is shorted: replace it; the fan runs at full speed whatever the controller "
            "does",
            Condition(switch=Switch.SHORT),
        ),
        (
            "drive", "triac", "one half cycle only",
            "the triac fires in one half cycle only (the motor hums and heats); replace triac or "
            "coupler",
            Condition(switch=Switch.ONE_HALF),
        ),
        (
            "drive", "triac", "zero-cross coupler",
            "the coupler switches at zero crossings only and cannot fire late in a half cycle: fit "
            "a random-phase one",
            Condition(zero_cross=True),
        ),
        (
            "run capacitor", "run capacitor", "open", "the run capacitor is open: replace it",
            Condition(capacitor_ratio=0.0),
        ),
        (
            "run capacitor", "run capacitor", "short", "the run capacitor is shorted: replace it",
            Condition(capacitor_ratio=float("inf")),
        ),
        (
            "main winding", "winding", "open",
            "the main winding is open (or its lead, or its thermal cut-out): replace the motor",
            Condition(main_open=True),
        ),
        (
            "start winding", "winding", "open",
            "the start winding is open (or its lead): replace the motor",
            Condition(start_open=True),
        ),
        (
            "rotor", "bearing", "stalled",
            "the rotor does not turn: something blocks it, or its bearing is seized",
            Condition(bearing_ratio=float("inf")),
        ),
        (
            "tacho", "tacho", "lost",
            "no tacho pulses come: its sensor, magnet, supply or lead; the fan itself turns",
            Condition(pulses_ratio=0.0),
        ),
        (
            "tacho", "tacho", "twice the pulses",
            "the tacho gives twice the pulses (a motor of another type): the fan runs too slow",
            Condition(pulses_ratio=2.0),
        ),
    ):  # fmt: skip
        key = f"{part} {mode}"
        fault = Fault(
            key=OF_DRIVE.get(key, key), part=part, kind=kind, mode=mode, words=words,
            edit=HEALTHY.edit,
        )  # fmt: skip
        yield Cause(key=fault.key, fault=fault, subsystem=Subsystem.FAN, condition=condition)
    yield from _with_a_size()


def _with_a_size() -> Iterator[Cause]:
    weak = Fault(
        key="run capacitor weak", part="run capacitor", kind="run capacitor", mode="weak",
        words="the run capacitor has lost capacitance: replace it",
        edit=HEALTHY.edit, amount=_spread(WEAK_CAPACITOR), unit="x",
    )  # fmt: skip
    stiff = Fault(
        key="bearing stiff", part="bearing", kind="bearing", mode="stiff",
        words="the bearing is stiff (dry, worn, bent): turn it by hand, with the plug pulled",
        edit=HEALTHY.edit, amount=_spread(STIFF_BEARING), unit="x",
    )  # fmt: skip
    for fault in (weak, stiff):
        yield of_severity(Cause(key=fault.key, fault=fault, subsystem=Subsystem.FAN), MIDDLE)


def _spread(ends: tuple[float, float]) -> Amount:
    """Severity 0 to 1 spread evenly in logs."""
    low, high = ends
    return lambda u: low * (high / low) ** u
