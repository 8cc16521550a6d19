"""The simulator: both ways to it agree, the data decide, faults are told in ngspice's words."""

from __future__ import annotations

import signal

import numpy as np
import pytest
from numpy.testing import assert_array_equal

from zcd.errors import NoSimulatorError, SimulationError
from zcd.spice import library, simulator
from zcd.spice.judge import judged, refuse_faults
from zcd.spice.library import LibraryDeadError
from zcd.spice.simulator import INSTALL, Either, Program, read_raw

DECK = """\
an error in the title is no fault
V1 line 0 SIN(0 325 50)
R1 line a 250000.0
D1 a k law
V2 k 0 0
.model law D(IS=6.38e-16 N=1.4863 RS=2.3)
.options temp=25 tnom=25
.tran 5e-05 0.04 0 5e-05
.end
"""
STOP_S = 0.04
LIVE_LINES = "V1 a 0 1\nR1 a 0 1k\n"


def deck(lines: str) -> str:
    return f"a small circuit\n{lines}.tran 1e-3 1e-2\n.end\n"


def test_library_and_program_give_the_same_numbers() -> None:
    one, other = library.Library().run(DECK, STOP_S), Program().run(DECK, STOP_S)
    assert set(one) == set(other) >= {"time", "line", "a", "v2#branch"}
    for name, wave in one.items():
        assert_array_equal(other[name], wave)


def test_operating_point() -> None:
    lines = "divider\nV1 a 0 3\nR1 a b 1000.0\nR2 b 0 2000.0\n.op\n.end\n"
    for way in (library.Library(), Program()):
        assert way.run(lines, None)["b"] == pytest.approx([2.0], rel=1e-9)


@pytest.mark.parametrize("way", [library.Library, Program], ids=["library", "program"])
@pytest.mark.parametrize(
    ("lines", "words"),
    [
        (LIVE_LINES + "D1 a 0 nowhere\n", "nowhere"),
        (LIVE_LINES + "D1 a 0 law\n.model law D(IZ=1e-15)\n", "unrecognized"),
        (LIVE_LINES + "X1 a 0 nothing\n", "nothing"),
        ("R1 a 0\nR1 a 0 1k\n", "."),
    ],
    ids=["no model", "no such parameter", "no subcircuit", "twice"],
)
def test_a_faulty_netlist_is_refused(
    way: type[library.Library | Program], lines: str, words: str
) -> None:
    with pytest.raises(SimulationError, match=f"ngspice.*{words}") as caught:
        way().run(deck(lines), 1e-2)
    assert "\n" not in str(caught.value)
    assert caught.value.deck == deck(lines)


def test_after_a_fault_the_library_goes_on() -> None:
    way = library.Library()
    before = way.run(DECK, STOP_S)
    with pytest.raises(SimulationError):
        way.run(deck(LIVE_LINES + "D1 a 0 nowhere\n"), 1e-2)
    for name, wave in way.run(DECK, STOP_S).items():
        assert_array_equal(wave, before[name])


def test_when_the_library_dies_the_program_takes_over(monkeypatch: pytest.MonkeyPatch) -> None:
    way = Either()
    monkeypatch.setattr(way, "_now", library.Library())
    monkeypatch.setattr(way._now, "_dead", True)
    result = way.run(DECK, STOP_S)
    assert isinstance(way._now, Program)
    assert result["time"][-1] == pytest.approx(STOP_S)


def test_a_dead_library_says_so() -> None:
    way = library.Library()
    way._dead = True
    with pytest.raises(LibraryDeadError, match="stopped working"):
        way.run(DECK, STOP_S)


def test_without_ngspice_there_is_one_line_on_what_to_install(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(library, "library_path", lambda: None)
    library._shared_instance.cache_clear()
    monkeypatch.setattr(simulator.shutil, "which", lambda _: None)
    with pytest.raises(NoSimulatorError, match="apt-get install libngspice0") as caught:
        Either()
    library._shared_instance.cache_clear()
    assert str(caught.value) == INSTALL
    assert caught.value.exit_code == 3


def test_a_library_that_cannot_be_loaded(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("NGSPICE_LIBRARY_PATH", "/nowhere/libngspice.so")
    library._shared_instance.cache_clear()
    with pytest.raises(NoSimulatorError, match=r"^NGSPICE_LIBRARY_PATH: found /nowhere.*allowed: "):
        library.Library()
    library._shared_instance.cache_clear()
    assert isinstance(Either()._now, Program)
    monkeypatch.setattr(simulator.shutil, "which", lambda _: None)
    library._shared_instance.cache_clear()
    with pytest.raises(NoSimulatorError, match="NGSPICE_LIBRARY_PATH"):
        Either()
    library._shared_instance.cache_clear()


def test_a_run_that_ends_early_is_no_result() -> None:
    short = {"time": np.array([0.0, 1.7e-5])}
    said = ["Note: something", "doAnalyses: TRAN:  Timestep too small; time = 1.7e-05"]
    with pytest.raises(SimulationError, match=r"stopped at 1\.7e-05 s: .*Timestep too small"):
        judged(short, 0.02, said, "")
    with pytest.raises(SimulationError, match="no result: it said nothing"):
        judged({}, 0.02, [], "")
    with pytest.raises(SimulationError, match=r"no result: .*Timestep too small"):
        judged({"a": np.array([])}, None, ["doAnalyses: OP:  Timestep too small"], "")
    with pytest.raises(SimulationError, match="no numbers"):
        judged({"time": np.array([0.02]), "a": np.array([np.nan])}, 0.02, [], "")


def test_notes_are_no_faults() -> None:
    refuse_faults(["Note: can't find init file.", "", "Using SPARSE 1.3 as solver"], "")
    with pytest.raises(SimulationError, match="does not accept"):
        refuse_faults(["warning, value ignored"], "")


def test_a_file_without_a_plot_is_empty() -> None:
    assert read_raw(b"Title: nothing\n") == {}


def resident_kb() -> int:
    """Memory of this process; Linux counts in kB."""
    with open("/proc/self/status", encoding="ascii") as file:
        return next(int(line.split()[1]) for line in file if line.startswith("VmRSS"))


def assert_steady(runs: int, settle: int, growth_kb: int) -> None:
    """Same results, and no memory kept, over many runs."""
    way = library.Library()
    first = way.run(DECK, STOP_S)
    before = 0
    for number in range(runs):
        result = way.run(DECK, STOP_S)
        if number == settle:
            before = resident_kb()
        if number % 50 == 0 or number == runs - 1:
            for name, wave in result.items():
                assert_array_equal(wave, first[name])
    assert resident_kb() - before < growth_kb


def test_a_hundred_runs_keep_no_memory() -> None:
    """Circuits and results that stayed would keep 35 to 300 kB a run."""
    assert_steady(140, 40, 1500)


@pytest.mark.slow
def test_a_thousand_runs_keep_no_memory() -> None:
    """Past the first hundred."""
    assert_steady(1000, 100, 2000)


def test_an_interrupt_counts_at_the_end_of_a_run(monkeypatch: pytest.MonkeyPatch) -> None:
    """Within a callback of the library it would be printed there, and lost."""
    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    way, ended = library.Library(), []

    def pressed_within(*_: object) -> None:
        signal.raise_signal(signal.SIGINT)
        ended.append(True)

    try:
        monkeypatch.setattr(way, "_run", pressed_within)
        with pytest.raises(KeyboardInterrupt):
            way.run(DECK, STOP_S)
        assert ended
        assert signal.getsignal(signal.SIGINT) is signal.default_int_handler
    finally:
        signal.signal(signal.SIGINT, before)
