"""What to fit in place of parts, as a document: one screen, and all its figures."""

from __future__ import annotations

from functools import partial
from math import isfinite

from zcd.board.model import Resistor
from zcd.board.parts_library import all_resistors
from zcd.errors import plain
from zcd.margin.rules import RESERVE, SYNC, Rule
from zcd.report.cautions import FITTED, OF_OPTOCOUPLERS
from zcd.report.document import Block, BulletList, Document, Paragraph, Section
from zcd.report.of_board import READ_AGAIN, drawer_lines, read_as_line
from zcd.report.of_check import assumed_values_table, board_line
from zcd.report.of_check_answer import stronger_text
from zcd.report.of_check_document import caution_sections, end_sections
from zcd.report.of_drive_parts import drive_lines, need_line, refused_lines, switches_table
from zcd.report.of_substitutes import (
    answer_lines,
    buy_line,
    changed_line,
    heading,
    left_out_line,
    load_line,
    original_line,
    other_lines,
    others_over_line,
    pads_line,
    parts_text,
    passed_over_line,
    proposals_table,
)
from zcd.report.terminal import longest_on_a_screen
from zcd.report.text import listed, quantity_text
from zcd.simulation.drive_parts import Replacements, Switches
from zcd.substitutes.compare import Verdict
from zcd.substitutes.proposals import SHOWN, few_tried
from zcd.substitutes.search import CAPACITOR, Substitutes

BRIEF_CAUTION = (
    "CAUTION: Unplug, discharge and prove dead before you solder. Local codes and licensed "
    "practice come first."
)
OF_RESISTORS = "In place of a flame-proof resistor fit a flame-proof one."
"""Where one is to be replaced."""
OF_CAPACITORS = "Mains capacitors: class X2 (IEC 60384-14). Keep their discharge resistor."
"""Where one is to be replaced."""


def brief_document(result: Replacements) -> Document:
    """The proposals, one line each, on one screen: of each part as many as it holds."""
    return longest_on_a_screen(partial(_brief, result), result.found.board, SHOWN, 0)


def _brief(result: Replacements, shown: int) -> Document:
    """So many proposals for each part; of none, the first one beside the part."""
    found, beside, shown = result.found, shown == 0, max(shown, 1)
    blocks: list[Block] = [
        Paragraph(line) for line in (guess_line(found), original_line(found)) if line
    ]
    for answer in found.answers:
        title, lines = heading(found, answer), answer_lines(found, answer, shown)
        if beside and len(lines) == 1:
            blocks.append(Paragraph(f"{title}: {lines[0]}", weight="strong"))
        else:
            blocks += [Paragraph(title, weight="strong"), BulletList(lines)]
        if answer.kind == "contact":
            continue
        if others := other_lines(found, answer):
            blocks += [Paragraph(changed_line(found)), BulletList(others)]
        more = left_out_line(found, answer), passed_over_line(found, answer)
        blocks += [Paragraph(line) for line in more if line]
    if result.drive is not None:
        blocks.append(Paragraph("Fan drive", weight="strong"))
        blocks.append(BulletList(drive_lines(result.drive, shown)))
    if any(answer.kind == "chain" for answer in found.answers):
        loads = f"{load_line(found, shown)} {pads_line(found, shown)}".strip()
        blocks += [Paragraph(loads)] * bool(loads)
    said = (
        others_over_line(found), _more_line(result), _next_line(found), read_as_line(found.board),
    )  # fmt: skip
    blocks += [Paragraph(line) for line in said if line]
    blocks += map(Paragraph, drawer_lines(found.drawer, SHOWN))
    asked = (part.ref for a in found.answers if a.kind == CAPACITOR for part in a.replaced)
    of_mains = any(found.needs[ref].on_mains for ref in asked)
    kinds = {answer.kind for answer in found.answers}
    cautions = [BRIEF_CAUTION, *([OF_RESISTORS] if "chain" in kinds else [])]
    blocks.append(Paragraph(" ".join(cautions)))
    blocks += map(Paragraph, [OF_CAPACITORS] * of_mains)
    if "optocoupler" in kinds:
        blocks.append(Paragraph(OF_OPTOCOUPLERS))
    title = f"{plain(found.board.name)}: {_stock_text(found)}"
    return Document(title=title, sections=(Section("", tuple(blocks), answer=True),))


def guess_line(found: Substitutes) -> str:
    """To find the value of what is replaced first, where it could not be read; else empty."""
    asked = {part.ref for answer in found.answers for part in answer.replaced}
    taken = {part.ref: part.resistance_ohm for part in all_resistors(found.board)}
    guessed = [each.ref for each in found.board.unknowns if each.ref in asked]
    if not guessed:
        return ""
    values = listed([f"{plain(ref)} ({quantity_text(taken[ref], 'Ω')})" for ref in guessed])
    return (
        f"The value of {values} is a guess. First {READ_AGAIN}; write it into "
        f"{plain(found.board.file)}, ask again. If the guess is right:"
    )


def _stock_text(found: Substitutes) -> str:
    """Where the parts are from; a drawer that lists none of the kind says nothing of them."""
    drawer, parts = found.drawer, [part for answer in found.answers for part in answer.replaced]
    of_drawer = drawer.optocouplers or drawer.diodes or drawer.capacitors
    if of_drawer or any(isinstance(part, Resistor) for part in parts):
        return f"parts from {plain(drawer.name)}"
    return "parts to buy"


def _more_line(result: Replacements) -> str:
    found = result.found
    judged = any(answer.proposals for answer in found.answers)
    several = sum(len(answer.proposals) for answer in found.answers) > 1
    passes = f"{'Each' if several else 'It'} passes the check. "
    if _warnings(found.original):
        passes = _warned_text(found, several)
    passes *= judged and not found.original.failed
    able = any(answer.kind != "contact" for answer in found.answers)
    more = "For looser matches, add --any." if able and not found.others else ""
    if few_tried(found.board, len(found.answers)):
        ref = next(part.ref for answer in found.answers for part in answer.replaced)
        more = f"Only the nearest were tried; --for {ref} tries more."
    return f"{passes}{more}"


def _warned_text(found: Substitutes, several: bool) -> str:
    """What becomes of the warnings that a check of the original has."""
    proposals = [(a, each) for a in found.answers for each in (*a.proposals, *a.others)]
    cured = [each for each in proposals if not _warnings(each[1].verdict)]
    short = [rule.limit / rule.value for rule in _warnings(found.original)
             if rule.subject == RESERVE and rule.name.startswith("CTR")]  # fmt: skip
    more = stronger_text(found.board, short[0]) if short and isfinite(short[0]) else ""
    cure = f" {more} for more reserve (its pulse is another: --any)." if more else ""
    lost = any(r.subject == SYNC and r.kind != "expectation" for r in _warnings(found.original))
    start = "zcd check has warnings for the original board"
    if lost:
        start = "Where tolerances add up the original board may lose sync"
    which = "each of these" if several else "this part"
    stay = f"with {which} {'too' if lost else 'they stay'}"
    if cured:
        answer, best = cured[0]
        ref = listed([plain(part.ref) for part in answer.replaced])
        fit = plain(parts_text(found, answer, best))
        stay = f"{'not' if lost else 'fewer'} with {fit} as {ref}"
    if lost and not cured:
        cure = f" On how many boards, and what helps: zcd check {plain(found.board.file)}."
    return f"{start}; {stay}.{cure} "


def _warnings(verdict: Verdict) -> list[Rule[float]]:
    """Rules of which a check warns; of what a controller may expect, none of the worst corners:
    how many boards come to that is not known here."""
    corners = [rule for rule in verdict.corner_rules if rule.kind != "expectation"]
    return [rule for rule in (*verdict.rules, *corners) if rule.status == "warning"]


def _next_line(found: Substitutes) -> str:
    """How to have the board checked with what was fitted."""
    fits = any(answer.proposals or answer.others for answer in found.answers)
    if not fits or guess_line(found):
        return ""
    file = plain(found.board.file)
    return (
        f"If you fit a different part: zcd new --like {file} repaired.toml, write it in, then "
        f"zcd check repaired.toml --was {file}"
    )


def replacements_document(result: Replacements) -> Document:
    """The proposals with all their figures, what was assumed, sources and cautions."""
    found, drive = result.found, result.drive
    lines = [board_line(found.board), f"Drawer: {plain(found.drawer.name)}"]
    lines += drawer_lines(found.drawer)
    lines += [line for line in (original_line(found),) if line]
    over = " ".join(line for line in (others_over_line(found), pads_line(found, SHOWN)) if line)
    return Document(
        title=plain(found.board.name),
        sections=(
            Section("", tuple(map(Paragraph, lines)), answer=True),
            *part_sections(result),
            *([Section("", (Paragraph(over),), answer=True)] if over else []),
            *([] if drive is None else _drive_sections(drive)),
            *_end_sections(result),
        ),
    )


def part_sections(result: Replacements) -> tuple[Section, ...]:
    """What is proposed for each part of the sync circuit."""
    found = result.found
    sections = []
    for answer in found.answers:
        blocks: list[Block] = []
        if answer.kind == "contact":
            blocks.append(BulletList((buy_line(found, answer),)))
        else:
            blocks.append(BulletList(answer_lines(found, answer, SHOWN)))
            if others := other_lines(found, answer):
                blocks += [Paragraph(changed_line(found)), BulletList(others)]
            lines = (left_out_line(found, answer), passed_over_line(found, answer))
            blocks += [Paragraph(line) for line in lines if line]
            if answer.proposals or answer.others:
                blocks.append(proposals_table(found, answer))
        sections.append(Section(heading(found, answer), tuple(blocks), answer=True))
    return tuple(sections)


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
