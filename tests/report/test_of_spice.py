"""The second opinion in words, as JSON and as a picture."""

from __future__ import annotations

import json
from dataclasses import replace
from io import StringIO
from math import nan

import numpy as np
import pytest
from rich.console import Console

from tests.spice.test_compare import healthy
from zcd.drawing.overlay import overlay_figure
from zcd.report.of_spice import comparison_document, comparison_to_dict
from zcd.report.terminal import print_document
from zcd.serialize import to_dict
from zcd.spice.compare import Comparison, Line


def printed(found: Comparison) -> str:
    console = Console(file=StringIO(), width=80, force_terminal=False)
    print_document(comparison_document(found), console)
    assert isinstance(console.file, StringIO)
    return console.file.getvalue()


def odd() -> Comparison:
    """With one line that differs, and one that does not exist."""
    more = (
        Line(name="mark", unit="V", ours=1.0, equations=2.0, device=nan),
        Line(name="nothing", unit="s", ours=nan, equations=nan, device=nan, share=0.0),
    )
    result = healthy()
    return replace(result, fault="R2 drift", severity=0.25, lines=(*result.lines, *more))


def test_the_verdict_comes_first() -> None:
    assert "agree on everything compared" in printed(healthy()).splitlines()[1]
    assert "disagree: 1 of" in printed(odd()).splitlines()[1]


def test_every_line_is_there_and_fits() -> None:
    text = printed(odd())
    assert all(len(row) <= 80 for row in text.splitlines())
    for word in ("current,", "power in", "low time", "dc pin logic0", "ohm R2"):
        assert word in text
    (row,) = [row for row in text.splitlines() if row.startswith(" mark")]
    assert row.split() == ["mark", "1", "V", "2", "V", "+100.00", "%", "-", "other", "DIFFERS"]
    assert "Fault put in: R2 drift, severity 0.25." in text


def test_record_has_units_in_its_keys() -> None:
    record = to_dict(comparison_to_dict(odd()))
    json.dumps(record, allow_nan=False)
    assert record["agrees"] is False
    assert record["device"] == "PC817"
    peak = record["quantities"][0]
    assert peak["ours_a"] == pytest.approx(peak["equations_a"], rel=0.005)
    assert record["quantities"][-1]["ours_s"] is None
    assert record["readings"][1].keys() >= {"function", "red", "black", "ours_ohm", "device_ohm"}


def test_lines_lie_over_one_another() -> None:
    *solved, apart = overlay_figure(healthy()).axes
    assert len(solved) == 2
    swing_v = np.ptp(np.asarray(solved[1].get_lines()[0].get_ydata()))
    (far,) = [line for line in apart.get_lines() if line.get_label() == "SPICE, same equations"]
    assert np.max(np.abs(np.asarray(far.get_ydata()))) < 0.02 * 1e3 * swing_v
    for ax in solved:
        waves = {line.get_label(): line for line in ax.get_lines() if len(line.get_xdata()) > 9}
        assert list(waves) == ["zcd", "SPICE, same equations", "SPICE, transistor"]
        assert [line.get_linestyle() for line in waves.values()] == ["-", "--", ":"]
        ours, same = waves["zcd"], waves["SPICE, same equations"]
        time, wave = np.asarray(ours.get_xdata()), np.asarray(ours.get_ydata())
        other = np.interp(time, np.asarray(same.get_xdata()), np.asarray(same.get_ydata()))
        assert np.max(np.abs(wave - other)) < 0.02 * np.ptp(wave)


def test_the_picture_says_what_it_shows() -> None:
    figure = overlay_figure(odd())
    assert "do not agree" in figure.get_suptitle()
    assert "R2 drift" in figure.axes[0].get_title(loc="left")
