"""What the story command does with its results: tables, JSON, pictures."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from zcd.board.model import Board
from zcd.cli.output import print_result
from zcd.errors import invalid_value
from zcd.files import require_place
from zcd.simulation.causes import find_cause, of_amount
from zcd.simulation.controller import FAN, SYNC
from zcd.simulation.flags import StoryTable, all_stories, causes_for_flags
from zcd.simulation.timeline import stories_of

if TYPE_CHECKING:
    from zcd.diagnosis.job import Job
    from zcd.diagnosis.job_history import FaultStatistics

NONE = "none"


def parse_flags(text: str) -> frozenset[str]:
    """Flags as a person writes them: ``sync,fan``, ``fan``, or ``none``.

    Raises
    ------
    InputError
        If one of them is no flag.
    """
    words = [word.strip().lower() for word in re.split(r"[+,\s]+", text)]
    words = [word for word in words if word]
    if not words or set(words) - {SYNC, FAN, NONE} or (NONE in words and len(words) > 1):
        raise invalid_value(text, '"sync,fan", "sync", "fan" or "none"', "--flags")
    return frozenset(words) - {NONE}


def show_story(
    board: Board,
    key: str,
    amount: float | None,
    seconds: float,
    *,
    plots: str | None,
    kind: str,
    as_json: bool,
    full: bool,
) -> None:
    """Tell the story of one cause; pictures become files of a kind."""
    cause = find_cause(board, key)
    if amount is not None:
        cause = of_amount(cause, amount)
    if plots is not None:
        require_place(plots, folder=True)
    (story,) = stories_of(board, [cause], seconds)
    if plots is not None:
        from zcd.drawing.figures import save_story_plots

        save_story_plots(plots, board=board, story=story, kind=kind)
    print_result(story, as_json, full=full, written=plots)


def show_stories(board: Board, seconds: float, *, as_json: bool, full: bool) -> None:
    """Tell all causes against their flags."""
    stories = all_stories(board, seconds)
    print_result(StoryTable(board=board, seconds=seconds, stories=stories), as_json, full=full)


def show_causes_for_flags(
    job: Job,
    flags: frozenset[str],
    seconds: float,
    *,
    statistics: FaultStatistics | None,
    as_json: bool,
    full: bool,
) -> None:
    """Find the causes behind some flags, and the first reading."""
    from zcd.circuit.build import build_circuit
    from zcd.diagnosis.readings import useful_readings
    from zcd.progress import progress_bar

    with progress_bar(len(useful_readings(job.board, build_circuit(job.board)))) as begin:
        result = causes_for_flags(
            job.board, flags, seconds, meter=job.meter, statistics=statistics, progress=begin
        )
    print_result(result, as_json, full=full)
