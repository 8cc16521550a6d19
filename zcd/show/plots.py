"""All figures and how they leave the program, behind one door."""

from __future__ import annotations

from pathlib import Path

from zcd.board.model import Board
from zcd.engine.solution import Solution
from zcd.margin.maps import LossMap
from zcd.show.canvas import figure_svg, save_figure
from zcd.show.files import make_folder, require_place
from zcd.show.lossmap import loss_map_figure
from zcd.show.schematic import schematic
from zcd.show.sketch import sketch_figure
from zcd.show.waveform import waveform_figure
from zcd.sync.lock import Lock

__all__ = ["figure_svg", "loss_map_figure", "save_figure", "save_plots", "waveform_figure"]


def save_plots(
    folder: str | Path, *, board: Board, solution: Solution, lock: Lock, loss_map: LossMap
) -> tuple[Path, ...]:
    """Write all figures as PNG files.

    Parameters
    ----------
    folder : str or Path
        Made if it is not there.
    board, solution, lock, loss_map
        As for the figures.

    Returns
    -------
    paths : tuple of Path

    Raises
    ------
    InputError
        If they cannot be written.
    """
    figures = (
        sketch_figure(schematic(board)),
        waveform_figure(board, solution, lock),
        loss_map_figure(board, loss_map),
    )
    place = make_folder(folder)
    files = [place / f"{figure.get_gid()}.png" for figure in figures]
    for path in files:
        require_place(path)
    return tuple(save_figure(figure, path) for figure, path in zip(figures, files, strict=True))
