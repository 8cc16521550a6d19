"""The program: ``zcd``, or ``python -m zcd``."""

from __future__ import annotations

import os
import signal
import sys


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
