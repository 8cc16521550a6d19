"""Stories in words, as tables, as JSON, and drawn."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from functools import cache
from io import StringIO

import numpy as np
import pytest
from rich.console import Console

from tests.board.test_traced import traced
from tests.diagnosis.boards import TEXTS
from tests.simulation.boards import SUPPRESSED, board
from zcd.board.files import parse_board
from zcd.drawing.canvas import figure_svg
from zcd.drawing.figures import story_figures
from zcd.drawing.motor import drive_figure, fan_figure
from zcd.drawing.timeline import timeline_figure
from zcd.report.document import Document
from zcd.report.of_story import (
    CHARGED,
    MAX_EVENTS,
    advice_lines,
    cause_text,
    events_table,
    fan_text,
    flags_text,
    headline,
    likeliest_line,
    next_line,
    seen_table,
    stories_table,
)
from zcd.report.of_story_dict import stories_to_dict, story_to_dict
from zcd.report.of_story_document import story_document, table_document
from zcd.report.of_story_flags import why_lines
from zcd.report.terminal import print_document
from zcd.serialize import to_dict
from zcd.simulation.causes import find_cause, sizes_of
from zcd.simulation.flags import StoryTable, fan_flag_delay_s, matching_causes
from zcd.simulation.timeline import Story, stories_of

FREE = 'supervision = {without_sync = "free-run"}'


@cache
def told(key: str, more: str = "", seconds: float = 30.0) -> Story:
    result = board(more)
    (story,) = stories_of(result, [find_cause(result, key)], seconds)
    return story


def test_what_burns_behind_a_shorted_capacitor() -> None:
    """230 V + 10 % over 22 + 22 kΩ, one diode for each half-wave: 253 V² / 44 kΩ / 2 in each."""
    dropper = traced(
        "feed - C1 33n - R1 22k - R2 22k - x", "x - D1 1N4007 < - neutral",
        "x - led+", "led- - neutral",
    )  # fmt: skip
    (story,) = stories_of(dropper, [find_cause(dropper, "C1 short")], 2.0)
    (line,) = [line for line in why_lines(story) if "too much" in line]
    watts = 253.0**2 / 44e3 / 2.0
    assert line.startswith("R1, R2 then bear too much: R1 power")
    assert float(re.findall(r"power (\d+) mW", line)[0]) / 1e3 == pytest.approx(watts, rel=0.02)
    (healthy,) = stories_of(dropper, [find_cause(dropper, "D1 open")], 2.0)
    assert not any("too much" in line for line in why_lines(healthy))


@pytest.mark.parametrize(
    ("key", "more", "words"),
    [
        ("K1 contact open", "", "The sync fault alone explains the fan flag"),
        ("K1 contact open", "", "the pin is never pulled low"),
        ("triac not firing", "", "no voltage reaches the fan"),
        ("rotor stalled", "", "does not turn"),
        ("tacho lost", "", "no tacho pulse comes back"),
        ("run capacitor weak", "", "The controller accepts the sync pulses"),
        ("healthy", "", "The fan runs at 900 rpm; the speed loop gives it 184 V of the 230 V"),
        ("run capacitor open", "", "every second gate pulse has ended before it does"),
        ("supply missing", "", "Without its supply"),
        ("triac fires one half cycle only", "", "of direct voltage put"),
        ("R1 open", FREE, "It runs rough"),
        ("R1 opens when shaken", "", "nothing is reported"),
        ("tacho twice the pulses", "", "while the shaft turns at 450 rpm"),
        ("triac short", "", "before the controller asks for it"),
        ("K1 contact welded", "", "live although the relay is off"),
    ],
)
def test_why(key: str, more: str, words: str) -> None:
    assert words in " ".join(why_lines(told(key, more)))


def test_headline_names_flags_in_order() -> None:
    assert (
        headline(told("R1 open"))
        == "R1 open: sync flag after about 3.8 s, fan flag after about 11 s"
    )
    assert headline(told("healthy")) == "healthy: no flag"
    assert headline(told("supply missing")).endswith("has no supply and reports nothing")


def test_flags_text() -> None:
    assert [flags_text(f) for f in ({"fan", "sync"}, {"fan"}, ())] == ["sync + fan", "fan", "none"]


def test_cause_with_a_size() -> None:
    story = told("R1 drift")
    assert cause_text(story.cause) == "R1 gone high (10.7 times)"
    # in the middle of 0.1 to 300 kohm in logs
    assert cause_text(told("OC1 LED leaky").cause) == "OC1 LED leaky (5.48 kΩ)"


def test_fan_as_seen_by_somebody_beside_it() -> None:
    assert fan_text(told("R1 open")) == "does not turn"
    assert fan_text(told("healthy")) == "900 rpm"
    assert fan_text(told("R1 open", FREE)) == "runs rough"
    assert fan_text(told("R1 opens when shaken")) == "comes and goes"


def test_long_list_of_events_is_cut_and_says_so() -> None:
    table = events_table(told("R1 opens when shaken"))
    assert len(table.rows) == MAX_EVENTS
    assert "more events until 30 s" in table.remark


def test_sizes_that_do_the_same_share_a_line() -> None:
    result = board()
    causes = sizes_of(find_cause(result, "R1 drift"))
    rows = stories_table(stories_of(result, causes, 15.0)).rows
    sizes = ("2.42 times to 10.7 times", "47.5 times")
    assert [row[0] for row in rows] == [f"R1 gone high\n  {size}" for size in sizes]
    assert [row[1] for row in rows] == ["", "3.8"]


def test_no_cause_for_the_flags() -> None:
    assert advice_lines((), {"sync"}, None) == [
        "No single cause of this board raises just these flags: look for two faults."
    ]


def test_a_sync_flag_alone_is_a_sync_fault_whose_fan_flag_is_due() -> None:
    """Seven seconds: the difference of the two times in the board's [supervision], 10 s and 3 s."""
    assert fan_flag_delay_s([told("healthy"), told("R1 open")]) == pytest.approx(7.0, abs=0.05)
    assert fan_flag_delay_s([told("healthy")]) is None
    assert advice_lines((), {"sync"}, 7.02) == [
        "The fan flag follows a sync fault, after about 7 s with the controller as assumed. Wait "
        "and read the display again: with both flags it is mostly one fault. Start at the sync "
        "circuit and what feeds it."
    ]


def test_the_likeliest_causes_lead() -> None:
    stories = [told(key) for key in ("healthy", "R1 open", "R2 open", "tacho lost")]
    line = likeliest_line(matching_causes(stories, {"sync", "fan"}))
    assert line == "2 single faults fit. Most likely: R1 open (50 %), R2 open (50 %)."
    assert next_line(board(), {"fan", "sync"}) == "Next: zcd diagnose BOARD -f sync,fan"
    kept = replace(board(), file="proofer.toml")
    assert next_line(kept, ()) == "Next: zcd diagnose proofer.toml -f none"


def test_times_that_nobody_wrote_are_owned_up_to() -> None:
    words = "Write those of your machine into [supervision]"
    assert words in " ".join(shown(story_document(told("R1 open"))).split())
    written = 'supervision = {sync_flag_after = "4 s", fan_flag_after = "12 s"}'
    assert words not in " ".join(shown(story_document(told("R1 open", written))).split())


def shown(document: Document) -> str:
    """A document on a terminal of 80 columns."""
    console = Console(file=StringIO(), width=80)
    print_document(document, console)
    assert isinstance(console.file, StringIO)
    return console.file.getvalue()


def test_printed_story_keeps_to_80_columns_and_ends_with_cautions() -> None:
    text = shown(story_document(told("K1 contact open")))
    assert max(map(len, text.splitlines())) <= 80
    order = ["sync flag after about 3.8 s", "To do", "Why", "What happens when", "CAUTION: Unplug"]
    places = [text.index(word) for word in (*order, "common practice")]
    assert places == sorted(places)
    healthy = StoryTable(board=board(), seconds=30.0, stories=(told("healthy"),))
    table = shown(table_document(healthy))
    assert "CAUTION" in table


def test_record_is_json_in_si_units() -> None:
    record = to_dict(story_to_dict(told("K1 contact open")))
    again = json.loads(json.dumps(record, allow_nan=False))
    assert again["sync_flag_s"] == pytest.approx(3.81, abs=0.02)
    assert again["cause"] == "K1 contact open"
    lengths = {len(column) for column in again["samples"].values()}
    assert lengths == {300}
    assert again["samples"]["delay_s"] == [None] * 300
    assert again["sync_circuit"]["relay_on"]["failed_rule"] == "pin never low"
    assert {a["key"] for a in again["assumptions"]} >= {"fan.power", "mains.band"}
    stories = (told("healthy"), told("R1 open"))
    whole = to_dict(stories_to_dict(StoryTable(board=board(), seconds=30.0, stories=stories)))
    assert [s["fan_flag_s"] is None for s in whole["stories"]] == [True, False]


def test_timeline_marks_each_flag_when_it_comes() -> None:
    story = told("K1 contact open")
    figure = timeline_figure(story, "Invented board")
    bars = {c.get_label(): c for ax in figure.axes for c in ax.collections}
    for flag, time_s in story.flags.items():
        left = bars[flag].get_paths()[0].get_extents().x0
        assert left == pytest.approx(time_s)
    assert "sync flag after about 3.8 s" in figure._suptitle.get_text()  # type: ignore[union-attr]


def test_timeline_draws_the_story_itself() -> None:
    story = told("healthy")
    figure = timeline_figure(story, "Invented board", seconds=20.0)
    lines = {line.get_label(): line for ax in figure.axes for line in ax.get_lines()}
    assert np.array_equal(lines["shaft"].get_ydata(), story.speed_rpm)
    assert np.array_equal(lines["tacho"].get_ydata(), story.tacho_rpm)
    assert figure.axes[-1].get_xlim() == (0.0, 20.0)


def test_fan_figure_marks_where_the_torques_meet() -> None:
    figure = fan_figure(told("healthy"))
    dots = [line for line in figure.axes[0].get_lines() if line.get_marker() == "o"]
    assert len(dots) == 3
    assert float(np.asarray(dots[0].get_xdata())[0]) == pytest.approx(1200.0, abs=2.0)


def test_stalled_fan_has_no_such_point() -> None:
    figure = fan_figure(told("rotor stalled"))
    assert not [line for line in figure.axes[0].get_lines() if line.get_marker() == "o"]
    assert "rotor stalled" in figure._suptitle.get_text()  # type: ignore[union-attr]


def test_figures_leave_as_svg() -> None:
    story = told("R1 open", FREE)
    for figure in (timeline_figure(story, "Board"), drive_figure(story), fan_figure(story)):
        assert figure_svg(figure).startswith("<svg")


def test_pictures_of_a_story() -> None:
    """Those of the notebook on two flags, for any board and cause."""
    result = board()
    figures = story_figures(result, told("K1 contact open"))
    names = ["schematic", "story", "waveforms", "drive", "fan"]
    assert [figure.get_gid() for figure in figures] == names
    words = {text.get_text() for text in figures[0].axes[0].texts}
    assert "open" in words
    healthy = story_figures(result, told("tacho lost"))
    assert "lost" not in {text.get_text() for text in healthy[0].axes[0].texts}


def test_feed_above_the_mains_is_explained() -> None:
    """The suppressor's capacitor charges through the rectifier while the contact is open."""
    result = board(feed=SUPPRESSED)
    (story,) = stories_of(result, [find_cause(result, "K1 contact open")], 5.0)
    assert story.view.faulty_closed.feed_rms_v > 1.5 * story.view.mains_rms_v
    assert CHARGED in seen_table(story).remark
    assert CHARGED not in seen_table(told("K1 contact open")).remark


def test_fan_flag_alone_clears_no_sync_circuit_that_may_raise_it() -> None:
    """With a sync flag later than the last attempt, a sync fault raises the fan's flag alone."""
    keys = ("healthy", "R1 open", "controller input dead", "tacho lost")
    cleared = {}
    for more in ("", 'supervision = {sync_flag_after = "30 s"}'):
        result = board(more)
        stories = stories_of(result, [find_cause(result, key) for key in keys])
        lines = advice_lines(matching_causes(stories, {"fan"}), {"fan"})
        cleared[more] = ["not cleared" in lines[-1], "there is nothing to measure" in lines[-1]]
    assert list(cleared.values()) == [[False, True], [True, False]]


def test_a_story_says_how_many_pulses_come_and_how_many_should() -> None:
    """Each LED of two conducts in one half of the mains cycle: one open leaves every other."""
    two = parse_board(TEXTS["two-led"])
    (story,) = stories_of(two, [find_cause(two, "OC1 LED open")], 5.0)
    assert "(one pulse a mains cycle instead of two)" in why_lines(story)[0]
