"""The library's own words on what it is doing: silent unless a program listens."""

from __future__ import annotations

import logging

NAME = "zcd"
logging.getLogger(NAME).addHandler(logging.NullHandler())


def logger(module: str) -> logging.Logger:
    """The logger of a module of this package."""
    return logging.getLogger(module)
