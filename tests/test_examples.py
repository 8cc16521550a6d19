"""Every example is an invented board of its own: demo, starters, page, notebooks."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from functools import cache
from itertools import combinations
from pathlib import Path

import pytest

from zcd.api import check
from zcd.board.files import load_board, parse_board
from zcd.board.model import Board, Topology
from zcd.board.starter import starter_text
from zcd.web.board_form import START, read

ROOT = Path(__file__).resolve().parents[1]
DEMO = ROOT / "zcd" / "jobs" / "templates" / "demo"
NOTEBOOKS = sorted((ROOT / "notebooks").glob("*.ipynb"))


def of_notebook(path: Path) -> Board:
    """The first board that a notebook describes."""
    cells = json.loads(path.read_text(encoding="utf-8"))["cells"]
    text = "\n".join("".join(cell["source"]) for cell in cells if cell["cell_type"] == "code")
    result = re.search(r'"""\n(name = .*?)"""', text, re.DOTALL)
    assert result is not None
    return parse_board(result[1])


def readme_script() -> str:
    """The README's example in Python."""
    result = re.search(r"```python\n(.*?)```", (ROOT / "README.md").read_text("utf-8"), re.DOTALL)
    assert result is not None
    return result[1]


def of_readme() -> Board:
    """The board of the README's example in Python."""
    result = re.search(r'loads\("""(.*?)"""\)', readme_script(), re.DOTALL)
    assert result is not None
    return parse_board(result[1])


@cache
def examples() -> dict[str, Board]:
    """All example boards."""
    first, errors = read(START)
    assert first is not None
    assert not errors
    return {
        "demo": load_board(DEMO / "board.toml"),
        "page": first,
        "script": of_readme(),
        **{f"starter {topology}": parse_board(starter_text(topology)) for topology in Topology},
        **{path.stem: of_notebook(path) for path in NOTEBOOKS},
    }


def chain_ohms(board: Board) -> set[float]:
    """Values in the chain."""
    strings = (*board.chains, board.return_chain)
    return {resistor.resistance_ohm for string in strings for resistor in string}


def test_each_example_has_a_chain_of_its_own() -> None:
    for (one, a), (other, b) in combinations(examples().items(), 2):
        assert not chain_ohms(a) & chain_ohms(b), (one, other)


def test_each_appliance_has_a_name_of_its_own() -> None:
    """No maker and no kind of appliance comes twice."""
    named = [board.name for name, board in examples().items() if name != "page"]
    words = [set(re.findall(r"[a-z]{4,}", name.lower())) for name in named]
    common = {"example", "invented", "control", "board"}
    for a, b in combinations(words, 2):
        assert not (a & b) - common


def test_examples_show_what_there_is() -> None:
    boards = examples().values()
    assert {board.topology for board in boards} == set(Topology)
    assert {(b.mains.rms_v, b.mains.frequency_hz) for b in boards} >= {(120.0, 60.0), (230.0, 50.0)}
    assert {board.output.supply_v for board in boards} == {3.3, 5.0}
    assert {board.relay is None for board in boards} == {True, False}


@pytest.mark.parametrize("kind", ["demo", *(path.stem for path in NOTEBOOKS)])
def test_notebooks_and_demo_differ_in_topology(kind: str) -> None:
    told = ["demo", *(path.stem for path in NOTEBOOKS)]
    alike = [name for name in told if examples()[name].topology is examples()[kind].topology]
    assert alike == [kind]


def test_the_script_of_the_readme_runs() -> None:
    script = readme_script()
    assert len([line for line in script.splitlines() if line]) == 10
    assert re.findall(r"^(?:import|from) .*", script, re.MULTILINE) == ["import zcd"]
    done = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, check=True, cwd=ROOT
    )
    assert done.stdout.startswith("False Reserve")
    assert re.search(r"\bR2:? open", done.stdout)
    # Ohm's law: at the mains' peak the chain takes all but a diode's and an LED's drop of about 2 V
    peaks = [float(word) for word in re.findall(r"\d\.\d+e?-?\d*", done.stdout.split("[")[1])[:3]]
    expected = [(2**0.5 * rms - 1.7) / 78e3 for rms in (108.0, 120.0, 132.0)]
    assert peaks == pytest.approx(expected, rel=0.01)


def test_the_board_of_the_readme_is_read_as_it_says_and_passes() -> None:
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    result = re.search(r"```toml\n(mains = .*?)```", readme, re.DOTALL)
    assert result is not None
    told = parse_board(result[1])
    assert told.topology is Topology.HALF_WAVE
    assert told.relay is not None
    assert chain_ohms(told) == {68e3}
    assert check(told).passes
