"""What the story command does with its results: tables, JSON, pictures."""

from __future__ import annotations

from zcd.board.model import Board
from zcd.cli.output import print_result
from zcd.files import require_place
from zcd.simulation.causes import find_cause, of_amount
from zcd.simulation.flags import StoryTable, all_stories
from zcd.simulation.timeline import stories_of


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
