"""The demo's files are written into a new folder, and are files like anybody's."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose

from zcd.board.files import load_board
from zcd.circuit.build import Conditions, build_circuit
from zcd.diagnosis.faults import with_fault
from zcd.diagnosis.job import load_job
from zcd.diagnosis.meter_model import MeterModel
from zcd.errors import InputError
from zcd.jobs.demo import FILES, write_demo


def test_a_new_folder_is_made_with_all_files(tmp_path: Path) -> None:
    made = write_demo(str(tmp_path / "new"))
    assert made.folder == tmp_path / "new"
    assert {path.name for path in made.folder.iterdir()} == set(FILES)


def test_files_are_read_back_as_they_stand(tmp_path: Path) -> None:
    made = write_demo(str(tmp_path / "new"))
    assert made.job == load_job(made.folder / "job.toml")
    assert made.job.board == load_board(made.folder / "board.toml")
    assert made.repaired == load_board(made.folder / "repaired.toml")
    assert made.job.measured
    assert made.job.flags == ("sync", "fan")


def test_readings_are_those_of_the_fault(tmp_path: Path) -> None:
    """Within what tolerances and a meter of 1 % do to them; the chain alone reads as a good one."""
    job = write_demo(str(tmp_path / "new")).job
    good = build_circuit(job.board, Conditions(mains_rms_v=118.0, ctr_ratio=0.9))
    faulty = with_fault(good, "OC1 second LED open", 0.0)[1]
    readings = [m.reading for m in job.measured]
    shown = np.array([m.value for m in job.measured])
    expected, healthy = (
        MeterModel(job.board, c, job.meter).read(readings)[0] for c in (faulty, good)
    )
    assert_allclose(shown, expected, rtol=0.03)
    assert_allclose(shown[1:5] / healthy[1:5], [0.5, 1.0, 1.0, 1.0], rtol=0.03)
    assert np.all(shown[[0, 5]] > 1.4 * healthy[[0, 5]])


def test_default_is_the_next_free_name(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    assert [write_demo(None).folder.name for _ in range(3)] == [
        "zcd-demo",
        "zcd-demo-2",
        "zcd-demo-3",
    ]


@pytest.mark.parametrize("folder", [True, False], ids=["folder", "file"])
def test_what_is_there_stays_untouched(tmp_path: Path, folder: bool) -> None:
    place = tmp_path / "mine"
    kept = place / "board.toml" if folder else place
    if folder:
        place.mkdir()
    kept.write_text("mine")
    with pytest.raises(InputError, match="found something of that name; allowed: a new folder"):
        write_demo(str(place))
    assert kept.read_text() == "mine"
    assert [path for path in tmp_path.rglob("*") if path.is_file()] == [kept]


def test_a_missing_parent_is_refused_and_nothing_is_made(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="a folder in an existing directory"):
        write_demo(str(tmp_path / "missing" / "demo"))
    assert list(tmp_path.iterdir()) == []


def test_a_full_disk_leaves_nothing_behind(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """One file fits on it, the next does not; what others put into the folder stays."""

    def filling(path: Path, data: bytes) -> Path:
        if path.name != FILES[0]:
            raise InputError("no space left on device")
        path.write_bytes(data)
        return path

    monkeypatch.setattr("zcd.jobs.demo.write_whole", filling)
    with pytest.raises(InputError, match="no space left"):
        write_demo(str(tmp_path / "new"))
    assert list(tmp_path.iterdir()) == []


def test_demo_says_that_it_is_invented() -> None:
    for name in FILES[:2]:
        text = Path(__file__).parents[2] / "zcd" / "jobs" / "templates" / "demo" / name
        assert "nvented" in text.read_text(encoding="utf-8")
