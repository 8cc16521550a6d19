"""What may stand in place of parts of a board: one question, an answer for each kind of part."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from zcd.board.drawer import Drawer
from zcd.board.model import Board, Diode
from zcd.board.units import no_such_part
from zcd.substitutes.chain_parts import ChainFits, chain_fits
from zcd.substitutes.series_string import SeriesString, series_string, series_strings
from zcd.substitutes.single_parts import (
    PullUps,
    Swap,
    diode_swaps,
    every_diode,
    every_optocoupler,
    optocoupler_swaps,
    pull_ups,
)

DRIVE = "drive"
"""Stands for what switches the fan, which has no reference; `zcd.simulation.drive_parts` answers
it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Substitutes:
    """Parts that may stand in place of others; None or empty: not asked for.

    Parameters
    ----------
    board : Board
    drawer : Drawer
    chain : ChainFits or None
    groups : tuple of tuple of str
        Where nothing was asked for and the chain's resistors carry different currents: their
        references, group by group.
    optocouplers : tuple of Swap or None
    pull_ups : PullUps or None
    diodes : dict of str to tuple of Swap
        By reference of the diode.
    """

    board: Board
    drawer: Drawer
    chain: ChainFits | None
    groups: tuple[tuple[str, ...], ...]
    optocouplers: tuple[Swap, ...] | None
    pull_ups: PullUps | None
    diodes: dict[str, tuple[Swap, ...]]

    @property
    def all_found(self) -> bool:
        """Whether there is a substitute of each kind asked for."""
        answers = [any(swap.fits for swap in swaps) for swaps in self.diodes.values()]
        if self.chain is not None:
            answers.append(bool(self.chain.best))
        if self.optocouplers is not None:
            answers.append(any(swap.fits for swap in self.optocouplers))
        if self.pull_ups is not None:
            answers.append(any(swap.fits for swap in self.pull_ups.swaps))
        return all(answers)


def replaceable_refs(board: Board) -> tuple[str, ...]:
    """References of the parts that may be replaced, and `DRIVE`."""
    return (*_chain_refs(board), *_other_refs(board), DRIVE)


def _chain_refs(board: Board) -> tuple[str, ...]:
    return tuple(part.ref for group in series_strings(board) for part in group)


def _other_refs(board: Board) -> tuple[str, ...]:
    diodes = (diode.ref for diode in _diodes(board).values())
    return (board.optocoupler.ref, board.output.resistor.ref, *diodes)


def substitutes(board: Board, drawer: Drawer, refs: Sequence[str] = ()) -> Substitutes:
    """Search a drawer for parts that may stand in place of others.

    Parameters
    ----------
    board : Board
    drawer : Drawer
        Kinds of which it lists nothing are taken from the tables.
    refs : sequence of str
        Of the parts to be replaced (`DRIVE` is passed over); none: every part in turn, the chain
        as a whole.

    Returns
    -------
    Substitutes

    Raises
    ------
    InputError
        If a part is unknown, or resistors were named that carry different currents.
    """
    diodes = {d.ref: which for which, d in _diodes(board).items()}
    chain = _chain_refs(board)
    others = _other_refs(board)
    for ref in refs:
        known = replaceable_refs(board)
        if ref not in known:
            raise no_such_part(ref, known, "--for ")
    groups = tuple(tuple(part.ref for part in group) for group in series_strings(board))
    place = _place(board, [ref for ref in refs if ref in chain], everything=not refs)
    wanted = refs or others
    return Substitutes(
        board=board,
        drawer=drawer,
        chain=None if place is None else chain_fits(place, drawer.resistors),
        groups=groups if not refs and len(groups) > 1 else (),
        optocouplers=optocoupler_swaps(
            board, drawer.optocouplers or every_optocoupler(board.optocoupler.family)
        )
        if board.optocoupler.ref in wanted
        else None,
        pull_ups=pull_ups(board, drawer.resistors) if board.output.resistor.ref in wanted else None,
        diodes={
            ref: diode_swaps(board, drawer.diodes or every_diode(), which)
            for ref, which in diodes.items()
            if ref in wanted
        },
    )


def _diodes(board: Board) -> dict[str, Diode]:
    named = {"rectifier": board.rectifier, "clamp": board.clamp}
    return {which: diode for which, diode in named.items() if diode is not None}


def _place(board: Board, refs: Sequence[str], *, everything: bool) -> SeriesString | None:
    """Where in the chain parts are sought for."""
    if everything:
        return series_string(board) if len(series_strings(board)) == 1 else None
    return series_string(board, refs) if refs else None
