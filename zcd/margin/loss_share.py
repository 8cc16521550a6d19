"""Which share of boards loses sync where: a map's soft edge, and the cloud of boards on it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from zcd.board.model import Board
from zcd.engine.solve import PULSES, solve
from zcd.margin.lattice import halved
from zcd.margin.loss_map import ROWS_AT_ONCE, LossMap
from zcd.margin.population import Share, binomial_share, even_points
from zcd.margin.tolerances import Boards, Tolerance, draw, tolerances_of
from zcd.sync.lock import judge

FloatArray = NDArray[np.float64]

BOARDS = 64
LINES = (0.1, 0.9)
"""Shares of boards that lose sync which get a line of their own."""
CLOUD = 128
HALVINGS = 2
"""Boards are drawn on every fourth line of the map's lattice; between them the margin of
each rule is taken as straight."""
SPARSE = 8
"""Of these lines, every eighth one is looked at in any case."""
SEED = 20


@dataclass(frozen=True, slots=True, kw_only=True)
class LossShare:
    """Share of boards that lose sync, all tolerances drawn but those of the map's quantities.

    Parameters
    ----------
    lost_ratio : ndarray, shape (m, m)
        On the lines of the map's lattice; first axis: up, second: across.
    line_margins : ndarray, shape (lines, m, m)
        What each share of `LINES` of the boards does not reach: it is 0 where that share is lost.
    boards : int
        So many at each point.
    points : int
        Places at which they were solved; elsewhere all do as the typical board.
    cloud_across, cloud_up : ndarray, shape (k,)
        Boards within tolerance of the two quantities.
    """

    lost_ratio: FloatArray
    line_margins: FloatArray
    boards: int
    points: int
    cloud_across: FloatArray
    cloud_up: FloatArray

    @property
    def cloud(self) -> dict[str, FloatArray]:
        """Boards within tolerance, by ``across`` and ``up``."""
        return {"across": self.cloud_across, "up": self.cloud_up}

    def at(self, across: float, up: float) -> Share:
        """The share at the lines of the lattice nearest to a place, with how sure it is."""
        last = self.lost_ratio.shape[0] - 1
        row, column = (round(float(np.clip(place, 0.0, 1.0)) * last) for place in (up, across))
        return binomial_share(round(self.lost_ratio[row, column] * self.boards), self.boards)

    def here(self, loss_map: LossMap) -> Share:
        """The share where the board of a map stands."""
        across, up = loss_map.across, loss_map.up
        return self.at(float(across.share(across.here)), float(up.share(up.here)))


def loss_share(board: Board, loss_map: LossMap, boards: int = BOARDS) -> LossShare:
    """Draw boards within tolerance around the boundary of a map.

    Parameters
    ----------
    board : Board
    loss_map : LossMap
    boards : int
        At each point.

    Returns
    -------
    loss_share : LossShare

    Notes
    -----
    The same boards stand at every point, so that shares differ by place and not by luck. Each is
    solved along the typical boundary and at a few places elsewhere, and from there its own boundary
    is followed wherever it leads; away from it the typical board stands for it.
    """
    every = tolerances_of(board)
    pair = (loss_map.across, loss_map.up)
    own = {part.tolerance for quantity in pair for part in quantity.tolerances}
    own_ones = [t for t in every if t.name in own]
    others = [t for t in every if t.name not in own]
    rng = np.random.default_rng(SEED)
    drawn = draw(board, others, even_points(boards, len(others), rng))
    step = 2**HALVINGS
    places = loss_map.lattice.places[::step]
    typical = loss_map.lattice.margins[::step, ::step]
    margins = np.repeat(typical[:, :, None], boards, axis=2)
    solved = np.zeros(margins.shape[:3], dtype=bool)
    new = _beside(margins.min(axis=3) < 0.0)
    # where a typical board is far from any boundary, others may not be
    new[::SPARSE, ::SPARSE] = True
    while np.any(new):
        row, column, which = np.nonzero(new)
        margins[new] = _margins(board, loss_map, drawn.rows(which), places[column], places[row])
        solved |= new
        new = _beside(margins.min(axis=3) < 0.0) & ~solved
    for _ in range(HALVINGS):
        margins = halved(margins)
    least = margins.min(axis=3)
    return LossShare(
        lost_ratio=np.mean(least < 0.0, axis=2),
        line_margins=np.quantile(least, LINES, axis=2),
        boards=boards,
        points=int(np.count_nonzero(np.any(solved, axis=2))),
        **_cloud(loss_map, own_ones, rng),
    )


def _beside(lost: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Points with a neighbour of the other kind, of each board by itself."""
    return (_with_neighbours(lost) & ~lost) | (_with_neighbours(~lost) & lost)


def _with_neighbours(points: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Points and the eight around each; shape (m, m, boards)."""
    result = points.copy()
    for axis in (0, 1):
        along = np.moveaxis(result, axis, 0)  # a view
        before = along.copy()
        along[1:] |= before[:-1]
        along[:-1] |= before[1:]
    return result


def _margins(
    board: Board, loss_map: LossMap, boards: Boards, across: FloatArray, up: FloatArray
) -> FloatArray:
    """Margins of boards, each at its own place, shape (n, rules)."""
    result = []
    for k in range(0, across.size, ROWS_AT_ONCE):
        some = np.arange(k, min(k + ROWS_AT_ONCE, across.size))
        few = boards.rows(some)
        circuit = few.circuit
        for quantity, place in ((loss_map.across, across[some]), (loss_map.up, up[some])):
            circuit = quantity.put(circuit, board, quantity.value(place))
        result.append(judge(solve(circuit, PULSES), board, few.thresholds).binding_margins)
    return np.concatenate(result)


def _cloud(
    loss_map: LossMap, tolerances: list[Tolerance], rng: np.random.Generator
) -> dict[str, FloatArray]:
    """Where boards lie on the two quantities."""
    shares = rng.random((CLOUD, len(tolerances)))
    amounts = {t.name: t.amount(shares[:, k]) for k, t in enumerate(tolerances)}
    return {
        "cloud_across": loss_map.across.within(amounts, CLOUD),
        "cloud_up": loss_map.up.within(amounts, CLOUD),
    }
