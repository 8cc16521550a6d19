"""Times of the stories: one cause, and all of them."""

from __future__ import annotations

from collections.abc import Callable

from tests.simulation.boards import board
from zcd.simulation.causes import find_cause
from zcd.simulation.flags import all_stories
from zcd.simulation.timeline import SECONDS, stories_of

QUICK_SECONDS = 3.0


def story_jobs(*, quick: bool = False) -> dict[str, Callable[[], object]]:
    """A minute of the board's time; quick: a few seconds of one cause."""
    result, seconds = board(), QUICK_SECONDS if quick else SECONDS
    one = [find_cause(result, "K1 contact opens when shaken")]
    jobs: dict[str, Callable[[], object]] = {
        "a minute of one cause": lambda: stories_of(result, one, seconds)
    }
    if quick:
        return jobs
    return {**jobs, "a minute of all causes": lambda: all_stories(result, seconds)}
