"""Diagnosis and bench card on a terminal."""

from __future__ import annotations

from collections.abc import Collection, Sequence

from rich.console import Console

from zcd.board.model import Board
from zcd.circuit.elements import Circuit
from zcd.diagnosis.card import CardLine
from zcd.diagnosis.case import Case
from zcd.diagnosis.meters import Meter
from zcd.diagnosis.rank import Diagnosis
from zcd.diagnosis.readings import Side
from zcd.margin.check import Check
from zcd.show.checked.sheets import assumptions_sheet, board_line
from zcd.show.found.findings import (
    STOPPED,
    alike_line,
    card_sheets,
    cautions_for,
    hidden_line,
    measured_sheet,
    ranked_sheet,
    suggestion_lines,
    suspects_line,
)
from zcd.show.found.job_list import LEAVE_OUT, experience_line
from zcd.show.found.words import sentence
from zcd.show.paper.demo import Demo
from zcd.show.tables import (
    print_cautions,
    print_check,
    print_heading,
    print_line,
    print_list,
    print_notes,
    print_sheet,
)
from zcd.show.wording import SourceNotes, plain, quantity_text


def print_card(
    board: Board, circuit: Circuit, meter: Meter, lines: Sequence[CardLine], console: Console
) -> None:
    """Print the bench card.

    Parameters
    ----------
    board : Board
    circuit : Circuit
        Nominal, for the parts between nodes.
    meter : Meter
    lines : sequence of CardLine
    console : Console
    """
    print_heading(f"Bench card: {plain(board.name)}", console)
    print_line(board_line(board), console)
    print_line(
        f"Read with {quantity_text(meter.dc_input_ohm, 'Ω')} on DC and "
        f"{quantity_text(meter.ac_input_ohm, 'Ω')} on AC volts ({meter.ac_kind}). Ranges span "
        "tolerances, the grade's CTR, mains within 5 %, 15 to 35 °C. Only faults that a reading "
        "tells from a good board stand beside it.",
        console,
    )
    print_cautions(cautions_for(Side), console)
    for _, sheet in card_sheets(lines, circuit):
        print_sheet(sheet, console)
    print_assumptions(board, console)


def print_diagnosis(
    board: Board,
    circuit: Circuit,
    diagnosis: Diagnosis,
    flags: Sequence[str],
    console: Console,
    *,
    assumptions: bool = True,
) -> None:
    """Print what the readings say about a board."""
    print_heading(plain(board.name), console)
    if flags:
        print_line(f"Flags reported: {', '.join(flags)}.", console)
    print_step(diagnosis, circuit, console)
    if assumptions:
        print_assumptions(board, console)


def print_case(case: Case, console: Console) -> None:
    """Print what the readings say, and what closed jobs made of the priors."""
    print_diagnosis(case.board, case.circuit, case.diagnosis, case.job.flags, console)
    if case.known is not None and case.known.jobs:
        console.print()
        print_line(f"{experience_line(case.known)} {LEAVE_OUT}", console)


def print_step(
    diagnosis: Diagnosis, circuit: Circuit, console: Console, warned: Collection[Side] = ()
) -> None:
    """Print one step of a diagnosis: conclusion first, then ranking, next reading, cautions.

    The cautions of the sides in `warned` have been shown before, in the same conversation.
    """
    console.print()
    print_line(sentence(diagnosis.conclusion), console, bold=True)
    if diagnosis.measured:
        print_sheet(measured_sheet(diagnosis.measured, circuit), console)
    print_sheet(ranked_sheet(diagnosis, circuit), console)
    for line in (
        alike_line(diagnosis),
        suspects_line(diagnosis),
        STOPPED[diagnosis.stopped],
        hidden_line(diagnosis, circuit),
    ):
        if line:
            print_line(line, console)
    sides = [Side.DEAD]
    if diagnosis.suggestion is not None:
        first, *answers = suggestion_lines(diagnosis.suggestion, circuit)
        print_heading("Next reading", console)
        print_line(first, console)
        print_list("What the answer would mean", answers, console)
        sides = [diagnosis.suggestion.side]
    if not set(sides) <= set(warned):
        print_cautions(cautions_for(sides), console)


def print_demo(
    demo: Demo, circuit: Circuit, diagnosis: Diagnosis, check: Check, console: Console
) -> None:
    """Print the demo: the faulty board, then the repaired one, then where it all lies."""
    print_line("THE FAULTY BOARD", console, bold=True)
    print_diagnosis(demo.job.board, circuit, diagnosis, demo.job.flags, console, assumptions=False)
    print_heading("THE REPAIRED BOARD", console)
    print_check(check, console)
    print_heading("THE FILES", console)
    print_line(
        f"{plain(str(demo.folder))}: board.toml, job.toml and repaired.toml are what was put in; "
        "report.html is the record with pictures. Board, appliance, fault and readings are "
        "invented.",
        console,
    )


def print_assumptions(board: Board, console: Console) -> None:
    """Print what the board file does not say, with where the values come from."""
    notes = SourceNotes()
    print_sheet(assumptions_sheet(board, notes), console)
    print_notes(notes, console)
