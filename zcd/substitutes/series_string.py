"""Resistors of the chain that carry the same current, and others in their place."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from string import ascii_lowercase

from zcd.board.model import Board, Resistor
from zcd.board.parts_library import all_resistors


@dataclass(frozen=True, slots=True, kw_only=True)
class SeriesString:
    """A part of the chain in which every resistor carries the same current.

    In which order its resistors stand makes no difference to anything but their order.

    Parameters
    ----------
    board : Board
    replaced, kept : tuple of Resistor
        Those that other parts are sought for, and those that stay.
    """

    board: Board
    replaced: tuple[Resistor, ...]
    kept: tuple[Resistor, ...]


def series_strings(board: Board) -> tuple[tuple[Resistor, ...], ...]:
    """The resistors of the chain, grouped by the current they carry.

    A capacitor at a joint splits a chain; the two legs of a bridge belong together unless several
    chains meet in one of them.
    """
    first, *others = board.chains
    groups = [first]
    if board.joint_capacitor is not None:
        groups = [first[: board.joint], first[board.joint :]]
    if others:
        groups += [*others, board.return_chain]
    else:
        groups[-1] += board.return_chain
    return tuple(group for group in groups if group)


def with_parts(place: SeriesString, parts: Sequence[Resistor]) -> Board:
    """The board with other resistors in a section.

    Parameters
    ----------
    place : SeriesString
    parts : sequence of Resistor
        One or more; they get the references that become free, and further ones. In a bridge whose
        two legs both lose resistors, both get some (of a single one, the line leg).

    Returns
    -------
    Board
    """
    board = place.board
    free = [part.ref for part in place.replaced]
    refs = _new_refs(place, len(parts))
    new = [replace(part, ref=ref) for part, ref in zip(parts, refs, strict=True)]
    in_return = sum(part.ref in free for part in board.return_chain)
    to_return = len(new) * in_return // len(free)
    if in_return and len(new) > 1:
        to_return = max(to_return, 1)
    to_line = len(new) - to_return
    chains = tuple(_put(chain, free, new[:to_line]) for chain in board.chains)
    before = board.joint
    if board.joint_capacitor is not None and board.chains[0][before - 1].ref in _group(place):
        before += len(chains[0]) - len(board.chains[0])
    return replace(
        board,
        chains=chains,
        return_chain=_put(board.return_chain, free, new[to_line:]),
        joint=before,
    )


def condensed(board: Board) -> Board:
    """The board with one resistor for each that carry the same current side by side.

    To everything but these resistors it is the same board.
    """
    first, *others = board.chains
    split = len(first) if board.joint_capacitor is None else board.joint
    pieces, leg = [first[:split], first[split:]], board.return_chain
    if not others and (pieces[1] or board.joint_capacitor is None):
        # both legs of a bridge carry what the last piece carries
        pieces, leg = [piece for piece in pieces if piece], ()
        pieces[-1] += board.return_chain
    return replace(
        board,
        chains=(
            tuple(_one(piece) for piece in pieces if piece),
            *((_one(chain),) for chain in others),
        ),
        return_chain=(_one(leg),) if leg else (),
        joint=1,
    )


def _one(parts: tuple[Resistor, ...]) -> Resistor:
    return replace(parts[0], resistance_ohm=sum(part.resistance_ohm for part in parts))


def _group(place: SeriesString) -> set[str]:
    return {part.ref for part in (*place.replaced, *place.kept)}


def _put(
    chain: tuple[Resistor, ...], free: Sequence[str], new: Sequence[Resistor]
) -> tuple[Resistor, ...]:
    """A chain in which new resistors stand where the first free one stood."""
    at = [number for number, part in enumerate(chain) if part.ref in free]
    if not at:
        return chain
    left = [part for part in chain[at[0] :] if part.ref not in free]
    return (*chain[: at[0]], *new, *left)


def _new_refs(place: SeriesString, count: int) -> list[str]:
    """References of so many new parts: those that become free, then the last with a letter."""
    free = [part.ref for part in place.replaced]
    used = {part.ref for part in all_resistors(place.board)}
    more = [f"{free[-1]}{letter}" for letter in ascii_lowercase[1:]]
    return [*free, *(ref for ref in more if ref not in used)][:count]
