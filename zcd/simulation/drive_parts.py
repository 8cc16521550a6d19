"""Which coupler, driver or triac may switch the fan of a board."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from zcd.board.drawer import Drawer
from zcd.board.drive_parts import DrivePart, every_drive_part, read
from zcd.board.model import Board
from zcd.margin.rules import Rule, limit_rule, without_number
from zcd.physics.motor import run
from zcd.physics.triac import derated_current_a, free_air_current_a, reapplied_slope_v_per_s
from zcd.refdata import default
from zcd.results import Result
from zcd.simulation.drive import appliance_of, motor_of
from zcd.substitutes.search import DRIVE, Substitutes, substitutes

ZERO_CROSS_REASON = (
    "it fires only where the mains crosses zero, so that it lets whole half cycles through, or "
    "none: phase control asks it to fire later, and the fan would run at full speed or not at all"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class SwitchNeed:
    """What the fan asks of the part that switches it.

    Parameters
    ----------
    running_a, blocked_a : float
        Rms at high mains: at full speed, and with the rotor held.
    peak_v : float
        Of high mains.
    slope_v_per_s : float
        Rise of the voltage across the switch when the fan's current ends, without a snubber.
    ambient_degc : float
    """

    running_a: float
    blocked_a: float
    peak_v: float
    slope_v_per_s: float
    ambient_degc: float


@dataclass(frozen=True, slots=True, kw_only=True, repr=False)
class Replacements(Result):
    """Parts to fit in place of others.

    Parameters
    ----------
    found : Substitutes
        In the sync circuit.
    drive : Switches or None
        For the fan; None: not asked for.
    """

    found: Substitutes
    drive: Switches | None

    @property
    def all_found(self) -> bool:
        """Whether there is something for every part that was asked for."""
        return self.found.all_found and (self.drive is None or self.drive.any_fits)


@dataclass(frozen=True, slots=True, kw_only=True)
class Switches:
    """Parts held against what the fan asks."""

    need: SwitchNeed
    fits: tuple[SwitchFit, ...]

    @property
    def any_fits(self) -> bool:
        """Whether there is one that fits."""
        return any(fit.fits for fit in self.fits)


@dataclass(frozen=True, slots=True, kw_only=True)
class SwitchFit:
    """A part held against that.

    Parameters
    ----------
    part : DrivePart
    rules : tuple of Rule
        Those for which its figures are known.
    unread : tuple of str
        Figures that the tables lack: to be looked up in its sheet.
    """

    part: DrivePart
    rules: tuple[Rule[float], ...]
    unread: tuple[str, ...]

    @property
    def fits(self) -> bool:
        """Whether no known figure speaks against it."""
        return all(rule.passes for rule in self.rules)

    @property
    def first_failed(self) -> Rule[float] | None:
        """The first rule that it does not keep."""
        return next((rule for rule in self.rules if not rule.passes), None)


def switch_need(board: Board) -> SwitchNeed:
    """What the fan described in a board's file (or assumed) asks of its switch.

    Parameters
    ----------
    board : Board

    Returns
    -------
    need : SwitchNeed
    """
    mains = board.mains
    motor = motor_of(board)
    running = run(motor, appliance_of(board).fan.full_rpm, mains.high_rms_v)
    blocked = run(motor, 0.0, mains.high_rms_v)
    current = complex(running.line_a)
    lag = max(-float(np.angle(current)), 0.0)
    reactance = mains.high_rms_v / abs(current) * np.sin(lag)
    inductance = reactance / (2.0 * np.pi * mains.frequency_hz)
    peak_v = np.sqrt(2.0) * mains.high_rms_v
    slope = reapplied_slope_v_per_s(peak_v, lag, inductance, default("drive.stray").value)
    return SwitchNeed(
        running_a=abs(current),
        blocked_a=abs(complex(blocked.line_a)),
        peak_v=float(peak_v),
        slope_v_per_s=float(slope) if lag > 0.0 else 0.0,
        ambient_degc=board.service.hot_degc,
    )


def replacements(
    board: Board, drawer: Drawer, refs: Sequence[str] = (), *, others: bool = False
) -> Replacements:
    """Search a drawer for parts to fit in place of others, the fan's drive included.

    Parameters
    ----------
    board : Board
    drawer : Drawer
        Kinds of which it lists nothing are taken from the tables.
    refs : sequence of str
        Of the parts to be replaced; none: every part in turn, `DRIVE` only where the board file
        describes a fan or its drive, or the drawer holds such parts.
    others : bool
        Also propose parts with which something changes.

    Returns
    -------
    replacements : Replacements

    Raises
    ------
    InputError
        If a part is unknown.
    """
    drive = None
    described = board.tells_of_fan or bool(drawer.drive_parts)
    if DRIVE in refs or (not refs and described):
        drive = switches(board, drawer.drive_parts or every_drive_part())
    return Replacements(found=substitutes(board, drawer, refs, others=others), drive=drive)


def switches(board: Board, parts: Sequence[DrivePart]) -> Switches:
    """Hold parts against what the fan of a board asks.

    Parameters
    ----------
    board : Board
    parts : sequence of DrivePart

    Returns
    -------
    switches : Switches
        Those that fit first, the smallest that does before larger ones.
    """
    need = switch_need(board)
    result = []
    for part in dict.fromkeys(parts):
        rules = tuple(_rules(part, need))
        result.append(SwitchFit(part=part, rules=rules, unread=tuple(_unread(part))))
    kinds = {"coupler": 0, "triac": 1, "driver": 2}
    result.sort(
        key=lambda fit: (
            not fit.fits,
            kinds[fit.part.kind],
            np.nan_to_num(fit.part.current_a),
            fit.part.part,
        )
    )
    return Switches(need=need, fits=tuple(result))


def allowed_current_a(part: DrivePart, ambient_degc: float) -> tuple[float, str]:
    """Rms current that a part may carry at an ambient temperature, and where that comes from."""
    if part.kind == "triac":
        values = [default(f"drive.triac_{name}") for name in ("on", "thermal", "junction")]
        on, thermal, junction = (value.value for value in values)
        free = float(free_air_current_a(on, thermal, ambient_degc, junction))
        source = (
            f"{part.source}; without a heat sink {thermal:g} K/W, {on:g} V, {junction:g} °C: "
            f"{values[1].why}"
        )
        return min(part.current_a, free), source
    full, zero = default("drive.derate_from"), default("drive.derate_to")
    written = read(part.full_degc) and read(part.zero_degc)
    ends = (part.full_degc, part.zero_degc) if written else (full.value, zero.value)
    source = part.source
    if not written:
        source += f"; derated from {ends[0]:g} °C to nothing at {ends[1]:g} °C: {full.why}"
    return float(derated_current_a(part.current_a, ambient_degc, *ends)), source


def _rules(part: DrivePart, need: SwitchNeed) -> Iterator[Rule[float]]:
    """Rules for which the part's figures are known, the gravest first."""
    if part.mode != "gate":
        fires = part.mode != "zero-cross"
        yield without_number(
            "phase control", np.inf if fires else -np.inf, "how such a part works",
            remark="" if fires else ZERO_CROSS_REASON,
        )  # fmt: skip
    if read(part.current_a) and part.kind != "driver":
        limit, source = allowed_current_a(part, need.ambient_degc)
        yield limit_rule(
            "current", float(max(need.running_a, need.blocked_a)), limit, "A", source,
            remark="with the rotor blocked, which may last for hours",
        )  # fmt: skip
    if read(part.off_state_v):
        asked = default("drive.voltage_ratio")
        yield limit_rule(
            "off-state voltage", part.off_state_v, asked.value * need.peak_v, "V",
            f"{asked.value:g} times the peak of high mains ({asked.why})",
            at_least=True, source_kind="assumed",
            remark="surges and the motor's own voltage come on top of the mains",
        )  # fmt: skip
    if part.kind == "driver":
        return
    if read(part.surge_a):
        yield limit_rule(
            "surge", float(np.sqrt(2.0) * need.blocked_a), part.surge_a, "A", part.source,
            remark="the first cycle of a start",
        )  # fmt: skip
    if read(part.least_load_a):
        yield limit_rule(
            "least load", need.running_a, part.least_load_a, "A", part.source, at_least=True,
            remark="with less it lets go within the half cycle",
        )  # fmt: skip
    if read(part.dv_dt_v_per_s):
        yield limit_rule(
            "dv/dt", float(need.slope_v_per_s), part.dv_dt_v_per_s, "V/s", part.source,
            remark="without a snubber, when the fan's current ends",
        )  # fmt: skip


def _unread(part: DrivePart) -> Iterator[str]:
    """What has to be looked up in the part's own sheet."""
    carries = part.kind != "driver"
    for name, figure, asked in (
        ("current", part.current_a, carries),
        ("off-state voltage", part.off_state_v, True),
        ("surge", part.surge_a, carries),
        ("dv/dt", part.dv_dt_v_per_s, carries),
    ):
        if asked and not read(figure):
            yield name
