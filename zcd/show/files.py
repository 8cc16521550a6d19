"""Files that are there whole or not at all."""

from __future__ import annotations

import tempfile
from pathlib import Path

from zcd.errors import InputError


def write_whole(path: str | Path, data: bytes) -> Path:
    """Write a file, replacing an old one in the moment when the new one is complete.

    Parameters
    ----------
    path : str or Path
        In an existing directory.
    data : bytes

    Returns
    -------
    Path

    Raises
    ------
    InputError
        If it cannot be written.
    """
    path = Path(path)
    try:
        with tempfile.TemporaryDirectory(dir=path.parent, prefix=".zcd-") as folder:
            whole = Path(folder) / "whole"
            whole.write_bytes(data)
            whole.replace(path)
    except (OSError, ValueError) as error:
        raise _no_place(path, error, "a file in an existing directory") from error
    return path


def make_folder(path: str | Path) -> Path:
    """Make a folder unless it is there.

    Raises
    ------
    InputError
        If it cannot be made.
    """
    path = Path(path)
    try:
        path.mkdir(exist_ok=True)
    except (OSError, ValueError) as error:
        raise _no_place(path, error, "a folder in an existing directory") from error
    return path


def _no_place(path: Path, error: Exception, allowed: str) -> InputError:
    why = getattr(error, "strerror", None) or "not a file name"
    name = "".join(c if c.isprintable() else "?" for c in str(path))
    return InputError(f"{name}: found a place that cannot be written ({why}); allowed: {allowed}")
