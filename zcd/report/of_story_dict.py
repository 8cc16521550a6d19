"""Stories as JSON objects for other programs."""

from __future__ import annotations

import numpy as np

from zcd.board.model import Assumption, Board
from zcd.report.of_diagnosis_dict import reading_to_dict
from zcd.report.of_story import advice_lines, event_text, fan_text, headline
from zcd.report.of_story_flags import why_lines
from zcd.serialize import Record, to_dict
from zcd.simulation.controller import FAN, SYNC
from zcd.simulation.drive import appliance_of
from zcd.simulation.flags import CausesForFlags, StoryTable
from zcd.simulation.timeline import Story

EVERY_S = 0.1
"""Step of the samples in a record: the story itself goes by half cycles."""


def story_to_dict(story: Story) -> Record:
    """One story with its timeline."""
    sync_view, board = story.view, story.board
    every = max(1, round(EVERY_S * 2.0 * sync_view.mains_hz))
    columns = {
        "time_s": story.time_s,
        "relay": story.relay,
        "feed_rms_v": story.seen("feed_rms_v"),
        "led_peak_a": story.seen("led_peak_a"),
        "good": story.good,
        "lock": story.locked,
        "firing": story.firing,
        "own_clock": story.free,
        "delay_s": story.delay_s,
        "fan_rms_v": story.fan_rms_v,
        "fan_direct_v": story.direct_v,
        "speed_rpm": story.speed_rpm,
        "tacho_rpm": story.tacho_rpm,
    }
    sights = {"relay_on": sync_view.faulty_closed, "relay_off": sync_view.faulty_open}
    return {
        "board": board.name,
        **summary_to_dict(story),
        "why": why_lines(story),
        "events": [
            {**to_dict(event), "words": event_text(event, story.board)} for event in story.events
        ],
        "sync_circuit": {
            name: {key: value for key, value in to_dict(sight).items() if key != "early"}
            for name, sight in sights.items()
        },
        "samples": {name: column[every - 1 :: every] for name, column in columns.items()},
        "assumptions": _assumptions(board),
    }


def summary_to_dict(story: Story) -> Record:
    """A story in short: cause, size, flags with their times, what the fan does, how it ends."""
    cause = story.cause
    return {
        "cause": cause.key,
        "part": cause.fault.part,
        "side": cause.subsystem,
        "words": cause.words,
        "amount": cause.amount,
        "unit": cause.fault.unit,
        "headline": headline(story),
        "sync_flag_s": story.flags.get(SYNC),
        "fan_flag_s": story.flags.get(FAN),
        "fan": fan_text(story),
        "highest_rpm": float(np.max(story.speed_rpm)),
        "last_rpm": float(story.speed_rpm[-1]),
        "highest_fan_rms_v": float(np.max(story.fan_rms_v)),
        "end": story.end_state,
    }


def stories_to_dict(table: StoryTable) -> Record:
    """All causes against flags."""
    board, stories = table.board, table.stories
    return {
        "board": board.name,
        "seconds_s": float(stories[0].time_s[-1]),
        "stories": [summary_to_dict(story) for story in stories],
        "assumptions": _assumptions(board),
    }


def fits_to_dict(causes_for_flags: CausesForFlags) -> Record:
    """Causes that fit some flags, and the reading that tells their side."""
    board, flags, fits = causes_for_flags.board, causes_for_flags.flags, causes_for_flags.fits
    return {
        "board": board.name,
        "flags": [flag for flag in (SYNC, FAN) if flag in flags],
        "causes": fits,
        "advice": advice_lines(fits, flags, causes_for_flags.fan_flag_delay_s),
        "plan": [
            reading_to_dict(step.reading, causes_for_flags.circuit)
            for step in causes_for_flags.plan.steps
        ],
        "first_reading": causes_for_flags.told,
        "assumptions": _assumptions(board),
    }


def _assumptions(board: Board) -> tuple[Assumption, ...]:
    return (*board.assumptions, *appliance_of(board).assumptions)
