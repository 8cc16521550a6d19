"""Every notebook runs from top to bottom, without state and without an error."""

from __future__ import annotations

import ast
import re
from base64 import b64encode
from collections.abc import Iterator
from contextlib import redirect_stdout
from io import BytesIO, StringIO
from itertools import pairwise
from pathlib import Path
from typing import Any

import matplotlib.pyplot as plt
import nbformat
import pytest
from nbclient import NotebookClient

from tests.notebooks.outputs import NOTEBOOKS, differences, one_kernel, read, run

ALLOWED = {"zcd", "numpy", "matplotlib", "matplotlib.pyplot", "IPython.display", "ipywidgets"}


@pytest.fixture(scope="module")
def client() -> Iterator[NotebookClient]:
    with one_kernel() as running:
        yield running


def test_there_are_notebooks() -> None:
    assert NOTEBOOKS


@pytest.mark.filterwarnings("ignore::DeprecationWarning")
@pytest.mark.parametrize(
    "whole", [False, pytest.param(True, marks=pytest.mark.slow)], ids=["usual", "whole"]
)
@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_notebook_runs(path: Path, whole: bool, client: NotebookClient) -> None:
    """Each code cell runs and shows what is stored; numbers are as a person writes them."""
    notebook = run(path, client, whole=whole)
    stored = list(differences(notebook, read(path, whole=whole)))
    assert not stored, "run python -m tests.notebooks.outputs if it is meant to"
    outputs = [o for cell in notebook.cells for o in cell.get("outputs", [])]
    assert any(kind.startswith("image/") for o in outputs for kind in o.get("data", {}))
    assert not [o for o in outputs if o.get("name") == "stderr"]
    texts = [o.get("text") or o.get("data", {}).get("text/plain", "") for o in outputs]
    assert not [text for text in texts if re.search(r"\bnan\b|\binf\b|\de[+-]\d|\b0\.000", text)]
    silent = [
        cell["source"]
        for cell, after in zip(notebook.cells, [*notebook.cells[1:], {"source": ""}], strict=True)
        if any(shows_picture(o) for o in cell.get("outputs", []))
        and not after["source"].startswith("*Figure:*")
    ]
    assert not silent, "a figure without words for those who cannot see it"


def shows_picture(output: dict[str, Any]) -> bool:
    """Whether an output is a picture."""
    return any(kind.startswith("image/") for kind in output.get("data", {}))


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_notebook_says_what_it_is_for(path: Path) -> None:
    """Objectives, prerequisites, time and order first; exercises with an answer that is folded."""
    cells = nbformat.read(path, as_version=4).cells
    for words in ("By the end you can", "*Before it:*", "*Time needed:*", "*Reading order:*"):
        assert words in cells[1]["source"]
    for cell, after in pairwise(cells):
        if cell["source"].startswith("**Exercise"):
            assert "<details><summary>Answer</summary>" in cell["source"]
            assert after["cell_type"] == "code"


@pytest.mark.parametrize(
    ("given", "said"), [("None", "Put your answer"), ("1.02", "Right."), ("1.2", "Not yet")]
)
@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_exercises_check_themselves(path: Path, given: str, said: str) -> None:
    cells = nbformat.read(path, as_version=4).cells
    (helper,) = (c["source"] for c in cells if c["source"].startswith("def exercise("))
    with redirect_stdout(StringIO()) as out:
        exec(f"{helper}\nexercise({given}, 1.0, within=0.05)", {})
    assert out.getvalue().startswith(said)


def showing(kind: str, content: str) -> Any:
    """A notebook whose one cell shows this."""
    output = nbformat.v4.new_output("display_data", {kind: content})
    return nbformat.v4.new_notebook(cells=[nbformat.v4.new_code_cell("", outputs=[output])])


@pytest.mark.parametrize(
    ("kind", "old", "new"),
    [
        ("text/plain", "low 7.19 ms", "low 7.29 ms"),
        ("text/plain", "low 7.19 ms", "high 7.19 ms"),
        ("image/svg+xml", '<path d="M 10 20 L 30 40"/>', '<path d="M 10 20 L 30 41"/>'),
        ("image/svg+xml", "<!-- R1 --><path/>", "<!-- R2 --><path/>"),
    ],
)
def test_what_has_changed_is_seen(kind: str, old: str, new: str) -> None:
    assert list(differences(showing(kind, new), showing(kind, old))) == [
        f"cell 1 shows another {kind} than is stored ({kind})"
    ]
    assert list(differences(showing(kind, old), showing(kind, old))) == []


def test_a_moved_curve_is_another_picture() -> None:
    def picture(shift: float) -> str:
        figure, axes = plt.subplots()
        axes.plot([0.0, 1.0], [shift, 1.0 + shift], lw=2)
        axes.set(xlim=(0, 1), ylim=(0, 2))
        file = BytesIO()
        figure.savefig(file, format="png")
        plt.close(figure)
        return b64encode(file.getvalue()).decode()

    here, moved = (showing("image/png", picture(shift)) for shift in (0.0, 0.02))
    assert list(differences(moved, here))
    assert not list(differences(showing("image/png", picture(0.0)), here))


def imported(source: str) -> set[str]:
    """Modules that a piece of code imports."""
    result = set()
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            result |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            result.add(node.module or ".")
    return result


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_notebook_imports_only_the_public_face(path: Path) -> None:
    cells = nbformat.read(path, as_version=4).cells
    modules = imported("\n".join(c["source"] for c in cells if c["cell_type"] == "code"))
    assert "zcd" in modules
    assert modules <= ALLOWED


def test_a_deeper_import_would_be_seen() -> None:
    assert imported("from zcd.board import x\nimport zcd.api, numpy") - ALLOWED == {
        "zcd.board",
        "zcd.api",
    }
