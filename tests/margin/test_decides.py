"""Sensitivity: against variances known in closed form, and against the headroom search."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal
from numpy.typing import NDArray

from tests.diagnosis.boards import board, controlled
from zcd.board.model import Board
from zcd.circuit.build import Conditions, build_circuit
from zcd.margin import decides
from zcd.margin.decides import LADDER, LOG_TOLERANCE, log_headrooms, what_decides
from zcd.margin.headroom import headrooms, weak_conditions
from zcd.margin.tolerances import Boards, draw, tolerances_of
from zcd.sync.lock import thresholds_of

FloatArray = NDArray[np.float64]


@pytest.mark.parametrize("remaining", [1.0, 0.5])
def test_headroom_is_that_of_the_search(remaining: float) -> None:
    """Nominal and weak board: the same factor as the search that ``zcd check`` shows."""
    whole = board()
    for conditions in (Conditions(remaining_ratio=remaining), weak_conditions(whole)):
        boards = Boards(circuit=build_circuit(whole, conditions), thresholds=thresholds_of(whole))
        (found,) = headrooms(whole, [conditions])
        # edges of the coarser grid lie within microseconds, of some hundreds
        expected = np.log(found["ctr"].factor)
        assert_allclose(log_headrooms(boards, whole), expected, atol=LOG_TOLERANCE + 0.02)


def test_what_falls_short_has_a_negative_headroom() -> None:
    whole = controlled("max_offset = 0.0006")
    boards = draw(whole, [], np.empty((1, 0)))
    (found,) = headrooms(whole, [Conditions()])
    assert found["ctr"].factor < 1.0
    assert_allclose(log_headrooms(boards, whole), np.log(found["ctr"].factor), atol=0.03)
    never = controlled("max_offset = 0.00001")
    assert_allclose(log_headrooms(draw(never, [], np.empty((1, 0))), never), LADDER[0])


def test_shares_of_a_known_function(monkeypatch: pytest.MonkeyPatch) -> None:
    """3 a + 2 b + 1 c + 4 (a - 1/2)(b - 1/2): variances 9, 4, 1 twelfths and 16 by 144ths."""

    def headroom(boards: Boards, whole: Board) -> FloatArray:
        del whole
        a, b = (np.asarray(boards.circuit[r].resistance_ohm) for r in ("R1", "R2"))  # type: ignore[attr-defined]
        u, v = (a / 100e3 - 0.95) / 0.1, (b / 150e3 - 0.95) / 0.1
        w = (np.asarray(boards.circuit["mains"].rms_v) - 207.0) / 46.0  # type: ignore[attr-defined]
        return np.broadcast_to(3 * u + 2 * v + w + 4 * (u - 0.5) * (v - 0.5), boards.circuit.size)

    monkeypatch.setattr(decides, "log_headrooms", headroom)
    whole = board()
    four = [t for t in tolerances_of(whole) if t.name in ("mains voltage", "R1", "R2", "pull-up")]
    found = what_decides(whole, four, base=1024)
    assert found.names == ("R1", "R2", "mains voltage")
    joint = 16.0 / 144.0
    parts = np.array([9.0, 4.0, 1.0]) / 12.0
    whole_variance = parts.sum() + joint
    assert_allclose(found.first, parts / whole_variance, atol=0.03)
    assert_allclose(
        found.total, (parts + np.array([joint, joint, 0.0])) / whole_variance, atol=0.03
    )
    assert np.all((found.total_low <= found.total) & (found.total <= found.total_high))
    again = what_decides(whole, four, base=1024)
    assert_array_equal([again.total_low, again.total_high], [found.total_low, found.total_high])


def test_ctr_decides_a_usual_board() -> None:
    """A grade two to one wide, one to one in the headroom; a chain of 5 % resistors is little."""
    whole = board()
    names = ("CTR of OC1", "R1", "R2", "mains voltage")
    found = what_decides(whole, [t for t in tolerances_of(whole) if t.name in names], base=16)
    assert found.names[:2] == ("CTR of OC1", "mains voltage")
    assert found.total[0] > 0.7
    assert found.headroom_low < found.headroom_middle < found.headroom_high
