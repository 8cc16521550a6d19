"""The usual cautions, by the kind of work in which they are due."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from zcd.board.model import Board
from zcd.diagnosis.readings import AccessLevel

_PRACTICE = "common practice, no source"
_GS38 = "HSE guidance note GS38, 4th edition, 2015"
_LOCK_OUT = "Washington WAC 296-24-975, after US 29 CFR 1910.333(b)"
RATED = "meter and leads rated CAT II 300 V or better (CAT III at the socket)"
HOW_ISOLATED = (
    "ohms and diode test, unplugged, show OL both ways from logic0 to line and neutral terminals "
    "and a relay's load side. Else it is live"
)
"""How the low-voltage side is shown to be isolated or live."""
OF_OPTOCOUPLERS = (
    "New optocoupler: isolation voltage and pin spacing no less than the old one's, with a VDE or "
    "UL mark (IEC 60747-5-5)."
)
"""Where one is to be replaced."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Caution:
    """One caution, and who asks for it.

    `of_isolated`: only where a side of the board is isolated, or has an optocoupler.
    """

    text: str
    source: str
    of_isolated: bool = False


GENERAL: tuple[Caution, ...] = (
    Caution(
        text="Follow local codes, the appliance maker's instructions and licensed practice first; "
        "these figures replace neither them nor a trained person.",
        source=_PRACTICE,
    ),
    Caution(
        text="Work live only where it cannot be avoided: dead tests often show as much.",
        source=f"{_GS38}, introduction",
    ),
    Caution(
        text="Treat chain, rectifier and the optocoupler's LED as live whenever the plug is in, "
        "even with the load relay off: line and neutral may be swapped.",
        source=_PRACTICE,
        of_isolated=True,
    ),
)
"""Due in every case."""

NOT_ISOLATED: tuple[Caution, ...] = (
    Caution(
        text="NOT ISOLATED: there is no optocoupler between the mains and the controller. Every "
        "point of this board is LIVE at mains potential whenever it is plugged in: the "
        "controller's 0 V, connectors, buttons and display included.",
        source=_PRACTICE,
    ),
    Caution(
        text="Never connect a programmer, a computer or an earthed oscilloscope to this board. "
        "Under power use an isolating transformer for it alone, a battery-powered meter, and a "
        "differential probe or an instrument with isolated inputs.",
        source=_PRACTICE,
    ),
)
"""Due in every case, and first, on a board whose controller has no optocoupler to the mains."""
NO_EARTHED_SCOPE = (
    "No earthed oscilloscope on the mains side: a differential probe or isolated inputs."
)
NOT_ISOLATED_TEXT = " ".join(caution.text for caution in NOT_ISOLATED)

DEAD: tuple[Caution, ...] = (
    Caution(
        text="Isolate: pull the plug and keep it under your own control. A switch, an interlock "
        "or the load relay does not isolate.",
        source=_LOCK_OUT,
    ),
    Caution(
        text="Discharge the capacitors, and treat them as live while you do it.",
        source=_LOCK_OUT,
    ),
    Caution(
        text="Prove dead: prove the tester on a known source, test, then prove the tester again.",
        source=f"{_GS38}, as summarised by trainers",
    ),
)
"""Due before ohms and diode tests, and before any part is touched."""

FITTING: tuple[Caution, ...] = (
    Caution(
        text="Replace a flame-proof or fusible resistor by one that is flame-proof or fusible "
        "itself, and rated for mains: an ordinary film part may burn when it is overloaded, or "
        "open too late.",
        source=_PRACTICE,
    ),
    Caution(
        text="Share the working voltage over several resistors in series, as the board did; do "
        "not leave a chain of one where there were two or more, so that one short is no "
        "short from the mains.",
        source=_PRACTICE,
    ),
    Caution(
        text="Keep the distances: no bare lead, solder or flux bridge nearer to other live parts "
        "or to the isolated side than the maker's layout had it. Sleeve leads that hang.",
        source=_PRACTICE,
        of_isolated=True,
    ),
    Caution(
        text="Replace a capacitor across the mains, or in series with it, by one of the same "
        "capacitance and class X2, for 275 V~ or more; in series its data sheet must allow that. "
        "One from the mains to what a hand may touch is class Y. Keep the resistor that "
        "discharges it; if there is none, fit one.",
        source="IEC 60384-14 (not read), as a maker explains it: Würth Elektronik, film "
        "capacitors; the discharge resistor: common practice, no source",
    ),
    Caution(
        text="Isolate the metal tab of a triac from the heat sink as the old one was: it is live "
        "unless its sheet says that it is insulated.",
        source=_PRACTICE,
    ),
    Caution(
        text="Measure the neighbours of a chain resistor that drifted or opened, better replace "
        "the chain as a whole: they have aged alike.",
        source=_PRACTICE,
    ),
    Caution(
        text=f"{OF_OPTOCOUPLERS} It keeps the mains from the controller, and from whoever touches "
        "that.",
        source="IEC 60747-5-5:2020 (not read), safety tests of photocouplers by its catalogue "
        "entry; the rest: common practice, no source",
        of_isolated=True,
    ),
)
"""Due where a part is fitted on the mains side."""

ISOLATED: tuple[Caution, ...] = (
    Caution(
        text="Clamp the board down, cover the mains side and attach the leads while it is dead: "
        "the isolated side of a board under power lies millimetres from live parts.",
        source=_PRACTICE,
        of_isolated=True,
    ),
    Caution(
        text="Prove that the low-voltage side is isolated before you call it so, and before a "
        "computer or an earthed instrument is connected: on some boards, such as those with a "
        f"capacitive dropper, the low-voltage side is live too. It is isolated "
        f"only if {HOW_ISOLATED}.",
        source=_PRACTICE,
        of_isolated=True,
    ),
)
"""Due for readings at the sync pin and its supply, with the board under power."""

BENCH: tuple[Caution, ...] = (
    Caution(
        text="Connect a bench supply to an unplugged, discharged board only, and remove it before "
        "the plug goes in again: on some boards the low-voltage side is live too.",
        source=_PRACTICE,
        of_isolated=True,
    ),
    Caution(
        text="Set it to the supply's nominal voltage, its current limit to some tens of "
        "milliamperes, and check the polarity twice.",
        source=_PRACTICE,
        of_isolated=True,
    ),
)
"""Due for readings with the controller's supply from a bench supply, with those for dead tests."""

LIVE: tuple[Caution, ...] = (
    Caution(
        text=f"Use a {RATED}.",
        source=_PRACTICE,
    ),
    Caution(
        text="Use fused leads with finger guards and no more than 4 mm of bare tip, better 2 mm.",
        source=f"{_GS38}, paragraph 9, as quoted by practitioners",
    ),
    Caution(
        text="Work with one hand: clip the black lead on while the board is dead, keep the "
        "other hand away, do not work alone.",
        source=_PRACTICE,
    ),
    Caution(
        text="Connect no earthed oscilloscope to the mains side: its earth lead shorts whatever it "
        "is clipped to. Use a differential probe or an instrument with isolated inputs.",
        source="Tektronix 51W-10640, on floating measurements",
    ),
    Caution(
        text="Use an isolating transformer for this one appliance. It does not protect whoever "
        "touches both of its poles, and the residual-current device upstream no longer acts.",
        source="HSE leaflet INDG354, rev. 1, 2013, as quoted by practitioners",
    ),
)
"""Due for readings on the mains side under power."""

MOTOR: tuple[Caution, ...] = (
    Caution(
        text="Unplug the fan from the board before its windings are measured; keep fingers and "
        "sleeves out of the impeller, which may start at any moment under power.",
        source=_PRACTICE,
    ),
    Caution(
        text="Discharge the run capacitor through 20 kΩ, 2 W: a plain short may blow its internal "
        "fuse. The start lead may stand at 400 V on a 230 V circuit.",
        source="Friedrich service manual, 2009, page 23",
    ),
    Caution(
        text="Do not plug in what does not fit on paper: a winding on the wrong pins burns, or "
        "puts the capacitor across the mains.",
        source=_PRACTICE,
    ),
)
"""Due before a motor and its capacitor are measured or plugged in."""

LIFTED: tuple[Caution, ...] = (
    Caution(
        text="Lift a leg only on a board that is unplugged, discharged and proved dead; let it "
        "cool, pull nothing off its pad, and see that no solder bridges are left behind.",
        source=_PRACTICE,
    ),
)
"""Due before one end of a part is lifted, with those for dead tests."""


def cautions_on(board: Board | None, due: Iterable[Caution]) -> tuple[Caution, ...]:
    """The cautions that are due on a board: of one that is not isolated, that first."""
    if board is None or board.is_isolated:
        return tuple(due)
    kept = (each for each in due if not each.of_isolated and each not in NOT_ISOLATED)
    return (*NOT_ISOLATED, *kept)


TOUCHED = (*GENERAL, *DEAD)
"""Due wherever a board may be touched for what was found."""
FITTED = (*TOUCHED, *FITTING)
"""Due where parts are to be fitted."""
PROBED = (*TOUCHED, *ISOLATED, *LIVE)
"""Due where probes go on anywhere under power."""
UNPLUGGED = (*TOUCHED, *MOTOR)
"""Due where a motor's leads are measured."""

UNPLUG = "Unplug, discharge the capacitors and prove the board dead before you touch it."
LEADS_ON = "To attach or move a lead, unplug, discharge, prove dead: mains is millimetres away."
SHORT_CAUTIONS: dict[AccessLevel, tuple[str, ...]] = {
    AccessLevel.DEAD: (UNPLUG,),
    AccessLevel.BENCH: (UNPLUG, "If you use a bench supply, remove it before you plug in."),
    AccessLevel.ISOLATED: (
        LEADS_ON,
        f"The low-voltage side is isolated only if {HOW_ISOLATED}: one hand, no earthed scope.",
    ),
    AccessLevel.MAINS: (
        f"LIVE MAINS: {RATED}, one hand. Prove dead, clip the black lead on, then plug in.",
        NO_EARTHED_SCOPE,
    ),
    AccessLevel.LIFTED: (
        UNPLUG,
        "To lift a lead: take the solder off first, or the pad comes with it. Let it cool.",
    ),
}
"""The cautions of the next action, a line each; `cautions.py` has all of them, with sources."""
LOCAL = "Local codes and licensed practice come first."


DANGER = (
    AccessLevel.DEAD,
    AccessLevel.LIFTED,
    AccessLevel.BENCH,
    AccessLevel.ISOLATED,
    AccessLevel.MAINS,
)
"""Sides, the most dangerous last."""


def most_dangerous(sides: Iterable[AccessLevel]) -> AccessLevel:
    """The side whose cautions are due where readings on several are listed; a dead board: none."""
    return max(sides, key=DANGER.index, default=AccessLevel.DEAD)


def short_cautions(*sides: AccessLevel) -> tuple[str, ...]:
    """The short cautions of several sides, each once; that leads go onto a dead board does not say
    again how it is made so."""
    said = dict.fromkeys(text for side in sides for text in SHORT_CAUTIONS[side])
    again = "Attach leads while dead: mains is millimetres away."
    return tuple(again if text == LEADS_ON and UNPLUG in said else text for text in said)


def caution_lines(*sides: AccessLevel) -> tuple[str, ...]:
    """The cautions of the next actions, three lines at most: those of the most dangerous one, and
    before it of a dead board where that is among them."""
    worst = most_dangerous(sides)
    sides = (AccessLevel.DEAD, worst) if AccessLevel.DEAD in sides else (worst,)
    *most, last = short_cautions(*sides)
    return (*(f"CAUTION: {text}" for text in most), f"CAUTION: {last} {LOCAL}")
