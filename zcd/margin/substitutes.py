"""What may stand in place of parts of a board: one question, an answer for each kind of part."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from zcd.board.drawer import Drawer
from zcd.board.model import Board
from zcd.margin.chain_parts import ChainFits, chain_fits
from zcd.margin.section import section


@dataclass(frozen=True, slots=True, kw_only=True)
class Substitutes:
    """Parts that may stand in place of others.

    Parameters
    ----------
    board : Board
    drawer : Drawer
    chain : ChainFits or None
        None where no resistor of the chain was asked for.
    """

    board: Board
    drawer: Drawer
    chain: ChainFits | None

    @property
    def any_fits(self) -> bool:
        """Whether there is a substitute for each kind of part asked for."""
        return self.chain is None or bool(self.chain.best)


def substitutes(board: Board, drawer: Drawer, refs: Sequence[str] = ()) -> Substitutes:
    """Search a drawer for parts that may stand in place of others.

    Parameters
    ----------
    board : Board
    drawer : Drawer
    refs : sequence of str
        Of the parts to be replaced; none: the chain as a whole.

    Returns
    -------
    Substitutes

    Raises
    ------
    InputError
        If a part is unknown, or resistors were named that carry different currents.
    """
    return Substitutes(
        board=board, drawer=drawer, chain=chain_fits(section(board, refs), drawer.resistors)
    )
