"""Files that are there whole or not at all, each written by one zcd at a time."""

from __future__ import annotations

import errno
import os
import shutil
import stat
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager, suppress
from functools import partial
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING

from zcd.errors import InputError, invalid_value, plain
from zcd.logs import logger

if TYPE_CHECKING:
    from filelock import BaseFileLock


_LOG = logger(__name__)


PDF_END = b"%zcd\n"
"""Last line of the PDF files written here, a comment to whoever reads them."""
SVG_END = b"<!-- drawn by zcd -->\n"
"""Last line of the SVG files, likewise."""
MARKS = (
    b'name="generator" content="zcd',
    b"Software\x00zcd",
    b"zcd sync circuit\n* ",
    b"%%EOF\n" + PDF_END,
    SVG_END,
)
"""What the reports, pictures and netlists written here have near their start or at their end."""
PICTURE_ENDINGS, REPORT_ENDINGS = (".png", ".svg"), (".html", ".pdf")
UNDER_WAY = ".zcd-saving-"
"""How the name begins of a folder in which a file is being written, and of the lock beside it."""
LEFT_S = 60.0
"""After so long it is not being written any more."""
PATIENCE_S = 30.0
"""How long to wait for others that write; a file takes each some hundredths of a second."""
NO_LOCKS = (errno.ENOSYS, errno.ENOLCK, errno.EOPNOTSUPP)
"""What file systems say that know no locks."""
NO_TYPESETTER = (
    "a PDF needs the package typst, which is not installed; "
    "install it with: pip install 'typst>=0.14'"
)
_FILE = "a new file in an existing directory, or an earlier report, picture or netlist of zcd"
_NEW = "a new file in an existing directory"
_FOLDER = "a folder in an existing directory"


class OtherWriterError(InputError):
    """A file is another one than was read; it stays so.

    Parameters
    ----------
    path : Path
    """

    def __init__(self, path: Path) -> None:
        super().__init__(
            f"{file_name(path)}: found changes made by somebody else meanwhile, and wrote nothing; "
            "allowed: the file as it was left"
        )


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
    with _alone_at(path, _FILE):
        return _write(path, data)


def write_new(path: str | Path, text: str) -> Path:
    """Write a file to start from; never over an existing file, never half of one.

    Parameters
    ----------
    path : str or Path
        File to make, in an existing directory.
    text : str

    Returns
    -------
    Path

    Raises
    ------
    InputError
        If it exists or cannot be written.
    """
    path = Path(path)
    with _alone_at(path, _NEW):
        return _write(path, text.encode("utf-8"), new=True)


def replace_whole(path: Path, before: bytes | None, data: bytes) -> Path:
    """Write a file that has not been changed since it was read.

    Parameters
    ----------
    path : Path
        In an existing directory; where it is a link, what it leads to is replaced.
    before : bytes or None
        What was read; None: there was no file.
    data : bytes

    Returns
    -------
    Path

    Raises
    ------
    OtherWriterError
        If somebody else has changed or removed the file.
    InputError
        If it cannot be written.
    """
    place = Path(os.path.realpath(path))
    with _alone_at(place, _FILE):
        _write(place, data, ready=partial(_require_same, path, before))
    return path


def update_whole(path: Path, change: Callable[[bytes], bytes]) -> None:
    """Change a file from what it holds by then, while every other zcd waits.

    Parameters
    ----------
    path : Path
        An existing file; where it is a link, what it leads to is replaced.
    change : callable
        Makes the new content from the old; the same again: nothing is written.

    Raises
    ------
    OtherWriterError
        If the file is gone; or if a program that knows no lock, such as an editor, has written
        meanwhile.
    InputError
        If it cannot be read or written.
    """
    place = Path(os.path.realpath(path))
    with _alone_at(place, _FILE):
        before = read_again(path)
        data = change(before)
        if data != before:
            _write(place, data, ready=partial(_require_same, path, before))


def read_again(path: Path) -> bytes:
    """What a file holds that was read a moment ago.

    Raises
    ------
    OtherWriterError
        If it is there no longer.
    InputError
        If it cannot be read.
    """
    data = _bytes_at(path)
    if data is None:
        raise OtherWriterError(path)
    return data


def _require_same(path: Path, before: bytes | None) -> None:
    if _bytes_at(path) != before:
        raise OtherWriterError(path)


def _bytes_at(path: Path) -> bytes | None:
    """What is in a file; None: there is none."""
    try:
        return path.read_bytes() if os.path.lexists(path) else None
    except OSError as error:
        raise _no_place(path, error, _FILE) from error


def _write(
    path: Path, data: bytes, *, new: bool = False, ready: Callable[[], None] | None = None
) -> Path:
    """Write a file beside its place, onto the disk itself, and give it the name only then.

    What `ready` still has to say against it is asked in the last moment.
    """
    _LOG.info("writing %s", path)
    try:
        if new and os.path.lexists(path):
            raise FileExistsError
        if path.exists() and not os.access(path, os.W_OK):
            raise PermissionError(errno.EACCES, os.strerror(errno.EACCES))
        with tempfile.TemporaryDirectory(
            dir=path.parent, prefix=UNDER_WAY, ignore_cleanup_errors=True
        ) as folder:
            whole = Path(folder) / "whole"
            with whole.open("wb") as file:
                file.write(data)
                file.flush()
                os.fsync(file.fileno())
            if ready is not None:
                ready()
            if new:
                _name(whole, path)
            else:
                with suppress(OSError):
                    shutil.copymode(path, whole)
                whole.replace(path)
    except InputError:
        raise
    except FileExistsError as error:
        raise exists_already(path) from error
    except (OSError, ValueError) as error:
        raise _no_place(path, error, _NEW if new else _FILE) from error
    return path


def _name(whole: Path, path: Path) -> None:
    """Give a finished file its name; a link fails if the name was taken meanwhile."""
    try:
        os.link(whole, path)
    except FileExistsError:
        raise
    except OSError:
        # Some memory sticks know no links.
        whole.rename(path)


@contextmanager
def _alone_at(path: Path, allowed: str) -> Iterator[None]:
    """Be the only writer of the folder that a file stands in; `allowed` is for its refusal."""
    with ExitStack() as stack:
        try:
            stack.enter_context(only_writer(path.parent))
        except OSError as error:
            raise _no_place(path, error, allowed) from error
        yield


@contextmanager
def only_writer(folder: Path) -> Iterator[None]:
    """Wait until no other zcd writes into a folder, and keep them waiting.

    What a file holds can so be read, changed and replaced in one step. The lock is the system's,
    on a hidden file in the folder itself: there every user and every machine that shares the
    folder meets it. It ends with the process, however that ends. Its file goes with whoever held
    it, and so does what a killed writer left half written.

    Raises
    ------
    InputError
        If another one does not come to its end.
    OSError
        If the folder takes no file.
    """
    lock, place = _locked(folder)
    try:
        with suppress(OSError):
            _clear(folder)
        yield
        _sync(folder)
    finally:
        if place is not None:
            with suppress(OSError):  # Windows removes no open file, but then filelock does it
                place.unlink()
        lock.release()


def _locked(folder: Path) -> tuple[BaseFileLock, Path | None]:
    """A folder's lock, held; and its file, to be removed before it is released.

    Where the file system knows no locks, a file does that is either there or not, and that filelock
    removes itself, also where the process it names has ended.
    """
    from filelock import FileLock, SoftFileLock

    if not folder.is_dir():  # which filelock would make
        raise FileNotFoundError(errno.ENOENT, os.strerror(errno.ENOENT))
    place = folder / _lock_name(folder)
    named = partial(_require_named, place)
    lock = FileLock(place, mode=0o666, fallback_to_soft=False, on_acquired=named)
    try:
        return _acquired(lock, folder), place
    except OSError as error:
        if error.errno not in NO_LOCKS:
            raise
        place.unlink(missing_ok=True)
        return _acquired(SoftFileLock(place.with_suffix(".held")), folder), None


def _lock_name(folder: Path) -> str:
    """Of the lock's file; of one's own where nobody may replace the file of another (``/tmp``)."""
    own = f"-{os.getuid()}" if folder.stat().st_mode & stat.S_ISVTX else ""
    return f"{UNDER_WAY}lock{own}"


class _NamelessError(Exception):
    """What was locked is no longer the lock's file: whoever held it before has removed it."""


def _require_named(place: Path, descriptor: int) -> None:
    # filelock looks at the number of links, but NFS keeps a removed file that is open under a link
    try:
        same = os.path.samestat(os.fstat(descriptor), place.stat())
    except FileNotFoundError:
        same = False
    if not same:
        raise _NamelessError


def _acquired(lock: BaseFileLock, folder: Path) -> BaseFileLock:
    """Wait for a lock within patience."""
    from filelock import Timeout

    until = time.monotonic() + PATIENCE_S
    while True:
        try:
            lock.acquire(timeout=max(until - time.monotonic(), 0.0))
        except _NamelessError:
            continue
        except Timeout as error:
            raise InputError(
                f"{file_name(folder.absolute())}: found another zcd that has been writing there "
                f"for {PATIENCE_S:.0f} s; allowed: one at a time (end it, then try again)"
            ) from error
        return lock


def _sync(folder: Path) -> None:
    """See that the names given in a folder are on the disk, where the system does that."""
    with suppress(OSError):
        door = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(door)
        finally:
            os.close(door)


def _clear(folder: Path) -> None:
    """Remove what was left half written; what is new may be of a machine that shares the folder."""
    for left in folder.glob(f"{UNDER_WAY}*"):
        if time.time() - left.stat().st_mtime > LEFT_S:
            shutil.rmtree(left, ignore_errors=True)


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
        If its name ends neither in ``.png`` nor in ``.svg``, or as `require_place`.
    """
    require_ending(path, PICTURE_ENDINGS)
    require_place(path)


def require_report(path: str | Path, option: str) -> None:
    """Refuse a place that cannot take a report, before any work is done.

    Raises
    ------
    InputError
        If its name ends neither in ``.html`` nor in ``.pdf``, as `require_place`, or if the
        package that sets PDF files is missing.
    """
    require_ending(path, REPORT_ENDINGS, option)
    require_typesetter(path)
    require_place(path)


def require_ending(path: str | Path, endings: tuple[str, ...], option: str = "") -> None:
    """Refuse the name of a file that does not end in one of these."""
    if Path(path).suffix.lower() not in endings:
        raise invalid_value(str(path), f"a file name that ends in {' or '.join(endings)}", option)


def require_typesetter(path: str | Path) -> None:
    """Refuse a PDF where the optional package that sets it is not installed.

    Parameters
    ----------
    path : str or Path
        The report asked for; anything but ``.pdf`` needs no such package.

    Raises
    ------
    InputError
        Names what to install.
    """
    if Path(path).suffix.lower() == ".pdf" and not has_typesetter():
        name = plain(str(path))
        raise InputError(f"{name}: {NO_TYPESETTER}, or write .html")


def has_typesetter() -> bool:
    """Whether the optional package that sets PDF files is installed."""
    return find_spec("typst") is not None


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


def exists_already(path: Path) -> InputError:
    """The error for a file to start from whose place is taken."""
    return InputError(f"{file_name(path)} exists already: choose another name, or edit it")


def _no_place(path: str | Path, error: Exception, allowed: str) -> InputError:
    why = getattr(error, "strerror", None) or "not a file name"
    name = plain(str(path)) or '""'
    return InputError(f"{name}: found a place that cannot be written ({why}); allowed: {allowed}")


def path_here(path: Path) -> str:
    """A file as a command takes it from the folder one is in; its name where it lies elsewhere."""
    here, whole = Path.cwd(), path.resolve()
    return plain(str(whole.relative_to(here))) if whole.is_relative_to(here) else file_name(path)


def file_name(path: Path) -> str:
    """A file's name for messages, on one line."""
    return plain(path.name or str(path))
