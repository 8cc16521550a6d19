"""Every kind of result, and how it is said: in a line, as text, as a dictionary, as a picture."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace
from functools import cache
from typing import TYPE_CHECKING, Any, TypeVar

from zcd.serialize import SCHEMA_VERSION, Record, to_dict

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from zcd.board.model import Board
    from zcd.report.cautions import Caution
    from zcd.report.document import Document
    from zcd.report.table import Table
    from zcd.results import Result

Made = TypeVar("Made")


def _none(result: Any) -> tuple[Caution, ...]:
    return ()


@dataclass(frozen=True, slots=True)
class Rendering:
    """How one kind of result is said.

    Parameters
    ----------
    line : callable
        A few words on it.
    document : callable
        All that it says.
    answer : callable, optional
        What fits one screen; by default the sections of the document that are marked so.
    plot : callable
        Draws it into axes.
    cautions : callable
        Those that are due when it is shown.
    record : callable
        Makes the dictionary, where the result's class does not say it.
    tables : mapping of str to callable
        Make its tables by name; None: this result does not have it.
    pictures : mapping of str to callable
        Make its figures by name, likewise.
    """

    line: Callable[[Any], str]
    document: Callable[[Any], Document]
    plot: Callable[[Any, Axes], None]
    cautions: Callable[[Any], tuple[Caution, ...]] = field(default=_none)
    record: Callable[[Any], dict[str, Any]] = field(default=to_dict)
    tables: Mapping[str, Callable[[Any], Table | None]] = field(default_factory=dict)
    pictures: Mapping[str, Callable[[Any], Figure | None]] = field(default_factory=dict)
    answer: Callable[[Any], Document] | None = None


def rendering_of(result: Result) -> Rendering:
    """How a result is said; of a board that is not isolated, first of all that it is not."""
    for kind in type(result).__mro__:
        if kind.__name__ in _makers():
            made, board = _made(kind.__name__), getattr(result, "board", None)
            board = board or getattr(getattr(result, "found", None), "board", None)
            return made if board is None or board.is_isolated else _on_board(made, board)
    raise TypeError(f"no rendering of {type(result).__name__}")


def _on_board(made: Rendering, board: Board) -> Rendering:
    """A rendering whose documents and cautions are those for a board."""
    from zcd.report.cautions import cautions_on

    answer = made.answer
    return replace(
        made,
        document=lambda result: made.document(result).on_board(board),
        cautions=lambda result: cautions_on(board, made.cautions(result)),
        answer=None if answer is None else lambda result: answer(result).on_board(board),
    )


def line_of(result: Result) -> str:
    """A few words on a result."""
    return rendering_of(result).line(result)


def document_of(result: Result) -> Document:
    """All that a result says."""
    return rendering_of(result).document(result)


def answer_of(result: Result) -> Document:
    """What a result says on one screen."""
    rendering = rendering_of(result)
    if rendering.answer is not None:
        return rendering.answer(result)
    return rendering.document(result).answer


def text_of(result: Result) -> str:
    """What the command line prints of a result, on one screen."""
    from zcd.report.terminal import document_text

    return document_text(answer_of(result))


def html_of(result: Result) -> str:
    """A result in a notebook."""
    from zcd.report.html import fragment_html

    return fragment_html(document_of(result))


def board_html(board: Board) -> str:
    """A board in a notebook."""
    from zcd.report.html import fragment_html
    from zcd.report.of_check import board_document

    return fragment_html(board_document(board))


def record_of(result: Result) -> dict[str, Any]:
    """A result as plain values, with the cautions that are due."""
    rendering = rendering_of(result)
    return numbered(rendering.record(result), rendering.cautions(result))


def numbered(record: dict[str, Any], cautions: Iterable[Caution] = ()) -> dict[str, Any]:
    """What programs get: behind the number of its form, with the cautions that are due."""
    due = [caution.text for caution in cautions]
    result = {"schema": SCHEMA_VERSION, **record, **({"cautions": due} if due else {})}
    plain: Record = to_dict(result)
    return plain


def plot_of(result: Result, ax: Axes | None = None) -> Axes:
    """A result drawn into axes, by default new ones."""
    from zcd.drawing.canvas import drawing

    if ax is None:
        from matplotlib.figure import Figure

        ax = Figure(layout="constrained").subplots()
    with drawing():
        rendering_of(result).plot(result, ax)
    return ax


def table_of(result: Result, name: str | None) -> Table:
    """One table of a result, by default the first."""
    tables = rendering_of(result).tables
    if not tables and name is None:
        return next(document_of(result).tables())
    return _named(result, tables, name, "table")


def picture_of(result: Result, name: str | None) -> Figure:
    """One whole figure of a result, by default the first; else what `plot_of` draws."""
    from typing import cast

    pictures = rendering_of(result).pictures
    if not pictures and name is None:
        return cast("Figure", plot_of(result).figure)
    return _named(result, pictures, name, "picture")


def _named(
    result: Result,
    makers: Mapping[str, Callable[[Any], Made | None]],
    name: str | None,
    what: str,
) -> Made:
    from zcd.board.units import nearest
    from zcd.errors import invalid_value

    name = next(iter(makers)) if name is None else name
    made = makers[name](result) if name in makers else None
    if made is None:
        there = tuple(key for key in makers if key != name)
        allowed = f"one of {', '.join(there)}{nearest(name, there)}" if there else "no name"
        raise invalid_value(name, allowed, f"{what} of {type(result).__name__}")
    return made


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
        "Sensitivity": _decides,
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
        "Windings": _windings,
    }


def _solved() -> Rendering:
    from zcd.drawing.axes import plot_solved
    from zcd.drawing.named_figures import solved_picture
    from zcd.report import of_solved as of

    return Rendering(
        of.solved_line,
        of.solved_document,
        plot_solved,
        tables={"cases": of.solved_table, "elements": of.elements_table},
        pictures={"waveforms": solved_picture},
    )


def _check() -> Rendering:
    from zcd.drawing.axes import plot_margins
    from zcd.drawing.named_figures import check_pictures
    from zcd.report.cautions import TOUCHED
    from zcd.report.named_tables import check_tables
    from zcd.report.of_check_answer import headline_text
    from zcd.report.of_check_document import check_answer, check_document

    return Rendering(
        lambda result: headline_text(result).rstrip("."),
        check_document,
        plot_margins,
        lambda result: TOUCHED,
        answer=check_answer,
        tables=check_tables(),
        pictures=check_pictures(),
    )


def _population() -> Rendering:
    from zcd.drawing.axes import plot_population
    from zcd.report.of_check_document import population_document
    from zcd.report.of_spread import population_line

    return Rendering(population_line, population_document, plot_population)


def _decides() -> Rendering:
    from zcd.drawing.axes import plot_shares
    from zcd.report.of_check_document import decides_document
    from zcd.report.of_outlook import decides_line

    return Rendering(decides_line, decides_document, plot_shares)


def _loss_map() -> Rendering:
    from zcd.drawing.axes import plot_map
    from zcd.drawing.named_figures import map_picture
    from zcd.report.of_check_document import map_document
    from zcd.report.of_loss_map import loss_map_title

    return Rendering(loss_map_title, map_document, plot_map, pictures={"map": map_picture})


def _readings() -> Rendering:
    from zcd.diagnosis.readings import AccessLevel
    from zcd.drawing.axes import plot_readings
    from zcd.report.of_diagnosis import cautions_for
    from zcd.report.of_diagnosis_dict import expected_readings_to_dict
    from zcd.report.of_diagnosis_document import card_document
    from zcd.report.of_readings_card import card_screen_document

    return Rendering(
        lambda result: f"{len(result.lines)} readings of {result.board.name}",
        card_document,
        plot_readings,
        lambda result: cautions_for(AccessLevel),
        expected_readings_to_dict,
        answer=card_screen_document,
    )


def _case() -> Rendering:
    from zcd.drawing.axes import plot_ranking
    from zcd.drawing.named_figures import case_picture
    from zcd.report.named_tables import case_tables
    from zcd.report.of_diagnosis import cautions_of_step
    from zcd.report.of_diagnosis_answer import answer_document
    from zcd.report.of_diagnosis_dict import case_to_dict
    from zcd.report.of_diagnosis_document import case_document

    return Rendering(
        lambda case: case.conclusion,
        case_document,
        plot_ranking,
        lambda case: cautions_of_step(case.diagnosis),
        case_to_dict,
        case_tables(),
        {"circuit": case_picture},
        answer_document,
    )


def _retest() -> Rendering:
    from zcd.drawing.axes import plot_retest
    from zcd.report import of_retest as of

    return Rendering(
        lambda result: of.retest_line(result).partition(". ")[0],
        of.retest_document,
        plot_retest,
        of.retest_cautions,
        of.retest_to_dict,
        answer=of.retest_answer,
    )


def _replacements() -> Rendering:
    from zcd.drawing.axes import plot_replacements
    from zcd.report.cautions import FITTED
    from zcd.report.named_tables import replacement_tables
    from zcd.report.of_substitutes_dict import substitutes_to_dict
    from zcd.report.of_substitutes_document import brief_document, replacements_document

    return Rendering(
        lambda result: "something for every part" if result.all_found else "not for every part",
        replacements_document,
        plot_replacements,
        lambda result: FITTED,
        substitutes_to_dict,
        replacement_tables(),
        answer=brief_document,
    )


def _story() -> Rendering:
    from zcd.drawing.axes import plot_story
    from zcd.drawing.named_figures import story_pictures
    from zcd.report.of_story import events_table, headline, seen_table
    from zcd.report.of_story_dict import story_to_dict
    from zcd.report.of_story_document import story_cautions, story_document
    from zcd.simulation.causes import Subsystem

    return Rendering(
        headline,
        story_document,
        plot_story,
        lambda story: story_cautions((), fan=story.cause.subsystem is Subsystem.FAN),
        story_to_dict,
        {"events": events_table, "circuit": seen_table},
        story_pictures(),
    )


def _story_table() -> Rendering:
    from zcd.drawing.axes import plot_flags
    from zcd.report.of_story_dict import stories_to_dict
    from zcd.report.of_story_document import story_cautions, table_document

    return Rendering(
        lambda table: f"{len(table.stories)} causes of {table.board.name}",
        table_document,
        plot_flags,
        lambda table: story_cautions((), fan=True),
        stories_to_dict,
    )


def _causes() -> Rendering:
    from zcd.drawing.axes import plot_causes
    from zcd.report.of_story_dict import fits_to_dict
    from zcd.report.of_story_document import causes_document, fits_cautions

    return Rendering(
        lambda result: (
            f"{len(result.fits)} causes raise {', '.join(sorted(result.flags)) or 'none'}"
        ),
        causes_document,
        plot_causes,
        lambda result: fits_cautions(result.fits, result.told),
        fits_to_dict,
    )


def _traces() -> Rendering:
    from zcd.drawing.axes import plot_capture
    from zcd.drawing.captures import capture_figure
    from zcd.report import of_capture as of
    from zcd.report.cautions import PROBED

    return Rendering(
        lambda traces: of.capture_line(traces).rstrip("."),
        of.capture_document,
        plot_capture,
        lambda traces: PROBED,
        of.capture_to_dict,
        pictures={"capture": lambda traces: capture_figure(traces.board, traces)},
        answer=of.capture_answer,
    )


def _comparison() -> Rendering:
    from zcd.drawing.axes import plot_comparison
    from zcd.drawing.overlay import overlay_figure
    from zcd.report import of_spice as of

    return Rendering(
        lambda result: of.verdict_line(result).rstrip("."),
        of.comparison_document,
        plot_comparison,
        of.compared_cautions,
        of.comparison_to_dict,
        pictures={"overlay": overlay_figure},
    )


def _windings() -> Rendering:
    from zcd.drawing.axes import plot_windings
    from zcd.report import of_windings as of
    from zcd.report.cautions import UNPLUGGED

    return Rendering(
        lambda result: of.headline(result.verdict).rstrip("."),
        of.verdict_document,
        plot_windings,
        lambda result: UNPLUGGED,
    )
