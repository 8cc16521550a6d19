"""What the story command does with its results: tables, JSON, pictures."""

from __future__ import annotations

from typing import TYPE_CHECKING

from zcd.board.model import Board
from zcd.board.units import refusal
from zcd.show.files import require_place
from zcd.show.output import print_json, print_tables
from zcd.story.causes import Side, find_cause, of_amount
from zcd.story.controller import FAN, SYNC
from zcd.story.flags import Telling, all_stories, fitting, telling
from zcd.story.timeline import stories_of

if TYPE_CHECKING:
    from zcd.diagnosis.meters import Meter

NONE = "none"


def parse_flags(text: str) -> frozenset[str]:
    """Flags as a person writes them: ``sync,fan``, ``fan``, or ``none``.

    Raises
    ------
    InputError
        If one of them is no flag.
    """
    words = [word.strip().lower() for word in text.replace("+", ",").split(",")]
    words = [word for word in words if word]
    if not words or set(words) - {SYNC, FAN, NONE} or (NONE in words and len(words) > 1):
        raise refusal(text, '"sync,fan", "sync", "fan" or "none"', "--flags")
    return frozenset(words) - {NONE}


def tell(
    board: Board,
    key: str,
    amount: float | None,
    seconds: float,
    *,
    plots: str | None,
    kind: str,
    as_json: bool,
) -> None:
    """Tell the story of one cause; pictures become files of a kind."""
    cause = find_cause(board, key)
    if amount is not None:
        cause = of_amount(cause, amount)
    if plots is not None:
        require_place(plots, folder=True)
    (story,) = stories_of(board, [cause], seconds)
    if plots is not None:
        from zcd.show.draw.plots import save_story_plots

        save_story_plots(plots, board=board, story=story, kind=kind)
    if as_json:
        from zcd.show.told.records import story_record
        from zcd.show.told.tables import story_cautions

        due = story_cautions((), fan=story.cause.side is Side.FAN)
        print_json(story_record(story, board), due)
    else:
        from zcd.show.told.tables import print_story

        print_tables(lambda console: print_story(story, board, console))


def tell_all(board: Board, seconds: float, *, as_json: bool) -> None:
    """Tell all causes against their flags."""
    stories = all_stories(board, seconds)
    if as_json:
        from zcd.show.told.records import table_record
        from zcd.show.told.tables import story_cautions

        print_json(table_record(stories, board), story_cautions((), fan=True))
    else:
        from zcd.show.told.tables import print_table

        print_tables(lambda console: print_table(stories, board, console))


def turn_round(
    board: Board,
    flags: frozenset[str],
    seconds: float,
    *,
    meter: Meter | None = None,
    as_json: bool,
) -> None:
    """Find the causes behind some flags, and the first reading, with a meter or the usual one."""
    from zcd.diagnosis.atlas import make_atlas
    from zcd.diagnosis.meters import usual_meter
    from zcd.show.progress import progress_bar
    from zcd.show.told.words import advice_lines

    fits = fitting(all_stories(board, seconds), flags)
    told: Telling | None = None
    if fits:
        atlas = make_atlas(board, meter or usual_meter())
        with progress_bar(len(atlas.readings)) as begin:
            told = telling(atlas, fits, begin)
    if as_json:
        from zcd.show.told.records import fits_record
        from zcd.show.told.tables import fits_cautions

        record = fits_record(fits, flags, told, advice_lines(fits, flags, told), board)
        print_json(record, fits_cautions(fits, told))
    else:
        from zcd.show.told.tables import print_fits

        print_tables(lambda console: print_fits(fits, flags, told, board, console))
