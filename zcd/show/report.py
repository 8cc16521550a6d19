"""The record of a check as one HTML file that needs nothing else and prints on A4."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Any

from zcd.board.library import odd_values
from zcd.board.model import Board
from zcd.engine.solve import Solution
from zcd.margin.check import Check
from zcd.margin.maps import LossMap
from zcd.show.cautions import DEAD, GENERAL, ISOLATED, LIVE
from zcd.show.files import write_whole
from zcd.show.plots import figure_svg, loss_map_figure, waveform_figure
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
)
from zcd.show.wording import SourceNotes, plain, verdict_text, version_text
from zcd.sync.lock import Lock

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
    diagnosis: object | None = None,
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
    loss_map : LossMap
    diagnosis : object, optional
        What the template's ``diagnosis`` block shows.

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
        "diagnosis": diagnosis,
        "levels": levels_sheet(check),
        "resistors": resistors_sheet(check),
        "headroom": headroom_sheet(check),
        "life": life_sheet(check),
        "rules": rules_sheet(check, notes),
        "assumptions": assumptions_sheet(board, notes),
        "origins": notes.origins,
        "sources": notes.sources,
        "caution_groups": CAUTION_GROUPS,
    }
    pictures = {
        "waveforms": figure_svg(waveform_figure(board, solution, lock)),
        "loss_map": figure_svg(loss_map_figure(board, loss_map)),
    }
    return write_whole(path, _render(words, pictures).encode("utf-8"))


def _render(words: dict[str, Any], pictures: dict[str, str]) -> str:
    """Fill the template; all words are escaped, only our own drawings are not."""
    from jinja2 import Environment, FileSystemLoader, StrictUndefined
    from markupsafe import Markup

    environment = Environment(
        loader=FileSystemLoader(_TEMPLATES), autoescape=True, undefined=StrictUndefined
    )
    drawn = {name: Markup(svg) for name, svg in pictures.items()}
    return environment.get_template("report.html.j2").render(**words, **drawn)
