"""What a report is made of: sections of blocks, the same for every way out of the program."""

from __future__ import annotations

from dataclasses import dataclass

from zcd.show.cautions import Caution
from zcd.show.checked.sheets import Sheet


@dataclass(frozen=True, slots=True)
class Words:
    """A paragraph; `weight` is ``plain``, ``small`` or ``strong``."""

    text: str
    weight: str = "plain"


@dataclass(frozen=True, slots=True)
class Verdict:
    """The verdict in a frame, a heavier one where the board does not pass."""

    text: str
    passes: bool


@dataclass(frozen=True, slots=True)
class Items:
    """Lines with a mark before each."""

    lines: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Picture:
    """A drawing as SVG text with words for those who cannot see it.

    `height_mm` is the most that it may take of a page.
    """

    name: str
    svg: str
    words: str
    height_mm: float = 150.0


@dataclass(frozen=True, slots=True)
class Notes:
    """Letters of origins and numbers of sources, each with its text."""

    origins: tuple[tuple[str, str], ...]
    sources: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class Cautions:
    """Cautions, by the kind of work they are due for."""

    groups: tuple[tuple[str, tuple[Caution, ...]], ...]


Block = Words | Verdict | Items | Sheet | Picture | Notes | Cautions


@dataclass(frozen=True, slots=True)
class Section:
    """Blocks under a heading."""

    title: str
    blocks: tuple[Block, ...]


@dataclass(frozen=True, slots=True)
class Pages:
    """A whole report.

    Parameters
    ----------
    title : str
        Name of the board.
    before : str
        A line above it.
    version : str
        Of the program.
    sections : tuple of Section
    """

    title: str
    before: str
    version: str
    sections: tuple[Section, ...]
