"""Expected readings, diagnosis and demo, as documents."""

from __future__ import annotations

from collections.abc import Collection

from zcd.circuit.elements import Circuit
from zcd.diagnosis.case import Case, ExpectedReadings
from zcd.diagnosis.rank import Diagnosis
from zcd.diagnosis.readings import AccessLevel
from zcd.errors import plain
from zcd.report.document import Block, BulletList, Document, Paragraph, Section
from zcd.report.of_answers import suggestion_lines
from zcd.report.of_board import read_as_line
from zcd.report.of_check import board_line
from zcd.report.of_check_document import caution_sections, end_sections
from zcd.report.of_diagnosis import (
    STOPPED,
    cautions_for,
    flags_line,
    hidden_line,
    indistinguishable_line,
    measured_table,
    ranked_table,
    suspects_line,
)
from zcd.report.of_diagnosis_answer import verdict_line
from zcd.report.of_job_history import LEAVE_OUT, fault_statistics_line
from zcd.report.of_readings_card import expected_readings_tables
from zcd.report.text import quantity_text


def card_document(expected_readings: ExpectedReadings) -> Document:
    """The bench card."""
    meter = expected_readings.meter
    ways = (
        f"Read with {quantity_text(meter.dc_input_ohm, 'Ω')} on DC and "
        f"{quantity_text(meter.ac_input_ohm, 'Ω')} on AC volts ({meter.ac_kind}). Ranges span "
        "the tolerances of all parts, the meter's accuracy, mains within 5 %, 15 to 35 °C. Only "
        "faults that a reading tells from a good board are listed beside it."
    )
    tables = (
        table
        for _, table in expected_readings_tables(expected_readings.lines, expected_readings.circuit)
    )
    return Document(
        title=f"Bench card: {plain(expected_readings.board.name)}",
        sections=(
            Section(
                "",
                tuple(
                    Paragraph(text)
                    for text in (
                        board_line(expected_readings.board),
                        ways,
                    )
                    if text
                ),
                answer=True,
            ),
            *caution_sections(*cautions_for(AccessLevel)),
            *(Section("", (table,)) for table in tables),
            *end_sections(expected_readings.board)[:2],
        ),
    )


def case_document(case: Case, *, assumptions: bool = True) -> Document:
    """What the readings say about a board, and what closed jobs made of the priors."""
    flags, statistics = case.job.flags, case.known
    reported = (Paragraph(flags_line(case.job)),) if flags else ()
    learnt = (
        f"{fault_statistics_line(statistics)} {LEAVE_OUT}"
        if statistics is not None and statistics.jobs
        else ""
    )
    return Document(
        title=plain(case.board.name),
        sections=(
            Section("", reported, answer=True),
            *step_sections(case.diagnosis, case.circuit),
            *(end_sections(case.board)[:2] if assumptions else ()),
            Section(
                "", tuple(Paragraph(text) for text in (read_as_line(case.board), learnt) if text)
            ),
        ),
    )


def step_sections(
    diagnosis: Diagnosis, circuit: Circuit, warned: Collection[AccessLevel] = ()
) -> tuple[Section, ...]:
    """One step of a diagnosis: conclusion first, then ranking, next reading, cautions.

    The cautions of the sides in `warned` have been shown before, in the same conversation.
    """
    blocks: list[Block] = [Paragraph(verdict_line(diagnosis), "strong")]
    if diagnosis.measured:
        blocks.append(measured_table(diagnosis.measured, circuit))
    blocks.append(ranked_table(diagnosis, circuit))
    lines = (
        indistinguishable_line(diagnosis),
        suspects_line(diagnosis, circuit),
        STOPPED[diagnosis.stopped],
        hidden_line(diagnosis, circuit),
    )
    blocks += [Paragraph(line) for line in lines if line]
    sections = [Section("", tuple(blocks), answer=True)]
    sides = [AccessLevel.DEAD]
    if diagnosis.suggestion is not None:
        first, *answers = suggestion_lines(
            diagnosis.suggestion, circuit, doubted=bool(diagnosis.suspects)
        )
        sections.append(Section("Next reading", (Paragraph(first),), answer=True))
        meaning = (BulletList(tuple(answers)),) if answers else ()
        sections.append(Section("What the answer would mean", meaning))
        sides = [diagnosis.suggestion.access]
    if not set(sides) <= set(warned):
        sections += caution_sections(*cautions_for(sides))
    return tuple(sections)
