"""Causes: the sync circuit's faults and those of drive and fan, their sizes, their names."""

from __future__ import annotations

import pytest

from tests.simulation.boards import board
from zcd.circuit.build import build_circuit
from zcd.diagnosis.faults import faults_of
from zcd.errors import InputError
from zcd.simulation.causes import Subsystem, causes_of, find_cause, of_amount, sizes_of

BOARD = board()


def test_keys_are_unique_and_healthy_comes_first() -> None:
    keys = [cause.key for cause in causes_of(BOARD)]
    assert len(set(keys)) == len(keys)
    assert keys[0] == "healthy"


def test_every_fault_of_the_sync_circuit_is_a_cause() -> None:
    # an open joint is to the controller what the open part beside it is
    faults = [fault for fault in faults_of(build_circuit(BOARD)) if fault.joint is None]
    parts = {fault.part for fault in faults}
    assert parts - {"drive", "fan"} <= {cause.fault.part for cause in causes_of(BOARD)}


@pytest.mark.parametrize(
    ("key", "side"),
    [
        ("healthy", Subsystem.NONE),
        ("K1 contact open", Subsystem.FEED),
        ("coil supply missing", Subsystem.FEED),
        ("mains low", Subsystem.FEED),
        ("R1 open", Subsystem.SYNC),
        ("supply missing", Subsystem.SYNC),
        ("pin stuck low", Subsystem.SYNC),
        ("tacho lost", Subsystem.FAN),
        ("triac not firing", Subsystem.FAN),
        ("run capacitor weak", Subsystem.FAN),
    ],
)
def test_side(key: str, side: Subsystem) -> None:
    assert find_cause(BOARD, key).subsystem is side


def test_direct_feed_has_no_relay_to_blame() -> None:
    keys = [cause.key for cause in causes_of(board(feed='feed = "direct"'))]
    assert not [key for key in keys if key.startswith("K1")]


def test_case_and_spaces_do_not_matter() -> None:
    assert find_cause(BOARD, " k1  CONTACT open ").key == "K1 contact open"


@pytest.mark.parametrize(
    ("former", "key"),
    [
        ("drive open", "triac not firing"),
        ("drive short", "triac short"),
        ("Drive one half", "triac fires one half cycle only"),
        ("drive zero-cross part", "zero-cross coupler fitted"),
    ],
)
def test_a_former_name_is_still_understood(former: str, key: str) -> None:
    cause = find_cause(BOARD, former)
    assert cause.key == key
    assert cause == find_cause(BOARD, key)


def test_mistyped_cause_suggests_the_nearest() -> None:
    with pytest.raises(InputError, match=r'found "R1 opne"; .*did you mean "R1 open"\?'):
        find_cause(BOARD, "R1 opne")


def test_sizes_run_from_small_to_large() -> None:
    amounts = [cause.amount for cause in sizes_of(find_cause(BOARD, "bearing stiff"))]
    assert amounts == sorted(amounts)  # type: ignore[type-var]
    assert len(sizes_of(find_cause(BOARD, "R1 open"))) == 1


def test_amount_sets_the_severity() -> None:
    drift = of_amount(find_cause(BOARD, "R1 drift"), 3.0)
    assert drift.amount == pytest.approx(3.0, rel=1e-3)
    weak = of_amount(find_cause(BOARD, "run capacitor weak"), 0.5)
    assert weak.condition.capacitor_ratio == pytest.approx(0.5, rel=1e-3)


@pytest.mark.parametrize(
    ("key", "amount", "message"),
    [
        ("R1 open", 2.0, "found 2; allowed: none, R1 open has no size"),
        ("run capacitor weak", 2.0, "found 2; allowed: 0.2 to 0.9 x for run capacitor weak"),
    ],
)
def test_amount_that_cannot_be(key: str, amount: float, message: str) -> None:
    with pytest.raises(InputError, match=message):
        of_amount(find_cause(BOARD, key), amount)


def test_open_parts_may_be_loose_and_only_contacts_bounce() -> None:
    loose = {cause.key for cause in causes_of(BOARD) if cause.pattern is not None}
    assert {"R1 opens when warm", "R2 opens when shaken", "K1 contact bounces"} <= loose
    assert "R1 bounces" not in loose
