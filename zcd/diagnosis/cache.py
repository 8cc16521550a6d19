"""Predictions kept between runs, under a name made from everything that they depend on."""

from __future__ import annotations

import hashlib
import io
import os
import tempfile
import zipfile
from collections.abc import Mapping
from contextlib import suppress
from functools import cache
from importlib import resources
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from zcd.board.model import Board
from zcd.diagnosis.meters import Meter
from zcd.refdata import contents

FloatArray = NDArray[np.float64]

MAX_FILES = 60
"""Boards that are remembered; the one longest unused goes first."""
ROOMS = ("board", "circuit", "physics", "engine", "sync", "margin", "diagnosis")


class Store:
    """What was predicted for a board and a meter, on disk.

    A file that is missing, damaged or of another shape counts as empty; a place that cannot be
    written is left alone: the predictions are then made again.

    Parameters
    ----------
    path : Path
        Of the file.
    """

    def __init__(self, path: Path) -> None:
        self.path = path

    @classmethod
    def of(cls, board: Board, meter: Meter, samples: int) -> Store:
        """The store of a board in the user's cache folder."""
        import platformdirs

        name = hashlib.sha256(f"{_code_digest()} {samples} {meter!r} {board.contents}".encode())
        folder = platformdirs.user_cache_path("zcd", appauthor=False)
        return cls(folder / f"{name.hexdigest()[:32]}.npz")

    def read(self, shape: tuple[int, int]) -> dict[str, FloatArray]:
        """Predictions by name, those of the right shape and without nan."""
        result: dict[str, FloatArray] = {}
        with suppress(OSError, ValueError, EOFError, KeyError, zipfile.BadZipFile):
            os.utime(self.path)
            with np.load(io.BytesIO(self.path.read_bytes()), allow_pickle=False) as file:
                for name in file.files:
                    values = file[name]
                    if values.shape == shape and values.dtype == float:
                        result[name] = values
        return {name: values for name, values in result.items() if not np.isnan(values).any()}

    def write(self, values: Mapping[str, FloatArray]) -> None:
        """Replace the file by a new one in the moment when that is complete."""
        data = io.BytesIO()
        np.savez(data, **dict(values))  # type: ignore[arg-type]
        with suppress(OSError):
            self.path.parent.mkdir(parents=True, exist_ok=True)
            with tempfile.TemporaryDirectory(dir=self.path.parent, prefix=".new-") as folder:
                whole = Path(folder) / self.path.name
                whole.write_bytes(data.getvalue())
                whole.replace(self.path)
            self._forget_old()

    def _forget_old(self) -> None:
        """Keep the folder small."""
        files = sorted(self.path.parent.glob("*.npz"), key=lambda p: p.stat().st_mtime)
        for path in files[:-MAX_FILES]:
            path.unlink(missing_ok=True)


def name_of(words: str) -> str:
    """A name for a reading that any file system takes."""
    return hashlib.sha256(words.encode()).hexdigest()[:16]


@cache
def _code_digest() -> str:
    """Of everything that makes a prediction what it is: the laws, the tables, numpy itself."""
    digest = hashlib.sha256(np.__version__.encode())
    for room in ROOMS:
        folder = resources.files("zcd").joinpath(room)
        for file in sorted(folder.iterdir(), key=lambda f: f.name):
            if file.name.endswith(".py"):
                digest.update(file.read_bytes())
    for data in contents():
        digest.update(data)
    return digest.hexdigest()
