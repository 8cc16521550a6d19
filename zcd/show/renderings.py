"""Every kind of result, and how it is said: in a line, as text, as a dictionary, as a picture."""

from __future__ import annotations

import html
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cache
from io import StringIO
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from rich.console import Console

    from zcd.results import Result
    from zcd.show.cautions import Caution

TEXT_WIDTH = 100
"""Columns of a result as text."""


def _none(result: Any) -> tuple[Caution, ...]:
    return ()


@dataclass(frozen=True, slots=True)
class Rendering:
    """How one kind of result is said.

    Parameters
    ----------
    line : callable
        A few words on it.
    text : callable
        Prints it to a console.
    record : callable
        Makes the dictionary.
    plot : callable
        Draws it into axes.
    cautions : callable
        Those that are due when it is shown.
    """

    line: Callable[[Any], str]
    text: Callable[[Any, Console], None]
    record: Callable[[Any], dict[str, Any]]
    plot: Callable[[Any, Axes], None]
    cautions: Callable[[Any], tuple[Caution, ...]] = field(default=_none)


def rendering_of(result: Result) -> Rendering:
    """How a result is said."""
    for kind in type(result).__mro__:
        if kind.__name__ in _makers():
            return _made(kind.__name__)
    raise TypeError(f"no rendering of {type(result).__name__}")


def line_of(result: Result) -> str:
    """A few words on a result."""
    return rendering_of(result).line(result)


def text_of(result: Result) -> str:
    """What the command line prints of a result."""
    from rich.console import Console

    file = StringIO()
    rendering_of(result).text(result, Console(file=file, width=TEXT_WIDTH))
    return "\n".join(line.rstrip() for line in file.getvalue().splitlines())


def html_of(result: Result) -> str:
    """A result in a notebook."""
    return f'<pre style="white-space: pre-wrap">{html.escape(text_of(result))}</pre>'


def record_of(result: Result) -> dict[str, Any]:
    """A result as plain values, with the cautions that are due."""
    rendering = rendering_of(result)
    due = [caution.text for caution in rendering.cautions(result)]
    return {**rendering.record(result), **({"cautions": due} if due else {})}


def plot_of(result: Result, ax: Axes | None = None) -> Axes:
    """A result drawn into axes, by default new ones."""
    from zcd.show.draw.canvas import drawing

    if ax is None:
        from matplotlib.figure import Figure

        ax = Figure(layout="constrained").subplots()
    with drawing():
        rendering_of(result).plot(result, ax)
    return ax


@cache
def _made(name: str) -> Rendering:
    return _makers()[name]()


@cache
def _makers() -> dict[str, Callable[[], Rendering]]:
    """What makes the rendering of each kind: loads only what that needs."""
    return {
        "Solved": _solved,
        "Check": _check,
        "Population": _population,
        "Decides": _decides,
        "LossMap": _loss_map,
        "ExpectedReadings": _readings,
        "Case": _case,
        "Retest": _retest,
        "Replacements": _replacements,
        "Story": _story,
        "StoryTable": _story_table,
        "CausesForFlags": _causes,
        "Traces": _traces,
        "Comparison": _comparison,
    }


def _solved() -> Rendering:
    from zcd.show import solved as of

    return Rendering(of.solved_line, of.print_solved, of.solved_record, of.plot_solved)


def _check() -> Rendering:
    from zcd.show.cautions import TOUCHED
    from zcd.show.checked.records import check_record
    from zcd.show.draw.axes import plot_margins
    from zcd.show.tables import print_check
    from zcd.show.wording import verdict_text

    return Rendering(
        lambda result: verdict_text(result).rstrip("."),
        print_check,
        check_record,
        plot_margins,
        lambda result: TOUCHED,
    )


def _population() -> Rendering:
    from zcd.show.checked.spread_records import population_record
    from zcd.show.checked.spread_sheets import population_line, population_sheet
    from zcd.show.draw.axes import plot_population
    from zcd.show.tables import print_sheet

    return Rendering(
        population_line,
        lambda found, console: print_sheet(population_sheet(found), console),
        population_record,
        plot_population,
    )


def _decides() -> Rendering:
    from zcd.show.checked.outlook_records import decides_record
    from zcd.show.checked.outlook_sheets import decides_line, decides_sheet
    from zcd.show.draw.axes import plot_shares
    from zcd.show.tables import print_sheet

    return Rendering(
        decides_line,
        lambda found, console: print_sheet(decides_sheet(found), console),
        decides_record,
        plot_shares,
    )


def _loss_map() -> Rendering:
    from zcd.show.checked.map_records import map_record
    from zcd.show.checked.map_words import map_title
    from zcd.show.draw.axes import plot_map
    from zcd.show.tables import print_map

    return Rendering(
        map_title,
        lambda found, console: print_map(found.board, found, found.share, console),
        lambda found: map_record(found.board, found, found.share),
        plot_map,
    )


def _readings() -> Rendering:
    from zcd.diagnosis.readings import Side
    from zcd.show.draw.axes import plot_readings
    from zcd.show.found.findings import cautions_for
    from zcd.show.found.records import card_record
    from zcd.show.found.tables import print_card

    return Rendering(
        lambda found: f"{len(found.lines)} readings of {found.board.name}",
        lambda found, console: print_card(
            found.board, found.circuit, found.meter, found.lines, console
        ),
        lambda found: card_record(found.board, found.circuit, found.lines),
        plot_readings,
        lambda found: cautions_for(Side),
    )


def _case() -> Rendering:
    from zcd.show.draw.axes import plot_ranking
    from zcd.show.found.findings import cautions_of_step
    from zcd.show.found.records import case_record
    from zcd.show.found.tables import print_case

    return Rendering(
        lambda case: case.conclusion,
        print_case,
        case_record,
        plot_ranking,
        lambda case: cautions_of_step(case.diagnosis),
    )


def _retest() -> Rendering:
    from zcd.show.draw.axes import plot_retest
    from zcd.show.found import measured as of

    return Rendering(
        of.retest_line, of.print_retest, of.retest_record, plot_retest, of.retest_cautions
    )


def _replacements() -> Rendering:
    from zcd.show.cautions import FITTED
    from zcd.show.draw.axes import plot_replacements
    from zcd.show.drawer.records import substitutes_record
    from zcd.show.drawer.tables import print_substitutes

    return Rendering(
        lambda result: "something for every part" if result.all_found else "not for every part",
        lambda result, console: print_substitutes(result.found, result.drive, console),
        lambda result: substitutes_record(result.found, result.drive),
        plot_replacements,
        lambda result: FITTED,
    )


def _story() -> Rendering:
    from zcd.show.draw.axes import plot_story
    from zcd.show.told.records import story_record
    from zcd.show.told.tables import print_story, story_cautions
    from zcd.show.told.words import headline
    from zcd.story.causes import Side

    return Rendering(
        headline,
        lambda story, console: print_story(story, story.board, console),
        lambda story: story_record(story, story.board),
        plot_story,
        lambda story: story_cautions((), fan=story.cause.side is Side.FAN),
    )


def _story_table() -> Rendering:
    from zcd.show.draw.axes import plot_flags
    from zcd.show.told.records import table_record
    from zcd.show.told.tables import print_table, story_cautions

    return Rendering(
        lambda table: f"{len(table.stories)} causes of {table.board.name}",
        lambda table, console: print_table(table.stories, table.board, console),
        lambda table: table_record(table.stories, table.board),
        plot_flags,
        lambda table: story_cautions((), fan=True),
    )


def _causes() -> Rendering:
    from zcd.show.draw.axes import plot_causes
    from zcd.show.told.records import fits_record
    from zcd.show.told.tables import fits_cautions, print_fits
    from zcd.show.told.words import advice_lines

    return Rendering(
        lambda found: f"{len(found.fits)} causes raise {', '.join(sorted(found.flags)) or 'none'}",
        lambda found, console: print_fits(
            found.fits, found.flags, found.told, found.board, console
        ),
        lambda found: fits_record(
            found.fits,
            found.flags,
            found.told,
            advice_lines(found.fits, found.flags, found.told),
            found.board,
        ),
        plot_causes,
        lambda found: fits_cautions(found.fits, found.told),
    )


def _traces() -> Rendering:
    from zcd.show.cautions import PROBED
    from zcd.show.draw.axes import plot_capture
    from zcd.show.found import measured as of

    return Rendering(
        lambda traces: of.capture_line(traces.board, traces).rstrip("."),
        of.print_capture,
        of.capture_record,
        plot_capture,
        lambda traces: PROBED,
    )


def _comparison() -> Rendering:
    from zcd.show import comparison as of
    from zcd.show.draw.axes import plot_comparison

    return Rendering(
        lambda found: of.verdict_line(found).rstrip("."),
        lambda found, console: of.print_compared(found, found.circuit, console),
        of.comparison_record,
        plot_comparison,
        lambda found: of.compared_cautions(found, found.circuit),
    )
