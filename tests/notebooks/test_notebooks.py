"""Every notebook runs from top to bottom, without state and without an error."""

from __future__ import annotations

from pathlib import Path

import nbformat
import pytest
from nbclient import NotebookClient

FOLDER = Path(__file__).resolve().parents[2] / "notebooks"
NOTEBOOKS = sorted(FOLDER.glob("*.ipynb"))


def test_there_are_notebooks() -> None:
    assert NOTEBOOKS


@pytest.mark.filterwarnings("ignore::DeprecationWarning")
@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_notebook_runs(path: Path) -> None:
    """Each code cell runs; pictures come out as pictures."""
    notebook = nbformat.read(path, as_version=4)
    NotebookClient(notebook, timeout=300, kernel_name="python3").execute()
    outputs = [o for cell in notebook.cells for o in cell.get("outputs", [])]
    assert any(kind.startswith("image/") for o in outputs for kind in o.get("data", {}))


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_notebook_is_stored_without_output(path: Path) -> None:
    """What is shown is what was calculated now, not what once was."""
    for cell in nbformat.read(path, as_version=4).cells:
        assert not cell.get("outputs")
