"""The public face: ten lines do a task; every result says itself in all its ways."""

from __future__ import annotations

import json
import pickle
import re
import subprocess
import sys
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import mypy.api
import numpy as np
import pytest

import zcd
from tests.jobs.demo_job import outlook
from zcd.__main__ import __name__ as program
from zcd.cli import main
from zcd.renderings import document_of
from zcd.report.table import Cell, Column, Table
from zcd.results import Result

TEXT = """
name = "Invented bulb forcer"
mains = "120 V 60 Hz"
rectifier = "1N4007"
optocoupler = "817B"
feed = "switched"
chain = {resistors = ["27k", {value = "22k", ref = "R8"}], style = "1/2 W"}
output = {pull_up = "15k", supply = "3.3 V"}
"""


@cache
def board() -> zcd.Board:
    return zcd.loads(TEXT)


@cache
def results() -> dict[str, Result]:
    case = zcd.diagnose(board(), "ohm R8 OL", flags=["sync", "fan"])
    return {
        "solve": zcd.solve(board(), mains=[108.0, 120.0]),
        "check": zcd.check(board()),
        "population": zcd.population(board(), 64),
        "sensitivity": zcd.sensitivity(board()),
        "loss_map": zcd.loss_map(board()),
        "readings": zcd.readings(board()),
        "diagnose": case,
        "retest": zcd.retest(board(), "ac line neutral 120 V"),
        "substitute": zcd.substitute(board(), refs=["R8"]),
        "story": zcd.story(board(), "R8 open", seconds=20.0),
        "causes": zcd.causes(board(), ["sync", "fan"], seconds=20.0),
        "windings": zcd.windings("red-black=210", "black-white=350", "red-white=558"),
        "capture": captured(),
    }


def captured() -> Result:
    """Three periods of the pin as an oscilloscope would have them."""
    solved, time_s = zcd.solve(board()), np.arange(0.0, 0.05, 1e-5)
    pin_v = np.interp(time_s % (1.0 / 60.0), solved.time_s, solved.voltage("pin", "logic0"))
    with TemporaryDirectory() as folder:
        path = Path(folder, "scope.csv")
        np.savetxt(path, np.transpose([time_s, pin_v]), header="time (s), pin (V)")
        return zcd.capture(path, board())


KINDS = (
    "solve", "check", "population", "sensitivity", "loss_map", "readings", "diagnose", "retest",
    "substitute", "story", "causes", "windings", "capture",
)  # fmt: skip


@pytest.mark.parametrize("kind", KINDS)
def test_a_result_says_itself_in_every_way(kind: str) -> None:
    result = results()[kind]
    assert len(repr(result).splitlines()) == 1
    assert len(repr(result)) < 160
    assert len(str(result).splitlines()) > 2
    assert "<" in result._repr_html_()
    record = result.to_dict()
    assert json.loads(json.dumps(record, allow_nan=False)) == record
    assert result.plot() is not None


@pytest.mark.parametrize("kind", KINDS)
def test_a_result_is_drawn_into_given_axes(kind: str) -> None:
    from matplotlib.figure import Figure

    ax = Figure().subplots()
    assert results()[kind].plot(ax) is ax
    assert ax.has_data() or kind in ("retest",)


def test_the_diagnosis_is_the_commands_where_jobs_were_closed(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """To the last digit, with closed jobs in the folder and without any."""
    path = tmp_path / "board.toml"
    path.write_text(TEXT, encoding="utf-8")

    def both(history: Path | None, *options: str) -> tuple[dict[str, Any], dict[str, Any]]:
        main(["diagnose", str(path), "-f", "sync,fan", "-r", "ohm R1 27k", "--json", *options])
        case = zcd.diagnose(zcd.load(path), "ohm R1 27k", flags=["sync,fan"], history=history)
        return json.loads(capsys.readouterr().out), case.to_dict()

    said, found = both(tmp_path)
    assert said == found == both(None, "--no-record")[1]
    closed = (
        'board = "board.toml"\nfound = "R8 open"\nkind = "resistor open"\nclosed = 2026-03-14\n'
    )
    (tmp_path / "old.toml").write_text(closed, encoding="utf-8")
    counted, again = both(tmp_path)
    assert counted == again
    assert again["closed_jobs"] == 1
    assert again["ranked"] != found["ranked"]
    assert both(None, "--no-record")[1]["ranked"] == found["ranked"]
    assert zcd.causes(zcd.load(path), ["sync"], seconds=20.0, history=tmp_path).known is not None


def test_a_job_and_a_meter_from_python(tmp_path: Path) -> None:
    (tmp_path / "board.toml").write_text(TEXT, encoding="utf-8")
    path = tmp_path / "job.toml"
    path.write_text(
        'board = "board.toml"\nflags = ["sync"]\nmeter = {dc_input = "1M", diode_stop = "1.9 V"}\n'
        '[[readings]]\nfunction = "ohm"\nover = "R8"\nvalue = "OL"\n',
        encoding="utf-8",
    )
    job = zcd.Job.load(path)
    assert repr(job) == "<Job: Invented bulb forcer; 1 reading, sync>"
    assert job.meter == zcd.Meter(dc_input_ohm=1e6, diode_stop_v=1.9)
    assert job.meter.diode_stated
    assert zcd.diagnose(job).ranked[0].key == "R8 open"
    assert zcd.Job(board=board()).meter == zcd.Meter()
    for make, words in (
        (lambda: zcd.Meter(dc_input_ohm=-1), "dc_input_ohm: found -1; allowed: a number above 0"),
        (lambda: zcd.Meter(counts="many"), 'counts: found "many"; allowed: a number above 0'),
        (lambda: zcd.Meter(ac_kind="peak"), 'ac_kind: found "peak"; allowed: one of true-rms'),
        (lambda: zcd.Job(board=board(), meter=None), "meter: found nothing; allowed: a zcd.Meter"),
        (lambda: zcd.Job.load(tmp_path / "none.toml"), "none.toml: found no such file"),
    ):
        with pytest.raises(zcd.InputError, match=words):
            make()


def test_what_a_notebook_shows_of_the_parts_of_a_result_is_one_line() -> None:
    case, replaced = results()["diagnose"], results()["substitute"]
    parts = (board(), case.job, case.diagnosis, case.next_reading, case.dictionary, replaced.found)
    for part in parts:
        assert repr(part).startswith(f"<{type(part).__name__}: ")
        assert len(repr(part)) < 160
        assert "\n" not in repr(part)
    assert "half-wave, 120 V 60 Hz" in repr(board())
    assert "<table" in board()._repr_html_()
    # what is kept of a board is kept under all of it
    assert board().contents == zcd.loads(TEXT).contents
    assert board().contents != board().with_(R8="23k").contents


def test_a_retest_is_told_of_the_job_before_the_repair() -> None:
    with pytest.raises(zcd.InputError, match="no reading since the repair"):
        zcd.retest(board())
    job = zcd.diagnose(board(), "ohm R8 OL", flags=["sync"]).job
    again = zcd.retest(board(), "ac line neutral 120 V", before=job)
    assert again.flags_before == ("sync",)
    assert again.readings == zcd.retest(board(), "ac line neutral 120 V").readings
    assert [reading.name for reading in again.to_take] == [m.reading.name for m in job.measured]


@pytest.mark.usefixtures("all_samples")
def test_the_verdict_is_the_commands(tmp_path: Any) -> None:
    """Of a board that fails; that another passes is no other way."""
    path = tmp_path / "board.toml"
    path.write_text(TEXT.replace("22k", "330k"), encoding="utf-8")
    done = subprocess.run(
        [sys.executable, "-m", "zcd", "check", str(path), "--json"],
        capture_output=True,
        text=True,
        check=False,
    )
    check = zcd.check(board().with_(R8="330k"))
    assert done.returncode == 1
    assert not check.passes
    assert json.loads(done.stdout) == check.to_dict()
    assert program == "zcd.__main__"


def test_quantities_as_text_and_as_numbers() -> None:
    a = zcd.solve(board(), mains="108 V", temperature="60 °C", ctr="130 %")
    b = zcd.solve(board(), mains=108.0, temperature=60.0, ctr=1.3)
    assert [e.time_s for e in a.edges] == [e.time_s for e in b.edges]
    assert a.voltage("pin", "logic0").shape == a.time_s.shape


def test_a_batch_is_its_cases() -> None:
    both = zcd.solve(board(), mains=[108.0, 132.0])
    alone = zcd.solve(board(), mains=132.0)
    led = both.current("OC1")[1]
    assert led.max() == pytest.approx(alone.current("OC1").max(), rel=1e-4)
    assert both.voltage("feed", "neutral")[1].max() == pytest.approx(132.0 * np.sqrt(2), rel=1e-3)


def test_current_through_a_resistor_is_ohms_law() -> None:
    solved = zcd.solve(board())
    # half-wave: what flows in the resistor flows in the LED, forward
    assert solved.current("R8").max() == pytest.approx(solved.current("OC1").max(), rel=1e-4)


@pytest.mark.parametrize(
    ("changes", "read"),
    [
        ({"R8": "33k"}, lambda b: b.chains[0][1].resistance_ohm == 33e3),
        ({"R1": "33k"}, lambda b: b.chains[0][0].resistance_ohm == 33e3),
        ({"pull_up": "4k7"}, lambda b: b.output.resistor.resistance_ohm == 4700.0),
        ({"mains": "230 V 50 Hz"}, lambda b: b.mains.frequency_hz == 50.0),
        ({"D1": "1N4148"}, lambda b: b.rectifier.part == "1N4148"),
        ({"OC1": "817C"}, lambda b: b.optocoupler.grade == "C"),
        ({"supply": "5 V"}, lambda b: b.output.supply_v == 5.0),
        ({"min_low_time": "1 ms"}, lambda b: b.controller.min_low_time_s == 1e-3),
        ({"output.supply": "5 V"}, lambda b: b.output.supply_v == 5.0),
    ],
)
def test_a_board_with_changes(changes: dict[str, Any], read: Any) -> None:
    changed = board().with_(**changes)
    assert read(changed)
    assert not read(board())
    assert changed.name == board().name
    # a changed board can be changed again, and back
    assert changed.with_(R8="22k", R1="27k").chains[0] == board().chains[0]


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda: board().with_(R7="10k"), r'found "R7"; allowed: .*R8'),
        (lambda: board().with_(R8="ten"), "a resistance such as"),
        (lambda: zcd.loads("mains = 3"), "chain"),
        (lambda: zcd.solve(board(), fault="R9 open"), "R9: no such part"),
        (lambda: zcd.solve(board(), mains="a lot"), "an AC voltage such as"),
        (lambda: zcd.solve(board()).voltage("pen", "logic0"), "pin"),
        (lambda: zcd.solve(board()).current("R9"), "R8"),
        (lambda: zcd.diagnose(board(), "dc pin"), "reading"),
        (lambda: zcd.load("no-such-file.toml"), "no-such-file.toml"),
        (lambda: zcd.story(board(), "R9 open"), "R9: no such part"),
        (lambda: zcd.substitute(board(), refs=["R9"]), "R9"),
    ],
)
def test_mistakes_are_one_kind_of_error(make: Any, words: str) -> None:
    with pytest.raises(zcd.InputError, match=words) as caught:
        make()
    assert isinstance(caught.value, zcd.ZcdError)


def test_a_type_checker_knows_the_names(tmp_path: Path) -> None:
    """Those that there are, and that there is no other; what they are it reads elsewhere."""
    script = tmp_path / "script.py"
    script.write_text("import zcd\nzcd.check\nzcd.nothing\n", encoding="utf-8")
    face = str(Path(zcd.__file__))
    alone = ["--follow-imports=skip", "--config-file=", f"--cache-dir={tmp_path}"]
    said, _, status = mypy.api.run([*alone, str(script), face])
    assert status == 1
    assert [line.partition(" error: ")[2] for line in said.splitlines()[:-1]] == [
        'Module has no attribute "nothing"  [attr-defined]'
    ]


def test_a_case_goes_on() -> None:
    case = zcd.diagnose(board(), flags=["sync", "fan"])
    assert case.next_reading is not None
    more = case.add("ohm R8 OL")
    assert more.ranked[0].key == "R8 open"
    assert len(more.diagnosis.measured) == 1
    assert not case.diagnosis.measured


TABLES = {
    "solve": ("cases",),
    "check": ("rules", "levels", "resistors", "headroom", "corners", "population", "tolerances",
              "shorts", "surge", "assumptions"),
    "diagnose": ("faults", "readings", "choices"),
    "substitute": ("chain",),
    "story": ("events", "circuit"),
}  # fmt: skip
PICTURES = {
    "solve": ("waveforms",),
    "check": ("circuit",),
    "loss_map": ("map",),
    "diagnose": ("circuit",),
    "story": ("timeline", "circuit", "waveforms", "drive", "fan"),
}


@pytest.mark.parametrize(("kind", "name"), [(k, n) for k in TABLES for n in TABLES[k]])
def test_a_table_of_a_result(kind: str, name: str) -> None:
    table = results()[kind].table(name)
    assert len(table.to_dicts()) == len(table.rows) > 0
    assert len(repr(table).splitlines()) == 1
    assert all(heading in str(table) for heading in table.columns)
    assert not re.search(r"nan|inf\b|\de[+-]\d", str(table))
    assert "<table" in table._repr_html_()


@pytest.mark.parametrize("kind", KINDS)
def test_no_column_of_a_table_is_lost_to_programs(kind: str) -> None:
    """As many columns as are shown, and the text of a source where a letter for it is shown."""
    result = results()[kind]
    named = [result.table(name) for name in TABLES.get(kind, ())]
    for table in (*document_of(result).tables(), *named):
        frame = table.to_pandas()
        shape = (len(table.rows), len(table.columns) if table.rows else 0)
        assert frame.shape == shape, table
        for row, shown in zip(table.to_dicts(), table.rows, strict=True):
            sources = [cell.source for cell in shown if isinstance(cell, Cell) and cell.source]
            assert set(sources) <= set(row.values()), table


def test_a_table_whose_columns_share_a_name_is_refused() -> None:
    for columns in (("part", "share", "share"), ("", "share")):
        with pytest.raises(ValueError, match="columns need names of their own"):
            Table(title="Power", columns=columns, rows=())
    named = Table(title="Power", columns=(Column("", "part"), "share"), rows=(("R1", "40 %"),))
    assert named.to_dicts() == [{"part": "R1", "share": "40 %"}]


def test_a_cell_does_not_change_and_crosses_to_another_process() -> None:
    for cell in (Cell("40 %", 0.4), Cell(source="limits"), Column("", "part", "W")):
        with pytest.raises(AttributeError, match="does not change"):
            cell.source = "elsewhere"
        copied = pickle.loads(pickle.dumps(cell))
        kept = [name for name in ("value", "source", "name", "unit") if hasattr(cell, name)]
        assert copied == cell
        assert [getattr(copied, k) for k in kept] == [getattr(cell, k) for k in kept]


def test_figures_of_a_table_are_numbers() -> None:
    check = results()["check"]
    first = check.table("shorts").to_dicts()[0]
    assert first["power_ratio"] > 0.0 < first["voltage_ratio"]
    headroom = {row["name"]: row for row in check.table("headroom").to_dicts()}
    assert headroom["ctr"]["factor_ratio"] == check.headrooms["ctr"].factor_ratio
    assert check.table("tolerances").to_dicts()[0]["source"]


@pytest.mark.parametrize("kind", KINDS)
def test_every_result_has_a_first_table_and_picture(kind: str) -> None:
    assert results()[kind].table().rows
    assert results()[kind].picture()._repr_svg_().startswith("<svg")


@pytest.mark.parametrize(("kind", "name"), [(k, n) for k in PICTURES for n in PICTURES[k]])
def test_a_picture_of_a_result(kind: str, name: str, tmp_path: Path) -> None:
    picture = results()[kind].picture(name)
    assert len(repr(picture).splitlines()) == 1
    assert picture._repr_svg_().startswith("<svg")
    if name == "circuit":  # that each can be saved is seen in drawing/
        path = picture.save(tmp_path / "picture.png")
        assert path.read_bytes().startswith(b"\x89PNG")


@pytest.mark.parametrize(
    ("get", "words"),
    [
        (lambda: results()["check"].table("rule"), 'did you mean "rules"'),
        (lambda: results()["check"].table("years"), "allowed: one of rules"),
        (lambda: results()["check"].picture("years"), "allowed: one of circuit"),
        (lambda: results()["substitute"].table("optocouplers"), "allowed: one of chain"),
        (lambda: results()["population"].table("rules"), "allowed: no name"),
        (lambda: results()["story"].picture("fans"), 'did you mean "fan"'),
    ],
)
def test_a_table_or_picture_that_there_is_not(get: Any, words: str) -> None:
    with pytest.raises(zcd.InputError, match=words):
        get()


def test_an_outlook_has_tables_and_pictures_of_its_own(monkeypatch: pytest.MonkeyPatch) -> None:
    """What it holds is the matter of tests/margin; it takes seconds."""
    monkeypatch.setattr("zcd.margin.outlook.sensitivity_of", lambda *_: outlook().sensitivity)
    monkeypatch.setattr("zcd.margin.outlook.ageing_of", lambda *_: outlook().ageing)
    check = zcd.check(board(), outlook=True)
    for name in ("shares", "years"):
        assert check.table(name).rows
        assert check.picture(name)._repr_svg_().startswith("<svg")


def test_the_diagram_marks_a_fault() -> None:
    whole, faulty = zcd.draw(board()), zcd.draw(board(), "R8 open")
    assert whole._repr_svg_() != faulty._repr_svg_()
    with pytest.raises(zcd.InputError, match="R9: no such part"):
        zcd.draw(board(), "R9 open")


def test_choices_are_the_best_for_their_cost_first() -> None:
    case = zcd.diagnose(board(), flags=["sync", "fan"])
    result = case.choices()
    worth = [choice.worth_bits for choice in result]
    assert worth == sorted(worth, reverse=True)
    assert case.next_reading is not None
    # an answer cannot tell more than what is open: mutual information is at most the entropy
    assert 0.0 < max(c.gain_bits for c in result) <= case.next_reading.open_bits
    taken = case.add("ohm R8 22k").measured[0].reading
    assert taken in [choice.reading for choice in result]
    assert taken not in [choice.reading for choice in case.add("ohm R8 22k").choices()]


def test_a_reading_that_contradicts_the_others_is_named() -> None:
    case = zcd.diagnose(
        board(), "dc pin logic0 2 V", "frequency 60", "dc logic+ logic0 0 V", "ohm R8 22k"
    )
    assert [m.reading.words for m in case.suspects] == ["DC volts, logic+ to logic0"]


def test_flags_after_the_repair_are_those_of_a_job() -> None:
    taken = ("ohm R8 22k", "dc pin logic0 2 V")
    job = zcd.diagnose(board(), flags=["none"]).job
    by_flags = zcd.retest(board(), *taken, flags=["none"])
    assert by_flags.good_ratio == zcd.retest(job, *taken).good_ratio
    assert by_flags.good_ratio != zcd.retest(board(), *taken).good_ratio


def test_parts_in_stock_from_a_text() -> None:
    drawer = zcd.loads_drawer('resistors = [{values = ["22k", "24k"], style = "1/2 W"}]')
    (answer,) = zcd.substitute(board(), drawer, refs=["R8"]).found.answers
    ohm = {part.resistance_ohm for proposal in answer.proposals for part in proposal.parts}
    assert ohm
    assert ohm <= {22e3, 24e3}


def test_windings_by_kirchhoff() -> None:
    # two windings in series: 210 + 350 = 560 ohm between their outer ends
    result = zcd.windings("red-black=210", "black-white=350", "red-white=560")
    assert result.verdict.roles["black"] == "common"
    assert not result.safe
    wrong = zcd.windings("red-black=210", "black-white=350", "red-white=690")
    assert wrong.verdict.problems


def test_importing_it_loads_nothing_heavy() -> None:
    code = "import sys, zcd; print([m for m in ('numpy', 'scipy', 'pydantic') if m in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_every_name_is_there() -> None:
    for name in zcd.__all__:
        assert callable(getattr(zcd, name))
        # a package of that name would take its place as soon as it is imported
        assert not (Path(zcd.__file__).parent / name).exists()
    with pytest.raises(AttributeError, match="no attribute 'chek'"):
        zcd.chek  # noqa: B018
