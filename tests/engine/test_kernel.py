"""The kernel as C and as Python: one file, one answer."""

from __future__ import annotations

import warnings
from dataclasses import replace
from importlib.machinery import SourceFileLoader
from importlib.util import module_from_spec, spec_from_loader
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np
import pytest
from numpy.testing import assert_allclose

from tests.boards import VARIANTS
from zcd.circuit.build import Conditions, build_circuit
from zcd.engine import island, kernel, photocurrent, solution
from zcd.engine.solve import READINGS, solve
from zcd.sync import pulses
from zcd.sync.pulses import find_pulses

SOURCE = Path(island.__file__).with_name("kernel.py")

compiled_only = pytest.mark.skipif(
    not kernel.COMPILED, reason="there was no C compiler when the package was built"
)


def as_python() -> ModuleType:
    """The kernel as Python runs it."""
    loader = SourceFileLoader("kernel_as_python", str(SOURCE))
    spec = spec_from_loader(loader.name, loader)
    assert spec is not None
    module = module_from_spec(spec)
    loader.exec_module(module)
    return module


@compiled_only
def test_compiled_is_what_the_source_says_now() -> None:
    """Else `pip install -e .` is due: Python would go on with what was compiled before."""
    assert Path(kernel.__file__).stat().st_mtime >= SOURCE.stat().st_mtime


@compiled_only
@pytest.mark.parametrize("name", ["half-wave", "bridge", "across the LED", "emitter follower"])
def test_python_gives_the_answers_of_c(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Static rows and such with capacitors, breakdown, light, edges: rounding at the most."""
    circuit = build_circuit(VARIANTS[name], Conditions(mains_rms_v=np.array([60.0, 253.0])))
    compiled = solve(circuit, READINGS)
    slow = as_python()
    assert not slow.COMPILED
    monkeypatch.setattr(island, "Solver", slow.Solver)
    monkeypatch.setattr(photocurrent, "lag", slow.lag)
    monkeypatch.setattr(photocurrent, "collect", slow.collect)
    found = solve(circuit, READINGS)
    for waves, wanted in (
        (found.voltages_v, compiled.voltages_v),
        (found.currents_a, compiled.currents_a),
    ):
        assert waves.keys() == wanted.keys()
        for node, wave in waves.items():
            assert_allclose(wave, wanted[node], rtol=1e-9, atol=1e-15, err_msg=node)
    peaks = compiled.peak(compiled.voltages_v["pin"])
    monkeypatch.setattr(solution, "highest", slow.highest)
    assert_allclose(found.peak(found.voltages_v["pin"]), peaks, rtol=1e-9)
    edges = find_pulses(compiled, 1.0, 4.0)
    monkeypatch.setattr(pulses, "find_falls", slow.find_falls)
    again = find_pulses(compiled, 1.0, 4.0)
    assert edges.count[1] > 0
    assert_allclose([again.fall_s, again.rise_s], [edges.fall_s, edges.rise_s], rtol=1e-12)


def test_python_marks_any_number_of_points(monkeypatch: pytest.MonkeyPatch) -> None:
    """256 of them are not none, though their marks have one byte each."""
    slow, made = as_python(), list[Any]()

    class Kept(slow.Solver):  # type: ignore[name-defined, misc]
        def __init__(self, *given: Any) -> None:
            super().__init__(*given)
            made.append(self)

    monkeypatch.setattr(island, "Solver", Kept)
    solve(build_circuit(VARIANTS["half-wave"]), replace(READINGS, points=256))
    output = made[-1]
    output.states_v[:] = -1.0
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        assert output._mark_abrupt(0)
    assert np.count_nonzero(output.abrupt) == 256
