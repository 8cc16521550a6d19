"""Expected readings, diagnosis and demo, as documents."""

from __future__ import annotations

from collections.abc import Collection

from zcd.circuit.elements import Circuit
from zcd.diagnosis.case import Case, ExpectedReadings
from zcd.diagnosis.rank import Diagnosis
from zcd.diagnosis.readings import Side
from zcd.report.cautions import Caution
from zcd.report.document import Block, BulletList, Cautions, Document, Paragraph, Section
from zcd.report.of_check import board_line
from zcd.report.of_check_document import TOUCH_CAUTION, end_sections
from zcd.report.of_diagnosis import (
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
from zcd.report.of_diagnosis_text import sentence
from zcd.report.of_job_history import LEAVE_OUT, experience_line
from zcd.report.text import plain, quantity_text


def caution_sections(*due: Caution) -> tuple[Section, ...]:
    """The cautions that are due, under their heading; none where none is."""
    return (Section(TOUCH_CAUTION, (Cautions((("", due),)),)),) if due else ()


def card_document(found: ExpectedReadings) -> Document:
    """The bench card."""
    meter = found.meter
    ways = (
        f"Read with {quantity_text(meter.dc_input_ohm, 'Ω')} on DC and "
        f"{quantity_text(meter.ac_input_ohm, 'Ω')} on AC volts ({meter.ac_kind}). Ranges span "
        "tolerances, the grade's CTR, mains within 5 %, 15 to 35 °C. Only faults that a reading "
        "tells from a good board stand beside it."
    )
    tables = (sheet for _, sheet in card_sheets(found.lines, found.circuit))
    return Document(
        title=f"Bench card: {plain(found.board.name)}",
        sections=(
            Section("", (Paragraph(board_line(found.board)), Paragraph(ways)), answer=True),
            *caution_sections(*cautions_for(Side)),
            *(Section("", (table,)) for table in tables),
            *end_sections(found.board)[:2],
        ),
    )


def case_document(case: Case, *, assumptions: bool = True) -> Document:
    """What the readings say about a board, and what closed jobs made of the priors."""
    flags, known = case.job.flags, case.known
    reported = (Paragraph(f"Flags reported: {', '.join(flags)}."),) if flags else ()
    learnt = f"{experience_line(known)} {LEAVE_OUT}" if known is not None and known.jobs else ""
    return Document(
        title=plain(case.board.name),
        sections=(
            Section("", reported, answer=True),
            *step_sections(case.diagnosis, case.circuit),
            *(end_sections(case.board)[:2] if assumptions else ()),
            Section("", (Paragraph(learnt),) if learnt else ()),
        ),
    )


def step_sections(
    diagnosis: Diagnosis, circuit: Circuit, warned: Collection[Side] = ()
) -> tuple[Section, ...]:
    """One step of a diagnosis: conclusion first, then ranking, next reading, cautions.

    The cautions of the sides in `warned` have been shown before, in the same conversation.
    """
    blocks: list[Block] = [Paragraph(sentence(diagnosis.conclusion), "strong")]
    if diagnosis.measured:
        blocks.append(measured_sheet(diagnosis.measured, circuit))
    blocks.append(ranked_sheet(diagnosis, circuit))
    lines = (
        alike_line(diagnosis),
        suspects_line(diagnosis),
        STOPPED[diagnosis.stopped],
        hidden_line(diagnosis, circuit),
    )
    blocks += [Paragraph(line) for line in lines if line]
    sections = [Section("", tuple(blocks), answer=True)]
    sides = [Side.DEAD]
    if diagnosis.suggestion is not None:
        first, *answers = suggestion_lines(diagnosis.suggestion, circuit)
        sections.append(Section("Next reading", (Paragraph(first),), answer=True))
        meaning = (BulletList(tuple(answers)),) if answers else ()
        sections.append(Section("What the answer would mean", meaning))
        sides = [diagnosis.suggestion.side]
    if not set(sides) <= set(warned):
        sections += caution_sections(*cautions_for(sides))
    return tuple(sections)
