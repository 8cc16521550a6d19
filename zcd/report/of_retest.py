"""Readings after a repair: tables on a terminal, and a JSON object."""

from __future__ import annotations

from math import isfinite

from zcd.diagnosis.reading_syntax import show_measured
from zcd.diagnosis.readings import access_level
from zcd.diagnosis.retest import LOW_TIME, Retest
from zcd.margin.headroom import Headroom
from zcd.report.cautions import Caution
from zcd.report.document import Document, Paragraph, Section
from zcd.report.of_diagnosis import cautions_for, spread_of
from zcd.report.of_diagnosis_dict import measured_to_dict, reading_to_dict
from zcd.report.of_diagnosis_document import caution_sections
from zcd.report.table import Quantity, Table
from zcd.report.text import factor_text, plain, probability_text, quantity_text
from zcd.serialize import Record

MIN_NAMED = 0.2


def retest_document(retest: Retest) -> Document:
    """How a repaired board reads, and what is left of its optocoupler."""
    lines = [_likeliest_line(retest), missing_line(retest), _to_take_line(retest)]
    lines += remaining_lines(retest)
    return Document(
        title=plain(retest.board.name),
        sections=(
            Section(
                "",
                (
                    Paragraph(retest_line(retest), "strong"),
                    Table.of(retest.readings, RETESTED, title="Readings after the repair"),
                    *(Paragraph(line) for line in lines if line),
                ),
                answer=True,
            ),
            *caution_sections(*retest_cautions(retest)),
        ),
    )


RETESTED = (
    Quantity("reading", "reading", lambda again: again.measured.reading.words),
    Quantity("shown", "shown", lambda again: show_measured(again.measured)),
    Quantity(
        "good_board",
        "good board",
        lambda again: spread_of(again.measured.reading.function, again.low, again.high),
    ),
    Quantity("good", "", lambda again: "as a good one" if again.good else "DIFFERS"),
)
"""What is shown of a reading after the repair."""


def _likeliest_line(retest: Retest) -> str:
    """What is likeliest now, where the board does not read as a good one."""
    if retest.good or retest.likeliest_ratio < MIN_NAMED:
        return ""
    share = probability_text(retest.likeliest_ratio)
    return (
        f"Likeliest now, {share}: {retest.likeliest.key}; {retest.likeliest.words}. "
        "With more readings, zcd diagnose tells it from others."
    )


def _to_take_line(retest: Retest) -> str:
    """What was taken before the repair and not since."""
    names = "; ".join(reading.words for reading in retest.to_take)
    return names and f"Taken before the repair and not after it: {names}."


def retest_cautions(retest: Retest) -> tuple[Caution, ...]:
    """The cautions due for the readings taken, and for those to take."""
    taken = (again.measured.reading for again in retest.readings)
    readings = (*taken, *retest.missing, *retest.to_take)
    return cautions_for(access_level(retest.circuit, reading) for reading in readings)


def retest_line(retest: Retest) -> str:
    """One sentence on how the board reads now."""
    share = probability_text(retest.good_ratio)
    if retest.good:
        return f"The sync circuit reads as a good one ({share})."
    if retest.differs:
        return f"Not as a good board: {retest.differs[0].measured.reading.words} ({share} good)."
    return f"No fault found, but not enough readings to be sure ({share} good)."


def missing_line(retest: Retest) -> str:
    """Names what is still to be read; empty where there is nothing."""
    if not retest.missing:
        return ""
    names = "; ".join(reading.words for reading in retest.missing)
    return f"To be sure of it, read also: {names}."


def remaining_lines(retest: Retest) -> list[str]:
    """What the measured pulses say of the optocoupler, in words."""
    remaining = retest.remaining
    if remaining is None:
        low_times = (a.measured for a in retest.readings if a.measured.reading == LOW_TIME)
        if any(m.exact and m.value > 0.0 for m in low_times):
            return ["No CTR gives this board the low time that was measured: measure it again."]
        return [
            "Measure the low time at the pin (scope, or a capture) for what is left of the CTR."
        ]
    low, middle, high = (100.0 * ratio for ratio in remaining.ctr_ratio)
    opto = retest.board.optocoupler
    measured = f"From the measured low time of {quantity_text(remaining.low_time_s, 's')}"
    if isfinite(remaining.mains_rms_v):
        measured += f" at {quantity_text(remaining.mains_rms_v, 'V')}"
    grade = f"{100.0 * opto.ctr_min_ratio:.3g} to {100.0 * opto.ctr_max_ratio:.3g} % when new"
    ctr = f"{low:.3g} to {high:.3g} %, most likely {middle:.3g} %"
    lines = [
        f"{measured}: CTR {ctr if remaining.tells else f'{low:.3g} % or more'} "
        f"(grade {opto.grade}: {grade})."
    ]
    if not remaining.tells:
        lines.append("The low time hardly depends on the CTR here: only the lower end tells.")
    for words, headrooms in (
        ("here and now", remaining.bench),
        ("at low mains, hot", remaining.weak),
    ):
        lines.append(f"CTR headroom {words}: {_factors(headrooms, remaining.tells)}.")
    return lines


def _factors(headrooms: tuple[Headroom, ...], tells: bool) -> str:
    low, middle, high = (factor_text(h) for h in headrooms)
    if low != high and not tells:
        return f"{low} or more"
    return low if low == high else f"{low} to {high}, most likely {middle}"


def retest_to_dict(retest: Retest) -> Record:
    """How a repaired board reads, ready for `json.dumps`.

    Returns
    -------
    record : dict
        ``board``, ``good``, ``good_ratio``; ``likeliest``: fault and probability_ratio of the
        likeliest that is left; ``readings``: as ``measured`` of a diagnosis, with
        ``good`` and ``healthy`` (``low_*``, ``high_*``); ``missing`` (what would make it sure) and
        ``to_take``: lists of function, red, black, over, lifted; ``remaining`` (null without a low
        time): ``low_time_s``, ``mains_rms_v``, ``ctr_ratio``, ``bench_headrooms``,
        ``weak_headrooms`` (lists at the 10 %, 50 % and 90 % point of the CTR), ``tells``.
    """
    left, circuit = retest.remaining, retest.circuit
    return {
        "board": retest.board.name,
        "good": retest.good,
        "good_ratio": retest.good_ratio,
        "likeliest": {
            "fault": retest.likeliest.key,
            "probability_ratio": retest.likeliest_ratio,
        },
        "readings": [
            {
                **measured_to_dict(again.measured, circuit),
                "good": again.good,
                "healthy": {
                    f"low_{again.measured.reading.function.row.unit_ending}": again.low,
                    f"high_{again.measured.reading.function.row.unit_ending}": again.high,
                },
            }
            for again in retest.readings
        ],
        "missing": [reading_to_dict(r, circuit) for r in retest.missing],
        "to_take": [reading_to_dict(r, circuit) for r in retest.to_take],
        "remaining": None
        if left is None
        else {
            "low_time_s": left.low_time_s,
            "mains_rms_v": left.mains_rms_v,
            "ctr_ratio": left.ctr_ratio,
            "bench_headrooms": [h.factor_ratio for h in left.bench],
            "weak_headrooms": [h.factor_ratio for h in left.weak],
            "tells": left.tells,
        },
    }
