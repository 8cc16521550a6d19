"""Predictions kept between runs: the same as new ones, and never believed when damaged."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from tests.diagnosis.boards import board
from zcd.diagnosis import fault_dictionary as atlas_module
from zcd.diagnosis.cache import MAX_FILES, Store
from zcd.diagnosis.fault_dictionary import FaultDictionary, make_fault_dictionary
from zcd.diagnosis.functions import Function
from zcd.diagnosis.meter_model import MeterModel
from zcd.diagnosis.meters import usual_meter
from zcd.diagnosis.readings import Reading

OHMS = Reading(function=Function.OHM, red="chain.1", black="chain.2")


@pytest.fixture(autouse=True)
def _own_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))


def stored() -> FaultDictionary:
    return make_fault_dictionary(board(), usual_meter(), 4, stored=True)


def store() -> Store:
    return Store.of(board(), usual_meter(), 4)


def test_a_second_run_need_not_simulate(monkeypatch: pytest.MonkeyPatch) -> None:
    first = stored()
    shown, flags = first.predictions(OHMS), first.flags(("sync",))
    first.keep()

    def never(*_: object) -> None:
        pytest.fail("simulated again")

    monkeypatch.setattr(MeterModel, "read", never)
    monkeypatch.setattr(atlas_module.MeterModel, "lock", never)
    second = stored()
    assert second.has(OHMS)
    assert np.array_equal(second.predictions(OHMS), shown)
    assert np.array_equal(second.flags(("sync",)), flags)


def test_the_name_holds_all_that_it_depends_on() -> None:
    """Another board, meter, or number of samples has a file of its own."""
    meter = replace(usual_meter(), dc_input_ohm=1e6)
    paths = {
        Store.of(board(), usual_meter(), 4).path,
        Store.of(board("switched"), usual_meter(), 4).path,
        Store.of(board(), meter, 4).path,
        Store.of(board(), usual_meter(), 5).path,
    }
    assert len(paths) == 4


@pytest.mark.parametrize("damage", ["empty", "cut", "text", "flipped", "folder"])
def test_damage_is_no_data(damage: str) -> None:
    first = stored()
    shown = first.predictions(OHMS)
    first.keep()
    path = store().path
    data = path.read_bytes()
    if damage == "folder":
        path.unlink()
        path.mkdir()
    else:
        middle = len(data) // 2
        path.write_bytes(
            {
                "empty": b"",
                "cut": data[:middle],
                "text": b"not a file of ours",
                "flipped": data[:middle] + bytes([data[middle] ^ 255]) + data[middle + 1 :],
            }[damage]
        )
    again = stored()
    assert np.array_equal(again.predictions(OHMS), shown)
    again.keep()


def test_other_shapes_and_nan_are_left_out() -> None:
    store().write({"good": np.ones((2, 4)), "nan": np.full((2, 4), np.nan), "odd": np.ones(3)})
    assert list(store().read((2, 4))) == ["good"]


def test_old_files_are_forgotten(tmp_path: Path) -> None:
    for number in range(MAX_FILES + 5):
        Store(tmp_path / f"{number}.npz").write({"a": np.ones((1, 1))})
    assert len(list(tmp_path.glob("*.npz"))) == MAX_FILES


def test_a_folder_that_cannot_be_made_is_no_error(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("x")
    Store(tmp_path / "file" / "a.npz").write({"a": np.ones((1, 1))})
