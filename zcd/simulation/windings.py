"""Before the fan goes on: which lead is which, from three resistances; is its connector safe?

The two windings of a permanent-split-capacitor motor meet at the common lead. Between the two
others both are in series, so the largest of the three readings is the sum of the two smaller
ones, and the lead that is not in it is the common one. Of the two windings the one with the
lower resistance is taken as the main (run) winding: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from itertools import combinations
from math import inf, isinf
from typing import ClassVar

from zcd.board.units import format_percent, format_si
from zcd.results import Result

DIGITS_OHM = 0.5
"""Last digits and contact of the probes, both ways: common practice, no source."""
SHORT_OHM = 1.0
FRAME_OHM = 1e6
"""Less than this from a lead to the frame is a leak; a meter does not prove insulation."""
CAPACITOR_TOLERANCE_RATIO = 0.10
"""Outside this share of its marking a run capacitor is replaced [SERVICE-CAPACITOR]."""

FRAME_READINGS = "ohms from each lead to the frame"
PINS_OF_LEADS = "in which pin of the fan's connector each lead is"
ROLES_OF_PINS = "which pin of the board is for common, run, start"
RUN_CAPACITOR = "the run capacitor"
"""What there is to check beside the ohms between the leads."""

Pair = frozenset[str]


class Role(StrEnum):
    """What a lead of the motor is."""

    COMMON = "common"
    RUN = "run"
    START = "start"


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """What was measured, everything dead and the motor unplugged from the board.

    Parameters
    ----------
    resistance_ohm : mapping of frozenset of str to float
        Between each two of three leads; infinite for overload.
    frame_ohm : mapping of str to float
        From leads to the frame.
    accuracy_ratio : float
        Of the meter, on ohms.
    pins : mapping of str to str
        Pin of the motor's connector that each lead goes to, found by continuity.
    board : mapping of str to Role
        What each pin of the board's connector leads to, found by continuity.
    capacitor_f, marking_f : float or None
        Run capacitor as measured and as marked.
    capacitor_tolerance_ratio : float
    """

    resistance_ohm: Mapping[Pair, float]
    frame_ohm: Mapping[str, float]
    accuracy_ratio: float
    pins: Mapping[str, str]
    board: Mapping[str, Role]
    capacitor_f: float | None = None
    marking_f: float | None = None
    capacitor_tolerance_ratio: float = CAPACITOR_TOLERANCE_RATIO

    @property
    def leads(self) -> tuple[str, ...]:
        """The three leads, in order of name."""
        return tuple(sorted(frozenset().union(*self.resistance_ohm)))


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """What the readings say.

    Parameters
    ----------
    roles : dict of str to Role
        Of each lead; empty where they cannot be named.
    main_ohm, start_ohm : float or None
        The two windings.
    residual_ohm, allowed_ohm : float or None
        Largest reading less the sum of the other two, and what the meter allows of it.
    problems : tuple of str
        Each of them speaks against plugging the fan in.
    unchecked : tuple of str
        What nobody measured.
    """

    roles: dict[str, Role]
    main_ohm: float | None
    start_ohm: float | None
    residual_ohm: float | None
    allowed_ohm: float | None
    problems: tuple[str, ...]
    unchecked: tuple[str, ...]

    @property
    def safe(self) -> bool:
        """All was measured, and nothing speaks against plugging the fan in."""
        return not self.problems and not self.unchecked


@dataclass(frozen=True, slots=True, kw_only=True)
class Lead:
    """One lead of a motor.

    Parameters
    ----------
    lead : str
        As it was named.
    role : Role or None
        None: it cannot be named.
    pin : str or None
        Of the motor's connector that it is in.
    board_role : Role or None
        What that pin of the board is for.
    frame_ohm : float or None
        From it to the frame; None: not measured, or beyond the meter's range.
    """

    lead: str
    role: Role | None
    pin: str | None
    board_role: Role | None
    frame_ohm: float | None


@dataclass(frozen=True, slots=True, kw_only=True, repr=False)
class Windings(Result):
    """A motor's leads named, and whether its connector is safe.

    Parameters
    ----------
    measured : Measured
    verdict : Verdict
    """

    JSON_KEYS: ClassVar = (
        "safe",
        *(f"{key}=verdict.{key}" for key in ("problems", "unchecked")),
        "leads",
        *(f"{k}=verdict.{k}" for k in ("main_ohm", "start_ohm", "residual_ohm", "allowed_ohm")),
    )

    measured: Measured
    verdict: Verdict

    @property
    def safe(self) -> bool:
        """All was measured, and nothing speaks against plugging the fan in."""
        return self.verdict.safe

    @property
    def leads(self) -> tuple[Lead, ...]:
        """What is known of each lead, in order of name."""
        known = self.measured
        return tuple(
            Lead(
                lead=lead,
                role=self.verdict.roles.get(lead),
                pin=known.pins.get(lead),
                board_role=known.board.get(known.pins.get(lead, "")),
                frame_ohm=known.frame_ohm.get(lead),
            )
            for lead in known.leads
        )


def name_leads(measured: Measured) -> Verdict:
    """Name the leads, and check connector and capacitor.

    Parameters
    ----------
    measured : Measured

    Returns
    -------
    verdict : Verdict
    """
    leads = measured.leads
    ohm = {pair: measured.resistance_ohm[frozenset(pair)] for pair in combinations(leads, 2)}
    far = max(ohm, key=lambda pair: ohm[pair])
    common = next(lead for lead in leads if lead not in far)
    to_common = {lead: measured.resistance_ohm[frozenset((lead, common))] for lead in far}
    run, start = sorted(far, key=lambda lead: to_common[lead])
    residual_ohm = allowed_ohm = None
    roles: dict[str, Role] = {}
    problems = _open_leads(ohm)
    if not problems:
        residual_ohm = ohm[far] - sum(to_common.values())
        allowed_ohm = _allowed_ohm(measured, ohm[far] + sum(to_common.values()))
        problems = _misfit(residual_ohm, allowed_ohm, to_common, ohm)
    if not problems:
        apart_ohm = _allowed_ohm(measured, sum(to_common.values()))
        roles[common] = Role.COMMON
        if to_common[start] - to_common[run] > apart_ohm:
            roles |= {run: Role.RUN, start: Role.START}
        else:
            problems = [
                f"both windings measure alike ({_ohm(to_common[run])}): resistance cannot tell run "
                "from start; go by the motor's label, the capacitor is in the start lead"
            ]
    problems += _to_the_frame(measured)
    problems += _frame_misfit(measured, ohm)
    problems += _connector(measured, roles)
    problems += _capacitor(measured)
    whole = len(roles) == len(leads)
    return Verdict(
        roles=roles,
        main_ohm=to_common[run] if whole else None,
        start_ohm=to_common[start] if whole else None,
        residual_ohm=residual_ohm,
        allowed_ohm=allowed_ohm,
        problems=tuple(problems),
        unchecked=tuple(_unchecked(measured)),
    )


def _ohm(value: float) -> str:
    return "OL" if isinf(value) else format_si(value, "Ω", digits=3)


def _allowed_ohm(measured: Measured, total_ohm: float) -> float:
    """Worst error of a sum or difference of readings."""
    return measured.accuracy_ratio * total_ohm + DIGITS_OHM


def _open_leads(ohm: Mapping[tuple[str, str], float]) -> list[str]:
    """What readings beyond the meter's range mean."""
    over = [pair for pair, value in ohm.items() if isinf(value)]
    if len(over) == 3:
        return [
            "no lead has a path to another: the common lead or a thermal cut-out in it is open "
            "(let a hot motor cool and measure again), or these are not leads of one motor"
        ]
    if len(over) == 2:
        lead = next(iter(set(over[0]) & set(over[1])))
        return [
            f"lead {lead} has no path to the others: its winding or its lead is open; if it is the "
            "common one, a thermal cut-out may be"
        ]
    if over:
        a, b = over[0]
        return [
            f"{a} to {b} reads OL although both have a path to the third lead: that cannot be; "
            "take it again"
        ]
    return []


def _misfit(
    residual_ohm: float,
    allowed_ohm: float,
    to_common: Mapping[str, float],
    ohm: Mapping[tuple[str, str], float],
) -> list[str]:
    """Why the three readings are not those of one pair of windings."""
    shorted = [f"{a} to {b}" for (a, b), value in ohm.items() if value < SHORT_OHM]
    if shorted:
        return [f"{' and '.join(shorted)}: next to nothing; a shorted winding, or leads that touch"]
    least, most = min(ohm.values()), max(ohm.values())
    if residual_ohm < -allowed_ohm and most - least <= allowed_ohm:
        return [
            f"all three read alike ({_ohm(most)}): these are not two windings with a common lead, "
            "but a three-phase or brushless motor, or a tapped one; phase control would harm it"
        ]
    if residual_ohm < -allowed_ohm:
        return [
            f"the largest reading is {_ohm(-residual_ohm)} less than the sum of the other two: "
            "the common lead has a resistance of its own (a tapped winding for several speeds), "
            "turns are shorted, or something else is still connected; unplug and take them again"
        ]
    if residual_ohm > allowed_ohm:
        return [
            f"the largest reading is {_ohm(residual_ohm)} more than the sum of the other two, "
            f"{_ohm(sum(to_common.values()))}: no motor reads so; take them again"
        ]
    return []


def _to_the_frame(measured: Measured) -> list[str]:
    return [
        f"lead {lead} reads {_ohm(value)} to the frame: its insulation has failed; do not use it"
        for lead, value in measured.frame_ohm.items()
        if value < FRAME_OHM
    ]


def _frame_misfit(measured: Measured, ohm: Mapping[tuple[str, str], float]) -> list[str]:
    """A reading to the frame beside an overload, though the winding joins the two leads.

    What one lead reads to the frame the others read too, but for the windings between them.
    """
    frame = measured.frame_ohm
    read = {lead: value for lead, value in frame.items() if FRAME_OHM <= value < inf}
    over = [lead for lead, value in frame.items() if isinf(value)]
    joined = all(value < FRAME_OHM for value in ohm.values())
    if not joined or not read or not over:
        return []
    shown = ", ".join(f"{lead} reads {_ohm(value)}" for lead, value in read.items())
    return [
        f"{shown} to the frame, {' and '.join(over)} {'OL' if len(over) > 1 else 'reads OL'}: "
        "these cannot go together, as the windings join the leads. Measure all three again before "
        "plugging in"
    ]


def _connector(measured: Measured, roles: Mapping[str, Role]) -> list[str]:
    """Leads against the pins that they go to."""
    if not measured.pins and not measured.board:
        return []
    if len(roles) < len(measured.leads):
        return ["the connector is not judged, as the leads have no names yet"]
    problems = []
    for lead, role in roles.items():
        pin = measured.pins.get(lead)
        wanted = measured.board.get(pin) if pin is not None else None
        if wanted is not None and wanted is not role:
            problems.append(
                f"pin {pin} of the board is for {wanted}, but the lead in it, {lead}, is {role}: "
                "do not plug it in"
            )
    used = list(measured.pins.values())
    problems += [
        f"pin {pin} has more than one lead: find out which" for pin in sorted(set(used))
        if used.count(pin) > 1
    ]  # fmt: skip
    return problems


def _capacitor(measured: Measured) -> list[str]:
    result, marked = measured.capacitor_f, measured.marking_f
    if result is None or marked is None:
        return []
    off, most = result / marked - 1.0, measured.capacitor_tolerance_ratio
    if abs(off) <= most:
        return []
    return [
        f"the run capacitor is {format_percent(abs(off))} {'above' if off > 0 else 'below'} its "
        f"marking of {format_si(marked, 'F', digits=3)}, more than {format_percent(most)}: "
        "replace it"
    ]


def _unchecked(measured: Measured) -> list[str]:
    """What was not measured."""
    missing = []
    leads = set(measured.leads)
    if set(measured.frame_ohm) < leads:
        missing.append(FRAME_READINGS)
    pins = {measured.pins.get(lead) for lead in leads}
    if None in pins:
        missing.append(PINS_OF_LEADS)
    if None in pins or not pins <= set(measured.board):
        missing.append(ROLES_OF_PINS)
    if measured.capacitor_f is None or measured.marking_f is None:
        missing.append(RUN_CAPACITOR)
    return missing
