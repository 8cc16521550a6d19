"""The program: ``zcd``, or ``python -m zcd``."""

from __future__ import annotations

import os
import signal
import sys

LEAST_ADDRESSES_MB = 600
"""What the longest of the usual commands takes, and a fifth more: libraries that cannot be loaded
whole leave a process that hangs or breaks off in the middle."""
TOO_LITTLE = 2


def _addresses_mb() -> int | None:
    """How much a program may address here; None where that is not limited, or not known."""
    try:
        import resource
    except ImportError:  # Windows
        return None
    soft, _ = resource.getrlimit(resource.RLIMIT_AS)
    return None if soft == resource.RLIM_INFINITY else soft // 1_000_000


def _has_room() -> bool:
    """Whether there is enough memory to begin; else says so."""
    room = _addresses_mb()
    if room is None:
        return True
    # each thread of the library for matrices would set aside some 40 MB, and is of no use here
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    if room >= LEAST_ADDRESSES_MB:
        return True
    found = f"found {room} MB of address space"
    told = f"zcd: {found}; allowed: {LEAST_ADDRESSES_MB} MB or more (see ulimit -v)\n"
    try:  # noqa: SIM105 - to load contextlib takes time in which nobody heeds Ctrl-C
        os.write(2, told.encode())
    except OSError:
        pass
    return False


def run() -> int:
    """Run the command line; Ctrl-C ends it without a traceback, also while it loads and leaves.

    Returns
    -------
    int
        Exit code.
    """
    heeded = signal.getsignal(signal.SIGINT) is signal.default_int_handler
    if heeded:
        signal.signal(signal.SIGINT, signal.SIG_DFL)
    # pictures go into files only, whatever other programs are told here to show theirs with
    os.environ["MPLBACKEND"] = "agg"
    if not _has_room():
        return TOO_LITTLE
    from zcd.cli import INTERRUPTED, main

    try:
        if heeded:
            signal.signal(signal.SIGINT, signal.default_int_handler)
        code = main()
        if heeded:
            signal.signal(signal.SIGINT, signal.SIG_DFL)
    except KeyboardInterrupt:  # in the moment before the last line, or while the end was told
        code = INTERRUPTED
    return code


if __name__ == "__main__":
    sys.exit(run())
