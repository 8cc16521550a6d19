"""Figures leave as SVG that stands alone, and leave matplotlib as it was."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree

import matplotlib
import pytest

from tests.jobs.demo_job import lost_below, share_lost, solved
from zcd.drawing.canvas import drawing, figure_svg, new_figure, save_figure
from zcd.drawing.figures import loss_map_figure, save_plots, waveform_figure
from zcd.errors import InputError


def waveforms() -> str:
    return figure_svg(waveform_figure(solved().board, solved().solution, solved().lock))


def test_svg_is_the_same_every_time() -> None:
    assert waveforms() == waveforms()


def test_svg_stands_alone() -> None:
    text = waveforms()
    assert ElementTree.fromstring(text).tag == "{http://www.w3.org/2000/svg}svg"
    without_names = re.sub(r'xmlns(:\w+)?="[^"]*"', "", text)
    assert "http" not in without_names
    assert "<metadata" not in text
    assert "<!DOCTYPE" not in text


def test_ids_of_two_figures_do_not_meet() -> None:
    lost = figure_svg(loss_map_figure(solved().board, lost_below(0.2)))
    ids = [set(re.findall(r'\bid="([^"]+)"', text)) for text in (waveforms(), lost)]
    assert all(ids)
    assert not ids[0] & ids[1]


def test_references_in_the_svg_resolve() -> None:
    text = waveforms()
    used = set(re.findall(r'href="#([^"]+)"|url\(#([^)]+)\)', text))
    assert used
    assert {first or second for first, second in used} <= set(re.findall(r'\bid="([^"]+)"', text))


def test_drawing_restores_settings() -> None:
    before = matplotlib.rcParams["svg.hashsalt"], matplotlib.rcParams["hatch.linewidth"]
    waveforms()
    after = matplotlib.rcParams["svg.hashsalt"], matplotlib.rcParams["hatch.linewidth"]
    assert before == after


def test_odd_letters_in_a_name_are_drawn_without_a_warning() -> None:
    with drawing():
        figure = new_figure("odd", 2.0, 1.0)
        figure.suptitle(r"$\frac$ 奇 <b>")
    assert figure_svg(figure).startswith("<svg")


def test_saved_by_suffix(tmp_path: Path) -> None:
    figure = loss_map_figure(solved().board, lost_below(0.2))
    assert save_figure(figure, tmp_path / "a.svg").read_text().startswith("<svg")
    assert save_figure(figure, tmp_path / "a.png").read_bytes().startswith(b"\x89PNG")
    with pytest.raises(InputError, match=r"allowed: a file name that ends in .png or .svg"):
        save_figure(figure, tmp_path / "a.pdf")
    assert sorted(path.name for path in tmp_path.iterdir()) == ["a.png", "a.svg"]


def test_a_place_that_cannot_be_written_is_refused(tmp_path: Path) -> None:
    figure = new_figure("empty", 1.0, 1.0)
    with pytest.raises(InputError, match=r"allowed: a new file in an existing directory"):
        save_figure(figure, tmp_path / "missing" / "a.svg")


def test_all_pictures_go_into_a_folder(tmp_path: Path) -> None:
    case = solved()
    paths = save_plots(
        tmp_path / "new",
        board=case.board,
        solution=case.solution,
        lock=case.lock,
        loss_map=replace(lost_below(0.2), share=share_lost(lost_below(0.2))),
    )
    assert [path.name for path in paths] == ["schematic.png", "waveforms.png", "loss-map.png"]
    assert all(path.is_file() for path in paths)
