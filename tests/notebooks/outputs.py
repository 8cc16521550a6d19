"""Run the notebooks, keep what they show, and say where it differs from what is kept.

``python -m tests.notebooks.outputs`` runs each and stores its outputs.
"""

from __future__ import annotations

import re
from base64 import b64decode
from collections.abc import Iterator
from contextlib import contextmanager
from io import BytesIO
from itertools import zip_longest
from pathlib import Path
from typing import Any

import matplotlib.image
import nbformat
import numpy as np
from nbclient import NotebookClient

FOLDER = Path(__file__).resolve().parents[2] / "notebooks"
NOTEBOOKS = sorted(FOLDER.glob("*.ipynb"))
SLOW = "slow"
"""Tag of a cell that takes seconds and on which no other depends."""
FORGET = "%reset -f"
_NUMBER = re.compile(r"[-+]?\d+(?:\.\d+)?")
_DEFINITIONS = re.compile(r"<(defs|clipPath)\b.*?</\1>", re.DOTALL)
_RELATIVE, _TEXT_ATOL = 2e-3, 1e-9
"""The last of three figures may be rounded otherwise on another machine."""
_POINTS = 0.5
"""What a line may be off in a drawing. [pt]"""
_LEVELS = 4.0
"""What a picture of points may be off, root mean square, of 255 levels."""
_PIXELS = 4


def read(path: Path, *, whole: bool) -> Any:
    """A notebook as it is stored; else without the cells that are tagged `slow`."""
    notebook = nbformat.read(path, as_version=4)
    if not whole:
        notebook.cells = [c for c in notebook.cells if SLOW not in c.metadata.get("tags", ())]
    return notebook


@contextmanager
def one_kernel() -> Iterator[NotebookClient]:
    """What runs notebooks one after the other; loading what they need takes seconds."""
    client = NotebookClient(
        nbformat.v4.new_notebook(), timeout=300, kernel_name="python3", record_timing=False,
        store_widget_state=False,
    )  # fmt: skip
    client.km = client.create_kernel_manager()
    client.owns_km = False
    try:
        yield client
    finally:
        client.nb = nbformat.v4.new_notebook()
        client.execute(cleanup_kc=True)


def run(path: Path, client: NotebookClient, *, whole: bool = True) -> Any:
    """A notebook with the outputs that it has now, without names that another one left."""
    notebook = read(path, whole=whole)
    client.nb = nbformat.v4.new_notebook(
        metadata=notebook.metadata, cells=[nbformat.v4.new_code_cell(FORGET), *notebook.cells]
    )
    client.execute()
    notebook.metadata.pop("language_info", None)
    for cell in notebook.cells:
        if cell.cell_type == "code":
            cell.execution_count = None
            for output in cell.outputs:
                output.pop("execution_count", None)
                if output.output_type == "execute_result":
                    output.execution_count = None
    return notebook


def shown(cell: Any) -> list[tuple[str, str]]:
    """What a cell shows: kind and content of each output.

    A stream comes in as many pieces as the time that it takes has it: those in a row are one.
    """
    result: list[tuple[str, str]] = []
    for output in cell.get("outputs", []):
        pieces = output.get("data") or {f"stream {output.get('name')}": output.get("text", "")}
        for kind, content in sorted(pieces.items()):
            text = "".join(content)
            if result and kind.startswith("stream ") and result[-1][0] == kind:
                text = result.pop()[1] + text
            result.append((kind, text))
    return result


def differences(now: Any, kept: Any) -> Iterator[str]:
    """Where the outputs of a notebook differ from those stored, a line each."""
    for number, (cell, before) in enumerate(zip(now.cells, kept.cells, strict=True), 1):
        for new, old in zip_longest(shown(cell), shown(before), fillvalue=("nothing", "")):
            if new[0] != old[0] or not _alike(*new, old[1]):
                yield f"cell {number} shows another {new[0]} than is stored ({old[0]})"


def _alike(kind: str, new: str, old: str) -> bool:
    if kind == "image/png":
        return _same_picture(new, old)
    if kind == "image/svg+xml":
        return _same_text("\n".join(_texts(new)), "\n".join(_texts(old))) and _same_lines(new, old)
    return _same_text(new, old)


def _same_text(new: str, old: str) -> bool:
    """The same words, and numbers that differ by a rounding at most."""
    numbers = [np.array(_NUMBER.findall(text), dtype=float) for text in (new, old)]
    same_words = _NUMBER.sub("#", new) == _NUMBER.sub("#", old)
    return same_words and np.allclose(*numbers, rtol=_RELATIVE, atol=_TEXT_ATOL)


def _texts(svg: str) -> list[str]:
    """Words of a drawing, which stand beside their outlines."""
    return re.findall(r"<!--(.*?)-->", svg)


def _same_lines(new: str, old: str) -> bool:
    """The same lines and areas; outlines of letters are left out."""
    drawn = [" ".join(re.findall(r' d="([^"]*)"', _DEFINITIONS.sub("", svg))) for svg in (new, old)]
    points = [np.array(_NUMBER.findall(text), dtype=float) for text in drawn]
    return points[0].shape == points[1].shape and np.allclose(*points, rtol=0.0, atol=_POINTS)


def _same_picture(new: str, old: str) -> bool:
    """Two pictures of nearly the same size that can hardly be told apart."""
    pictures = [matplotlib.image.imread(BytesIO(b64decode(text))) * 255.0 for text in (new, old)]
    shapes = np.array([picture.shape[:2] for picture in pictures])
    if np.abs(shapes[0] - shapes[1]).max() > _PIXELS:
        return False
    rows, columns = shapes.min(axis=0)
    one, other = (picture[:rows, :columns, :3] for picture in pictures)
    return bool(np.sqrt(np.mean((one - other) ** 2)) <= _LEVELS)


if __name__ == "__main__":
    with one_kernel() as kernel:
        for each in NOTEBOOKS:
            nbformat.write(run(each, kernel), each)
