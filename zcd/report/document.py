"""A document: what a result says, in blocks, at two depths; every output is a rendering of it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from zcd.board.model import Board
from zcd.report.cautions import NO_EARTHED_SCOPE, NOT_ISOLATED_TEXT, Caution, cautions_on
from zcd.report.table import Cell, Table
from zcd.report.text import SourceNotes


@dataclass(frozen=True, slots=True)
class Paragraph:
    """A paragraph; `weight` is ``plain``, ``small`` or ``strong``."""

    text: str
    weight: str = "plain"


@dataclass(frozen=True, slots=True)
class Verdict:
    """The verdict in a frame, a heavier one where the board does not pass."""

    text: str
    passes: bool


@dataclass(frozen=True, slots=True)
class BulletList:
    """Lines with a mark before each."""

    lines: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Facts:
    """Figures with a name before each."""

    pairs: tuple[tuple[str, str], ...]


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
    """Letters of origins and numbers of sources, each with its text.

    Left empty, it is filled with those of the whole document by `Document.resolved`.
    """

    origins: tuple[tuple[str, str], ...] = ()
    sources: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True)
class Cautions:
    """Cautions, by the kind of work they are due for."""

    groups: tuple[tuple[str, tuple[Caution, ...]], ...]


Block = Paragraph | Verdict | BulletList | Facts | Table | Picture | Notes | Cautions


@dataclass(frozen=True, slots=True)
class Section:
    """Blocks under a heading.

    Parameters
    ----------
    title : str
        Empty where the blocks need none.
    blocks : tuple of Block
    answer : bool
        Part of the answer, one screen; else only of the full document.
    """

    title: str
    blocks: tuple[Block, ...]
    answer: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Document:
    """What a result says.

    Parameters
    ----------
    title : str
        Name of the board.
    sections : tuple of Section
        Those without blocks are left out.
    before : str
        A line above the title.
    """

    title: str
    sections: tuple[Section, ...]
    before: str = ""

    def __post_init__(self) -> None:
        shown = tuple(section for section in self.sections if section.blocks)
        object.__setattr__(self, "sections", shown)

    def on_board(self, board: Board | None) -> Document:
        """The document as it is for a board: of one that is not isolated, that it is not first."""
        if board is None or board.is_isolated:
            return self
        first = Section("", (Paragraph(f"CAUTION: {NOT_ISOLATED_TEXT}", "strong"),), answer=True)
        others = (
            replace(s, blocks=tuple(_block_on(board, block) for block in s.blocks))
            for s in self.sections
            if first.blocks[0] not in s.blocks
        )
        return replace(self, sections=(first, *others))

    @property
    def answer(self) -> Document:
        """Only what belongs to the answer."""
        return replace(self, sections=tuple(s for s in self.sections if s.answer))

    def tables(self) -> Iterator[Table]:
        """Every table, in order."""
        for section in self.sections:
            yield from (block for block in section.blocks if isinstance(block, Table))

    def resolved(self) -> Document:
        """The document with its sources lettered and numbered in order of mention."""
        notes = SourceNotes()
        lettered = [
            Section(
                section.title,
                tuple(_lettered(block, notes) for block in section.blocks),
                section.answer,
            )
            for section in self.sections
        ]
        filled = Notes(notes.origins, notes.sources)
        sections = (
            replace(s, blocks=tuple(filled if isinstance(b, Notes) else b for b in s.blocks))
            for s in lettered
        )
        return replace(self, sections=tuple(sections))


def _block_on(board: Board, block: Block) -> Block:
    """A block as it is for a board that is not isolated: of cautions, those that are due there;
    what the first one says is not said again."""
    if isinstance(block, Paragraph) and NO_EARTHED_SCOPE in block.text:
        return replace(block, text=block.text.replace(f" {NO_EARTHED_SCOPE}", ""))
    if not isinstance(block, Cautions):
        return block
    every = (caution for _, group in block.groups for caution in group)
    return Cautions((("", cautions_on(board, every)),))


def _lettered(block: Block, notes: SourceNotes) -> Block:
    """A block whose cells with a source show its letter."""
    if not isinstance(block, Table):
        return block
    rows = tuple(
        tuple(
            notes.letter(cell.source) if isinstance(cell, Cell) and cell.source else cell
            for cell in row
        )
        for row in block.rows
    )
    return replace(block, rows=rows)
