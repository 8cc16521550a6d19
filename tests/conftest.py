"""Published marks name a source; global state stays as it was; on CI no test is skipped."""

from __future__ import annotations

import gc
import locale
import logging
import os
import sys
import tomllib
from collections.abc import Iterator
from importlib import import_module
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from tests import few_samples, once

TESTS = Path(__file__).resolve().parent
REFERENCE = TESTS.parent / "reference"
SOURCES: dict[str, dict[str, str]] = tomllib.loads(
    (REFERENCE / "sources.toml").read_text(encoding="utf-8")
)
TOLERANCES = {"rtol", "atol"}
LONGEST = (
    "notebooks/test_notebooks.py",
    "tests/test_cli.py",
    "web/test_page.py",
    "web/test_whole_job.py",
    "margin/test_culprit.py",
    "tests/test_not_isolated.py",
    "tests/test_api.py",
    "web/test_practice_page.py",
    "web/test_widths.py",
    "practice/test_practice.py",
    "web/test_readings.py",
    "jobs/test_job_sheet.py",
    "tests/test_guides.py",
    "jobs/test_saving.py",
    "report/test_cautions_due.py",
    "margin/test_published_designs.py",
    "substitutes/test_diodes.py",
    "diagnosis/test_proof.py",
    "web/test_readings_page.py",
    "report/test_of_diagnosis_answer.py",
    "diagnosis/test_false_certainty.py",
    "drawing/test_no_overlap.py",
    "diagnosis/test_rank.py",
    "web/test_repair.py",
    "web/test_fragment_versions.py",
    "diagnosis/test_expected_readings.py",
    "fuzz/test_growing_input.py",
    "fuzz/test_processes.py",
    "tests/test_one_screen.py",
    "spice/test_battery.py",
    "simulation/test_flags.py",
    "web/test_many.py",
)
"""Files that take longest: begun first, so that at the end all processors have work."""
KINDS = ("published", "circuit", "law", "fitted", "transcribed")
"""What a check with a source is worth: see the marks in pyproject.toml."""


@pytest.fixture
def published(request: pytest.FixtureRequest) -> SimpleNamespace:
    """Key, place, reason and tolerances of the mark that names the test's source."""
    marks = (request.node.get_closest_marker(kind) for kind in KINDS)
    return _sound(next((mark for mark in marks if mark is not None), None))


@pytest.fixture(autouse=True)
def _published_mark_is_sound(request: pytest.FixtureRequest) -> None:
    """Check each mark that names a source, whether the test asks for it or not."""
    for kind in KINDS:
        for mark in request.node.iter_markers(kind):
            _sound(mark)


@pytest.fixture(autouse=True, scope="session")
def _global_state_is_restored() -> Iterator[None]:
    """Fail the run if a test leaves rcParams, locale or the root logger changed."""
    before = _global_state()
    yield
    after = _global_state()
    if "rcParams" in after:
        before.setdefault("rcParams", _rc_params("rcParamsOrig"))
    assert after == before


@pytest.fixture(autouse=True, scope="session")
def _cache_of_its_own(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """Nobody's predictions or settings decide a test; predictions of one run are shared.

    So is compiled code: the hundreds of programs that are started here would else all compile it.
    """
    patch = pytest.MonkeyPatch()
    patch.delenv("PYTHONDONTWRITEBYTECODE", raising=False)
    patch.setenv("ZCD_CONFIG", "")
    base = tmp_path_factory.getbasetemp()
    # a worker's folder lies in that of the run
    shared = base.parent if "PYTEST_XDIST_WORKER" in os.environ else base
    patch.setenv("XDG_CACHE_HOME", str(shared / "cache"))
    yield
    patch.undo()


@pytest.fixture(autouse=True, scope="session")
def _worked_out_once() -> Iterator[None]:
    """What is asked of the same boards again and again is kept while a process runs tests."""
    with pytest.MonkeyPatch.context() as patch:
        once.keep(patch)
        yield


@pytest.fixture(autouse=True, scope="module")
def _few_samples(request: pytest.FixtureRequest) -> Iterator[None]:
    """Tests of what is said do with few samples, and share nothing with the others."""
    with pytest.MonkeyPatch.context() as patch:
        if request.path.relative_to(TESTS).as_posix().startswith(few_samples.ROOMS):
            few_samples.set_for(patch)
        yield


@pytest.fixture
def all_samples(monkeypatch: pytest.MonkeyPatch) -> None:
    """As many as the program takes, also where others do with few."""
    few_samples.unset_for(monkeypatch)


@pytest.fixture
def undrawn(monkeypatch: pytest.MonkeyPatch) -> None:
    """Figures of a report, most of its time, are blank, for a test of its words."""
    blank = '<svg xmlns="http://www.w3.org/2000/svg" width="9pt" height="9pt" viewBox="0 0 9 9"/>'
    monkeypatch.setattr("zcd.jobs.job_sheet.figure_svg", lambda _: blank)


@pytest.fixture
def anew() -> None:
    """Nothing that other tests asked for is kept."""
    once.forget()


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_auto_num_workers() -> int:
    """One worker more than processors: in a browser and at a prompt, much time is waiting."""
    return (os.cpu_count() or 1) + 1


def pytest_configure() -> None:
    """Look more seldom for objects that only hold each other.

    Each time all modules, all tests and what is kept for other tests are walked through.
    """
    gc.set_threshold(10_000, 20, 20)


def pytest_collection(session: pytest.Session) -> None:
    """Let each worker compile its share of all tests, with their asserts, for the others too.

    All begin with the same file, so that in a fresh clone each would compile every one.
    """
    number = os.environ.get("PYTEST_XDIST_WORKER", "")[2:]
    if number and session.config.args_source is pytest.Config.ArgsSource.TESTPATHS:
        count = int(os.environ["PYTEST_XDIST_WORKER_COUNT"])
        for path in sorted(TESTS.rglob("test_*.py"))[int(number) :: count]:
            import_module(".".join(("tests", *path.relative_to(TESTS).with_suffix("").parts)))


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Put the files that take longest first; the order within a file stays."""
    places = {name: place for place, name in enumerate(LONGEST)}

    def place(item: pytest.Item) -> int:
        path = item.path.as_posix()
        return next((places[name] for name in LONGEST if path.endswith(name)), len(LONGEST))

    items.sort(key=place)


def pytest_sessionfinish(session: pytest.Session) -> None:
    """Fail the run on CI if a test was skipped: there, nothing may be missing."""
    if os.environ.get("CI") and _skipped(session.config):
        session.exitstatus = pytest.ExitCode.TESTS_FAILED


def pytest_terminal_summary(
    terminalreporter: pytest.TerminalReporter, config: pytest.Config
) -> None:
    """Say why a run without failures fails on CI."""
    if os.environ.get("CI") and (count := len(_skipped(config))):
        terminalreporter.write_line(f"CI is set: {count} skipped counts as failed", red=True)


def _sound(mark: pytest.Mark | None) -> SimpleNamespace:
    assert mark is not None, f"the test has none of the marks {', '.join(KINDS)}"
    (key,) = mark.args
    assert key in SOURCES, f"{key} is not in reference/sources.toml"
    assert SOURCES[key]["confidence"] != "memory", f"{key} is from memory and no oracle"
    assert SOURCES[key].get("by") != "zcd", f"{key} is our own and no oracle"
    assert mark.kwargs.get("where"), "say where in the source"
    assert mark.kwargs.get("why"), "say why this tolerance"
    assert TOLERANCES & set(mark.kwargs), "say the tolerance: rtol or atol"
    assert set(mark.kwargs) <= TOLERANCES | {"where", "why"}
    return SimpleNamespace(key=key, **{"rtol": 0.0, "atol": 0.0, **mark.kwargs})


def _skipped(config: pytest.Config) -> list[Any]:
    reporter = config.pluginmanager.get_plugin("terminalreporter")
    return [] if reporter is None else reporter.stats.get("skipped", [])


def _global_state() -> dict[str, object]:
    root = logging.getLogger()
    # pytest puts its own handlers on the root logger while it runs.
    ours = [h for h in root.handlers if not type(h).__module__.startswith("_pytest")]
    state: dict[str, object] = {
        "locale": locale.setlocale(locale.LC_ALL),
        "logging": (root.level, ours, logging.root.manager.disable),
    }
    if "matplotlib" in sys.modules:
        state["rcParams"] = _rc_params("rcParams")
    return state


def _rc_params(name: str) -> dict[str, object]:
    """Plain copy; the backend is left out, as drawing resolves it by itself."""
    values = getattr(sys.modules["matplotlib"], name)
    return {key: dict.__getitem__(values, key) for key in values if not key.startswith("backend")}
