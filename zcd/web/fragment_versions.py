"""What a page shows already, so that an answer holds only the pieces that differ.

Each piece of a page carries the mark of its content; what asks again tells the marks of all pieces
as they stand. So the server needs to remember nothing, and what did not change is neither sent nor
put in place again, under a reader's eye or a screen reader's ear.
"""

from __future__ import annotations

from collections.abc import Mapping
from hashlib import sha256

HEADER = "shown"
DIGITS = 8


def version_of(text: str) -> str:
    """A short text that differs from content to content; empty where there is none."""
    return sha256(text.encode("utf-8")).hexdigest()[:DIGITS] if text else ""


def shown_of(headers: Mapping[str, str]) -> dict[str, str]:
    """Name of a piece that the page shows -> its mark."""
    words = (word.partition("=") for word in headers.get(HEADER, "").split())
    return {name: mark for name, _, mark in words}
