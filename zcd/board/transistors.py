"""Small NPN transistors whose base the chain leads into: what is printed on them, or a class."""

from __future__ import annotations

import re
from math import sqrt

from zcd import refdata
from zcd.board.model import Transistor
from zcd.board.units import find_name, nearest
from zcd.board.unknown_values import nobody_knows
from zcd.errors import invalid_value

ANY = "NPN"
"""The class: any small NPN transistor."""
OWN_GAIN = 'or "NPN hFE 100..300" with the gain of its data sheet, or "NPN" for any'
_GAIN = re.compile(r"[\s,]*hfe\s*=?\s*(\d{1,4})(?:\s*(?:\.\.|-|–|to)\s*(\d{1,4}))?$", re.IGNORECASE)
_CODE_BEHIND = re.compile(r"(?<=\S)\s+\(?[A-Z0-9]{2,3}\)?$")
"""What is printed on the body, behind the name that it stands for: BC847C 1G."""
_PNP = re.compile(
    r"\bPNP\b|BC5[56]\d|BC85\d|(2N|MMBT)390[56]|(2S)?A1015|S90(12|15)|S?8550", re.IGNORECASE
)


def transistor_parts() -> tuple[str, ...]:
    """Return the known transistors, the class last."""
    return tuple(str(row["part"]) for row in refdata.table("transistors"))


def on_surface(part: str) -> bool:
    """Whether a transistor is soldered onto the board, SOT-23, and not through it, TO-92.

    Examples
    --------
    >>> on_surface("BC847B"), on_surface("2N3904")
    (True, False)
    """
    return part.startswith(("BC84", "MMBT"))


def transistor(words: str, ref: str) -> Transistor:
    """The transistor that a marking stands for.

    Parameters
    ----------
    words : str
        As printed, with a maker's letters or a gain; ``?`` for one that nobody can read.
    ref : str

    Returns
    -------
    Transistor
        Its gain is the geometric mean of its limits.

    Raises
    ------
    InputError
        If it is unknown, or no NPN transistor.

    Examples
    --------
    >>> transistor("C1815 Y", "Q1").part, transistor("BC847-B", "Q1").gain_min_ratio
    ('2SC1815-Y', 200.0)
    >>> transistor("NPN hFE 100..300", "Q1").gain_max_ratio
    300.0
    """
    gain = _GAIN.search(words)
    name = words[: gain.start()] if gain else words
    if _PNP.search(name):
        allowed = "an NPN transistor such as BC847, as a PNP one is not modelled"
        raise invalid_value(words, allowed, ref)
    part = ANY if nobody_knows(name) else _known(name) or _known(_CODE_BEHIND.sub("", name))
    if part is None:
        known = transistor_parts()
        allowed = (
            f"a transistor such as {', '.join(known[:5])}, 2N3904, C1815{nearest(name, known)}"
        )
        raise invalid_value(words, f"{allowed}; {OWN_GAIN}", ref)
    row = next(row for row in refdata.table("transistors") if row["part"] == part)
    low, high = float(row["gain_min_ratio"]), float(row["gain_max_ratio"])
    source = f"hFE limits [{row['source']}]"
    if gain:
        low, high = sorted((float(gain[1]), float(gain[2] or gain[1])))
        source = "hFE as written in the board file"
    return Transistor(
        ref=ref, part=part, gain_ratio=sqrt(low * high), gain_min_ratio=low, gain_max_ratio=high,
        emitter_reverse_v=float(row["emitter_reverse_v"]), model=str(row["model"]), source=source,
    )  # fmt: skip


def _known(name: str) -> str | None:
    return find_name(_plain(name), transistor_parts())


def _plain(name: str) -> str:
    """A name as the tables have it: without a maker's letters, a rank behind a dash."""
    text = re.sub(r"\btransistor\b|[\s_/-]", "", name, flags=re.IGNORECASE).upper()
    text = re.sub(r"^(?:2?S?C|K[ST]?[CD]?)(?=1815)", "2SC", text)
    text = re.sub(r"^(2SC1815)(?=[A-Z])", r"\1-", text)
    text = re.sub(r"^(?:S?S?8050)?J3Y$|^MMBT8050.*", "MMBT8050", text)
    text = re.sub(r"^S{0,2}8050[BCDS]?$", "S8050", text)
    return re.sub(r"(?<=3904)[A-Z]\w*$", "", text)
