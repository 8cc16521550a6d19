"""The record of a check as one HTML file that needs nothing else and prints on A4."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from zcd.board.library import odd_values
from zcd.board.model import Board
from zcd.circuit.build import build_circuit
from zcd.diagnosis.meters import usual_meter
from zcd.diagnosis.points import expected_at_nodes
from zcd.engine.solution import Solution
from zcd.engine.solve import solve
from zcd.margin.check import Check
from zcd.margin.loss_share import LossShare
from zcd.margin.maps import LossMap
from zcd.show.cautions import DEAD, GENERAL, ISOLATED, LIVE
from zcd.show.files import write_whole
from zcd.show.findings import (
    Case,
    failed_marks,
    measured_sheet,
    node_texts,
    part_texts,
    ranked_sheet,
    sentence,
)
from zcd.show.outlook_sheets import outlook_sheets
from zcd.show.plots import figure_svg, loss_map_figure, outlook_figures, waveform_figure
from zcd.show.schematic import schematic
from zcd.show.sheets import (
    FAILS,
    assumptions_sheet,
    board_line,
    failed_lines,
    headroom_sheet,
    levels_sheet,
    life_sheet,
    resistors_sheet,
    rules_sheet,
    shorts_sheet,
    surge_sheet,
)
from zcd.show.sketch import Sketch, sketch_svg
from zcd.show.spread_sheets import spread_sheets
from zcd.show.wording import SourceNotes, plain, verdict_text, version_text
from zcd.sync.lock import Lock, judge

if TYPE_CHECKING:
    from matplotlib.figure import Figure

CAUTION_GROUPS = (
    ("In every case", GENERAL),
    ("Before a part is touched, and for ohms and diode tests", DEAD),
    ("Readings on the isolated side, under power", ISOLATED),
    ("Readings on the mains side, under power", LIVE),
)
_TEMPLATES = Path(__file__).with_name("templates")


def write_report(
    path: str | Path,
    *,
    board: Board,
    check: Check,
    solution: Solution,
    lock: Lock,
    loss_map: LossMap,
    loss_share: LossShare,
    case: Case | None = None,
) -> Path:
    """Write the report of a check.

    Parameters
    ----------
    path : str or Path
        HTML file to make; an old one is replaced when the new one is complete.
    board : Board
    check : Check
    solution, lock : Solution, Lock
        Of the board at nominal mains; the first row is drawn.
    loss_map, loss_share : LossMap, LossShare
    case : Case, optional
        What was found on the board before the repair.

    Returns
    -------
    Path

    Raises
    ------
    InputError
        If the file cannot be written.
    """
    notes = SourceNotes()
    words: dict[str, Any] = {
        "board_name": plain(board.name),
        "board_line": board_line(board),
        "made_on": date.today().isoformat(),
        "version": version_text(),
        "verdict": verdict_text(check),
        "passes": check.passes,
        "failed": failed_lines(check),
        "fails": FAILS,
        "odd_values": odd_values(board),
        "case": _case_words(case),
        "levels": levels_sheet(check),
        "resistors": resistors_sheet(check),
        "headroom": headroom_sheet(check),
        "life": life_sheet(check),
        "rules": rules_sheet(check, notes),
        "spread": spread_sheets(check, notes),
        "outlook": outlook_sheets(check),
        "shorts": shorts_sheet(check),
        "surge": surge_sheet(check, notes),
        "assumptions": assumptions_sheet(board, notes),
        "origins": notes.origins,
        "sources": notes.sources,
        "caution_groups": CAUTION_GROUPS,
    }
    circuit = build_circuit(board)
    expected = expected_at_nodes(board, circuit, usual_meter() if case is None else case.job.meter)
    pictures = {
        "schematic": sketch_svg(schematic(board, at_nodes=node_texts(expected, circuit))),
        "waveforms": figure_svg(waveform_figure(board, solution, lock)),
        "loss_map": figure_svg(loss_map_figure(board, loss_map, loss_share)),
    }
    if check.outlook is not None:
        decides, years = outlook_figures(board, check.outlook)
        pictures |= {"decides_picture": figure_svg(decides), "years_picture": figure_svg(years)}
    if case is not None:
        pictures["before"] = figure_svg(_before_figure(case))
        pictures["found"] = sketch_svg(_found_sketch(case))
    return write_whole(path, _render(words, pictures).encode("utf-8"))


def _case_words(case: Case | None) -> dict[str, Any] | None:
    """What was found before the repair."""
    if case is None:
        return None
    return {
        "board_name": plain(case.job.board.name),
        "note": plain(case.job.note),
        "flags": ", ".join(case.job.flags),
        "conclusion": sentence(case.diagnosis.conclusion),
        "measured": measured_sheet(case.diagnosis.measured, case.circuit),
        "ranked": ranked_sheet(case.diagnosis, case.circuit),
    }


def _before_figure(case: Case) -> Figure:
    """One period of the faulty board, with the likeliest fault at its likeliest size."""
    first = case.diagnosis.ranked[0]
    circuit = case.circuit
    if first.fault is not None:
        circuit = first.fault.edit(circuit, np.array([first.severity]))
    solution = solve(circuit)
    return waveform_figure(case.job.board, solution, judge(solution, case.job.board), name="before")


def _found_sketch(case: Case) -> Sketch:
    """The faulty board with what was read at its nodes, the likeliest fault marked."""
    return schematic(
        case.job.board,
        at_nodes=node_texts(case.diagnosis.measured, case.circuit),
        at_parts=part_texts(case.diagnosis.measured, case.circuit),
        failed=failed_marks(case.diagnosis.ranked[0], case.circuit),
    )


def _render(words: dict[str, Any], pictures: dict[str, str]) -> str:
    """Fill the template; all words are escaped, only our own drawings are not."""
    from jinja2 import Environment, FileSystemLoader, StrictUndefined
    from markupsafe import Markup

    environment = Environment(
        loader=FileSystemLoader(_TEMPLATES), autoescape=True, undefined=StrictUndefined
    )
    drawn = {name: Markup(svg) for name, svg in pictures.items()}
    return environment.get_template("report.html.j2").render(**words, **drawn)
