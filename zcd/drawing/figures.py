"""All figures and how they leave the program, behind one door."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from zcd.board.model import Board
from zcd.circuit.build import build_circuit
from zcd.diagnosis.rank import Ranked
from zcd.drawing.canvas import figure_svg, save_figure
from zcd.drawing.loss_map import loss_map_figure
from zcd.drawing.motor import drive_figure, fan_figure
from zcd.drawing.outlook import outlook_figures
from zcd.drawing.schematic import schematic
from zcd.drawing.sketch import sketch_figure
from zcd.drawing.timeline import timeline_figure
from zcd.drawing.waveforms import waveform_figure
from zcd.engine.solution import Solution
from zcd.engine.solve import solve
from zcd.files import make_folder, require_place
from zcd.margin.loss_map import LossMap
from zcd.margin.outlook import Outlook
from zcd.report.of_diagnosis import failed_marks
from zcd.simulation.causes import Subsystem
from zcd.simulation.sync_view import faulty_circuit
from zcd.simulation.timeline import Story
from zcd.sync.lock import Lock, judge

if TYPE_CHECKING:
    from matplotlib.figure import Figure

__all__ = [
    "drive_figure",
    "fan_figure",
    "figure_svg",
    "loss_map_figure",
    "outlook_figures",
    "save_figure",
    "save_plots",
    "save_story_plots",
    "story_circuit_figure",
    "story_figures",
    "story_waveform_figure",
    "timeline_figure",
    "waveform_figure",
]


def save_plots(
    folder: str | Path,
    *,
    board: Board,
    solution: Solution,
    lock: Lock,
    loss_map: LossMap,
    outlook: Outlook | None = None,
    kind: str = "png",
) -> tuple[Path, ...]:
    """Write the figures as files.

    Parameters
    ----------
    folder : str or Path
        Made if it is not there.
    board, solution, lock, loss_map, outlook
        As for the figures; without an outlook there are two fewer.
    kind : str
        ``png`` or ``svg``.

    Returns
    -------
    paths : tuple of Path

    Raises
    ------
    InputError
        If they cannot be written.
    """
    figures = [
        sketch_figure(schematic(board)),
        waveform_figure(board, solution, lock),
        loss_map_figure(board, loss_map, loss_map.share),
    ]
    if outlook is not None:
        figures += outlook_figures(board, outlook)
    return _save(folder, figures, kind)


def save_story_plots(
    folder: str | Path, *, board: Board, story: Story, kind: str = "png"
) -> tuple[Path, ...]:
    """Write the pictures of a story as files: those of `story_figures`.

    Parameters
    ----------
    folder : str or Path
        Made if it is not there.
    board : Board
    story : Story
    kind : str
        ``png`` or ``svg``.

    Returns
    -------
    paths : tuple of Path

    Raises
    ------
    InputError
        If they cannot be written.
    """
    return _save(folder, story_figures(board, story), kind)


def story_figures(board: Board, story: Story) -> tuple[Figure, ...]:
    """All pictures of a story: circuit, timeline, one mains period, drive, fan.

    Parameters
    ----------
    board : Board
    story : Story

    Returns
    -------
    figures : tuple of Figure
    """
    return (
        story_circuit_figure(story),
        timeline_figure(story, board.name),
        story_waveform_figure(story),
        drive_figure(story),
        fan_figure(story),
    )


def story_circuit_figure(story: Story) -> Figure:
    """Circuit diagram, the cause marked where it is in it."""
    board, cause = story.board, story.cause
    ranked = Ranked(fault=cause.fault, probability=1.0, severity=cause.severity)
    in_circuit = cause.subsystem in (Subsystem.FEED, Subsystem.SYNC)
    failed = failed_marks(ranked, build_circuit(board)) if in_circuit else {}
    return sketch_figure(schematic(board, failed=failed))


def story_waveform_figure(story: Story) -> Figure:
    """One mains period with the cause at work."""
    solution = solve(faulty_circuit(story.board, story.cause))
    return waveform_figure(story.board, solution, judge(solution, story.board))


def _save(folder: str | Path, figures: Sequence[Figure], kind: str) -> tuple[Path, ...]:
    place = make_folder(folder)
    files = [place / f"{figure.get_gid()}.{kind}" for figure in figures]
    for path in files:
        require_place(path)
    return tuple(save_figure(figure, path) for figure, path in zip(figures, files, strict=True))
