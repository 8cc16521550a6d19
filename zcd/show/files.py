"""Files that are there whole or not at all."""

from __future__ import annotations

import errno
import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from zcd.board.units import refusal
from zcd.errors import InputError

PDF_END = b"%zcd\n"
"""Last line of the PDF files written here, a comment to whoever reads them."""
MARKS = (
    b'name="generator" content="zcd',
    b"Software\x00zcd",
    b"zcd sync circuit\n* ",
    b"%%EOF\n" + PDF_END,
)
"""What the reports, pictures and netlists written here have near their start or at their end."""
_FILE = "a new file in an existing directory, or an earlier report, picture or netlist of zcd"
_FOLDER = "a folder in an existing directory"


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
        raise _no_place(path, error, _FILE) from error
    return path


@contextmanager
def only_writer(folder: Path) -> Iterator[None]:
    """Wait until no other zcd writes into a folder, and keep them waiting.

    What a file holds can so be compared and replaced in one step. Systems that cannot lock a
    folder, and file systems that refuse to, go on without.
    """
    try:
        import fcntl

        door = os.open(folder, os.O_RDONLY)
    except (ImportError, OSError):
        yield
        return
    try:
        with suppress(OSError):
            fcntl.flock(door, fcntl.LOCK_EX)
        yield
    finally:
        os.close(door)


def require_place(path: str | Path, *, folder: bool = False) -> None:
    """Refuse a place that plainly cannot take a file (or folder), before any work is done.

    Raises
    ------
    InputError
        If the directory it would stand in is missing, or something else has its name; only an
        earlier report, picture or netlist of zcd is replaced.
    """
    allowed = _FOLDER if folder else _FILE
    if str(path) == "" or "\0" in str(path):
        raise _no_place(path, ValueError("not a file name"), allowed)
    path = Path(path)
    try:
        problem = _problem(path, folder)
    except OSError as error:  # such as a name that is too long
        raise _no_place(path, error, allowed) from error
    if problem:
        raise _no_place(path, OSError(problem, os.strerror(problem)), allowed)


def _problem(path: Path, folder: bool) -> int:
    """Why a place cannot take a file or folder, as an error number; 0 if it can."""
    if not path.parent.is_dir():
        return errno.ENOENT
    if path.is_dir() and not folder:
        return errno.EISDIR
    if path.exists() and folder and not path.is_dir():
        return errno.ENOTDIR
    if not folder and os.path.lexists(path) and not _is_ours(path):
        return errno.EEXIST
    return 0


def require_picture(path: str | Path) -> None:
    """Refuse a place that cannot take a picture, before any work is done.

    Raises
    ------
    InputError
        If its name does not end in ``.png``, or as `require_place`.
    """
    if Path(path).suffix != ".png":
        raise refusal(str(path), "a file name that ends in .png")
    require_place(path)


def _is_ours(path: Path) -> bool:
    """Whether a file was written by zcd, and may be replaced by a newer one."""
    if path.is_symlink() or not path.is_file():
        return False
    try:
        with path.open("rb") as file:
            ends = file.read(4096)
            file.seek(max(path.stat().st_size - 64, 0))
            ends += file.read()
    except OSError:
        return False
    return any(mark in ends for mark in MARKS)


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
        raise _no_place(path, error, _FOLDER) from error
    return path


def _no_place(path: str | Path, error: Exception, allowed: str) -> InputError:
    why = getattr(error, "strerror", None) or "not a file name"
    name = "".join(c if c.isprintable() else "?" for c in str(path)) or '""'
    return InputError(f"{name}: found a place that cannot be written ({why}); allowed: {allowed}")
