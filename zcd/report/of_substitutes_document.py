"""Parts in place of failed ones, as a document."""

from __future__ import annotations

from zcd.board.model import Board
from zcd.report.cautions import FITTED
from zcd.report.document import Block, BulletList, Document, Paragraph, Section
from zcd.report.of_check import assumed_values_table, board_line
from zcd.report.of_check_document import end_sections
from zcd.report.of_diagnosis_document import caution_sections
from zcd.report.of_drive_parts import need_line, refused_lines, switches_table
from zcd.report.of_substitutes import (
    chain_lines,
    diodes_table,
    fits_table,
    groups_line,
    misses_table,
    optocouplers_table,
    passed_over_line,
    pull_up_lines,
    pull_ups_table,
)
from zcd.report.text import plain, quantity_text
from zcd.simulation.drive_parts import Replacements, Switches
from zcd.substitutes.chain_parts import ChainFits
from zcd.substitutes.single_parts import PullUps


def replacements_document(result: Replacements) -> Document:
    """What may stand in place of the parts asked for."""
    found, drive = result.found, result.drive
    lines = (board_line(found.board), f"Drawer: {plain(found.drawer.name)}")
    groups = (BulletList((groups_line(found.groups),)),) if found.groups else ()
    return Document(
        title=plain(found.board.name),
        sections=(
            Section("", tuple(map(Paragraph, lines)), answer=True),
            Section("Resistors of the chain", groups),
            *part_sections(result),
            *([] if drive is None else _drive_sections(drive)),
            *_end_sections(result),
        ),
    )


def part_sections(result: Replacements) -> tuple[Section, ...]:
    """What was found for each part of the sync circuit."""
    found = result.found
    sections = []
    if found.chain is not None:
        sections.append(Section("Resistors of the chain", _chain_blocks(found.chain), answer=True))
    if found.optocouplers is not None:
        passed_over = passed_over_line(found)
        line = (Paragraph(passed_over),) if passed_over else ()
        sections.append(Section("", (optocouplers_table(found), *line), answer=True))
    if found.pull_ups is not None:
        sections.append(_pull_ups_section(found.board, found.pull_ups))
    for ref, swaps in found.diodes.items():
        sections.append(Section("", (diodes_table(ref, swaps),), answer=True))
    return tuple(sections)


def _chain_blocks(fits: ChainFits) -> tuple[Block, ...]:
    return (
        *map(Paragraph, chain_lines(fits)),
        *((fits_table(fits.best),) if fits.best else ()),
        *((misses_table(fits.misses),) if fits.misses else ()),
    )


def _pull_ups_section(board: Board, pull_ups: PullUps) -> Section:
    now = board.output.resistor
    value = quantity_text(now.resistance_ohm, "Ω")
    name = " ".join(dict.fromkeys((board.output.kind, plain(now.ref))))
    tables = (pull_ups_table(pull_ups),) if pull_ups.swaps else ()
    lines = map(Paragraph, pull_up_lines(pull_ups))
    return Section(f"In place of the {name}, {value}", (*lines, *tables), answer=True)


def _drive_sections(drive: Switches) -> tuple[Section, ...]:
    refused = refused_lines(drive)
    return (
        Section("", (switches_table(drive), Paragraph(need_line(drive))), answer=True),
        Section("Not for this fan", (BulletList(refused),) if refused else ()),
    )


def _end_sections(result: Replacements) -> tuple[Section, ...]:
    """What was assumed of board, fan and drawer; sources; cautions."""
    found, fan = result.found, result.found.board.appliance
    assumed, sources = end_sections(found.board)[:2]
    tables = []
    if result.drive is not None and fan is not None:
        taken = [a for a in fan.assumptions if a.key.startswith("fan.")]
        tables.append(assumed_values_table("Assumed of the fan", taken))
    if found.drawer.assumptions:
        title = "Assumed, because the drawer does not say"
        tables.append(assumed_values_table(title, found.drawer.assumptions))
    return (assumed, Section("", tuple(tables)), sources, *caution_sections(*FITTED))
