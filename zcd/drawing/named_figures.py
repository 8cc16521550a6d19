"""Whole figures of boards and results, by name."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from zcd.board.model import Board
    from zcd.diagnosis.case import Case
    from zcd.diagnosis.rank import Ranked
    from zcd.margin.check import Check
    from zcd.margin.loss_map import LossMap
    from zcd.simulation.timeline import Story
    from zcd.sync.solved import Solved


def board_picture(board: Board, failed: Ranked | None = None) -> Figure:
    """Circuit diagram; a failed part is boxed, crossed and named."""
    from zcd.circuit.build import build_circuit
    from zcd.drawing.schematic import schematic
    from zcd.drawing.sketch import sketch_figure
    from zcd.report.of_diagnosis import failed_marks

    circuit = build_circuit(board)
    marks = {} if failed is None else failed_marks(failed, circuit)
    return sketch_figure(schematic(board, circuit, failed=marks))


def solved_picture(solved: Solved) -> Figure:
    """Mains, LED current and pin of the first case."""
    from zcd.drawing.waveforms import waveform_figure

    return waveform_figure(solved.board, solved.solution, solved.lock)


def check_pictures() -> dict[str, Callable[[Check], Figure | None]]:
    """Figures of a check; those of the outlook only where it was worked out."""
    from zcd.drawing import outlook as of

    return {
        "circuit": lambda check: board_picture(check.board),
        "shares": lambda check: (
            of.sensitivity_figure(check.board, check.outlook.sensitivity) if check.outlook else None
        ),
        "years": lambda check: (
            of.years_figure(check.board, check.outlook.ageing) if check.outlook else None
        ),
    }


def map_picture(loss_map: LossMap) -> Figure:
    """Where sync is lost, with titles."""
    from zcd.drawing.loss_map import loss_map_figure

    return loss_map_figure(loss_map.board, loss_map, loss_map.share)


def case_picture(case: Case) -> Figure:
    """Circuit diagram with the likeliest fault marked."""
    return board_picture(case.board, case.ranked[0])


def story_pictures() -> dict[str, Callable[[Story], Figure | None]]:
    """Figures of a story."""
    from zcd.drawing import figures as of

    return {
        "timeline": lambda story: of.timeline_figure(story, story.board.name),
        "circuit": of.story_circuit_figure,
        "waveforms": of.story_waveform_figure,
        "drive": of.drive_figure,
        "fan": of.fan_figure,
    }
