"""Winding readings as a person writes them, and what they mean, in words."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TypeVar

from zcd.board.quantity_kinds import CAPACITANCE, TOLERANCE
from zcd.board.units import nearest, parse_quantity
from zcd.diagnosis.functions import Function
from zcd.diagnosis.reading_syntax import parse_value, show_value
from zcd.errors import invalid_value
from zcd.refdata import default
from zcd.report.cautions import LOCAL, UNPLUGGED
from zcd.report.document import BulletList, Document, Paragraph, Section
from zcd.report.of_check_document import caution_sections
from zcd.report.table import Quantity, Table
from zcd.report.text import quantity_text
from zcd.simulation.windings import (
    FRAME_READINGS,
    PINS_OF_LEADS,
    ROLES_OF_PINS,
    RUN_CAPACITOR,
    Lead,
    Measured,
    Pair,
    Role,
    Verdict,
    Windings,
)

Key = TypeVar("Key")
Value = TypeVar("Value")

FRAME = "frame"
THREE = (
    "the ohms between each two of three leads, blue-grey=126 grey-brown=203 blue-brown=328; to the "
    "frame: blue-frame=OL"
)
ROLES = tuple(str(role) for role in Role)


def parse_measured(
    *,
    readings: Sequence[str],
    pins: Sequence[str],
    board: Sequence[str],
    capacitor: str | None,
    marking: str | None,
    capacitor_tolerance: str,
    accuracy: str | None,
) -> Measured:
    """Read what was measured.

    Parameters
    ----------
    readings : sequence of str
        Such as ``blue-grey=126`` or ``brown-frame=OL``.
    pins, board : sequence of str
        Such as ``blue=1`` and ``1=run``.
    capacitor, marking : str or None
    capacitor_tolerance, accuracy : str or None

    Returns
    -------
    measured : Measured

    Raises
    ------
    InputError
        If something is not understood, missing, or there twice.
    """
    between: dict[Pair, float] = {}
    frame: dict[str, float] = {}
    for text in _joined(readings):
        a, b, value = _reading(text)
        if FRAME in (a, b):
            _once(frame, b if a == FRAME else a, text)[b if a == FRAME else a] = value
        else:
            _once(between, frozenset((a, b)), text)[frozenset((a, b))] = value
    leads = frozenset().union(*between) if between else frozenset()
    if len(leads) != 3 or len(between) != 3:
        raise invalid_value(" ".join(readings) or None, THREE)
    measured_f = None if capacitor is None else _farads(capacitor, "capacitor")
    printed_f = None if marking is None else _farads(marking, "marking")
    if (measured_f is None) != (printed_f is None):
        raise invalid_value(None, "both capacitor and marking, or neither")
    return Measured(
        resistance_ohm=between,
        frame_ohm=_of_leads(frame, leads, "a reading to the frame"),
        accuracy_ratio=default("meter.ohm_accuracy").value
        if accuracy is None
        else parse_quantity(accuracy, TOLERANCE, "accuracy"),
        pins=_of_leads(_assigned(pins, "pins", "blue=1"), leads, "pins"),
        board={pin: _role(word) for pin, word in _assigned(board, "board", "1=run").items()},
        capacitor_f=measured_f,
        marking_f=printed_f,
        capacitor_tolerance_ratio=parse_quantity(
            capacitor_tolerance, TOLERANCE, "capacitor_tolerance"
        ),
    )


def _joined(readings: Sequence[str]) -> list[str]:
    """Readings, those typed as two words made one: ``blue-grey 126``."""
    result: list[str] = []
    for text in readings:
        if result and "=" not in result[-1] and "-" not in text and "=" not in text:
            result[-1] += f"={text}"
        else:
            result.append(text if "=" in text else text.strip().replace(" ", "=", 1))
    return result


def _farads(text: str, key: str) -> float:
    if text.replace(",", "").replace(".", "").isdigit():
        raise invalid_value(text, f'its unit too: "{text}u" for microfarad', key)
    return parse_quantity(text, CAPACITANCE, key)


def _reading(text: str) -> tuple[str, str, float]:
    """Two names and a resistance."""
    place, equals, value = text.partition("=")
    names = [name.strip().lower() for name in place.split("-")]
    if not equals or len(names) != 2 or not all(names) or names[0] == names[1]:
        raise invalid_value(text, "a reading such as blue-grey=126 or brown-frame=OL")
    return names[0], names[1], parse_value(value.strip(), Function.OHM, place)


def _once(result: dict[Key, float], key: Key, text: str) -> dict[Key, float]:
    """Refuse a place that has been read before."""
    if key in result:
        raise invalid_value(text, "each two leads once")
    return result


def _assigned(texts: Sequence[str], argument: str, example: str) -> dict[str, str]:
    """Pairs of names, each first name once."""
    result: dict[str, str] = {}
    for text in texts:
        name, equals, value = (part.strip().lower() for part in text.partition("="))
        if not equals or not name or not value or name in result:
            raise invalid_value(text, f"pairs such as {example}, each once", argument)
        result[name] = value
    return result


def _of_leads(value: dict[str, Value], leads: frozenset[str], what: str) -> dict[str, Value]:
    """Refuse names that are no leads."""
    for name in value:
        if name not in leads:
            known = tuple(sorted(leads))
            raise invalid_value(name, f"one of {', '.join(known)}{nearest(name, known)}", what)
    return value


def _role(word: str) -> Role:
    try:
        return Role(word)
    except ValueError:
        allowed = f"one of {', '.join(ROLES)}{nearest(word, ROLES)}"
        raise invalid_value(word, allowed, "board") from None


def headline(verdict: Verdict) -> str:
    """The verdict in one line."""
    if verdict.problems:
        return "NOT SAFE to plug in."
    if verdict.unchecked:
        return "No fault found so far, but not everything was checked: not yet safe."
    return f"Leads, pins, frame and capacitor fit. {INSULATION}"


def _frame_text(lead: Lead) -> str:
    return "-" if lead.frame_ohm is None else show_value(Function.OHM, lead.frame_ohm)


LEADS = (
    Quantity("lead", "lead"),
    Quantity("role", "is", lambda lead: str(lead.role or "unknown")),
    Quantity("pin", "in pin"),
    Quantity("board_role", "pin of the board is for"),
    Quantity("frame_ohm", "to the frame", _frame_text, right=False),
)


def leads_table(windings: Windings) -> Table:
    """Each lead with its name and its pin."""
    verdict = windings.verdict
    fits = ""
    if verdict.residual_ohm is not None and verdict.allowed_ohm is not None:
        fits = (
            f"The largest reading is {quantity_text(abs(verdict.residual_ohm), 'Ω')} "
            f"{'more' if verdict.residual_ohm >= 0.0 else 'less'} than the other two together; the "
            f"meter allows {quantity_text(verdict.allowed_ohm, 'Ω')}. "
        )
    if verdict.main_ohm is not None and verdict.start_ohm is not None:
        fits += (
            f"Main winding {quantity_text(verdict.main_ohm, 'Ω')}, start winding "
            f"{quantity_text(verdict.start_ohm, 'Ω')}; that the lower one is the main winding is "
            "common practice, no source."
        )
    return Table.of(windings.leads, LEADS, "Leads", fits.strip())


def unchecked_lines(measured: Measured, verdict: Verdict) -> tuple[str, ...]:
    """What was not checked, each with an example of how it is typed."""
    lead = measured.leads[0]
    typed = {
        FRAME_READINGS: f"{lead}-{FRAME}=OL",
        PINS_OF_LEADS: f"--pin {lead}={measured.pins.get(lead, 1)}",
        ROLES_OF_PINS: f"--board {measured.pins.get(lead, 1)}={verdict.roles.get(lead, 'run')}",
        RUN_CAPACITOR: '--capacitor 1.79u --marking "1.8 uF"',
    }
    return tuple(f"{what}; typed as {typed[what]}" for what in verdict.unchecked)


AGAIN = "First measure what speaks against it again, leads apart; if it stays, go no further. "
ADD = "Next: find these out, unplugged; add them to the command, each lead and pin."
INSULATION = (
    "Before you plug the fan in, test its insulation with an insulation tester: OL on ohms is no "
    "such test."
)
FAN_CAUTION = (
    "CAUTION: Pull the mains plug, discharge the run capacitor (20 kΩ, 2 W; no plain short) and "
    "prove it dead; then take the fan's connector off and measure. The same before you put it on "
    f"again. {LOCAL}"
)


def verdict_document(windings: Windings) -> Document:
    """What the readings say, the verdict first."""
    measured, verdict = windings.measured, windings.verdict
    problems, unchecked = verdict.problems, verdict.unchecked
    turns = "A good resistance does not prove good turns."
    remark = f"{INSULATION} {turns}" if problems or unchecked else turns
    return Document(
        title=headline(verdict),
        sections=(
            Section("Against it", (BulletList(tuple(problems)),) if problems else (), answer=True),
            Section(
                "Not checked",
                (
                    BulletList(unchecked_lines(measured, verdict)),
                    Paragraph(f"{AGAIN * bool(verdict.problems)}{ADD}"),
                )
                if unchecked
                else (),
                answer=True,
            ),
            Section("", (leads_table(windings), Paragraph(remark)), answer=True),
            Section("", (Paragraph(FAN_CAUTION),), answer=True),
            *caution_sections(*UNPLUGGED),
        ),
    )
