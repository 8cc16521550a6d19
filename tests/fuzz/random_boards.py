"""Random boards: every topology and option, with values as boards have them, or far beyond."""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import exp, log
from typing import Any

from hypothesis import HealthCheck, Phase, settings
from hypothesis import strategies as st

from tests.boards import VARIANTS, mains, optocoupler, pull_up, relay, resistor
from zcd.board.model import Board, Capacitor, Service, Suppressor, Topology

same_again = settings(
    deadline=None,
    derandomize=True,
    database=None,
    suppress_health_check=list(HealthCheck),
    phases=(Phase.generate,),
)
"""The same boards in every run."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Reach:
    """From where to where values are drawn, evenly in their logarithms.

    Parameters
    ----------
    chain_ohm, pull_ohm, mains_v, mains_hz, ctr, farad : tuple of float
        Least and most.
    degc : tuple of float
    longest : int
        Most resistors in a chain.
    """

    chain_ohm: tuple[float, float]
    pull_ohm: tuple[float, float]
    mains_v: tuple[float, float]
    mains_hz: tuple[float, float]
    ctr: tuple[float, float]
    farad: tuple[float, float]
    degc: tuple[float, float]
    longest: int


USUAL = Reach(
    chain_ohm=(22e3, 470e3), pull_ohm=(2.2e3, 100e3), mains_v=(90.0, 264.0), mains_hz=(45.0, 65.0),
    ctr=(0.3, 6.0), farad=(1e-9, 47e-9), degc=(-20.0, 85.0), longest=4,
)  # fmt: skip
EXTREME = Reach(
    chain_ohm=(1e-3, 1e9), pull_ohm=(0.1, 1e9), mains_v=(1.0, 1000.0), mains_hz=(10.0, 400.0),
    ctr=(0.001, 20.0), farad=(1e-12, 10e-6), degc=(-40.0, 125.0), longest=12,
)  # fmt: skip
"""What the tool must answer or refuse; 0 ohm and the corners are tried apart."""


def _between(ends: tuple[float, float]) -> st.SearchStrategy[float]:
    low, high = log(ends[0]), log(ends[1])
    return st.floats(0.0, 1.0).map(lambda share: exp(low + share * (high - low)))


@st.composite
def boards(draw: st.DrawFn, reach: Reach = USUAL, *, capacitors: bool = True) -> Board:
    """A board of any topology with any options."""
    names = [n for n in VARIANTS if capacitors or ("capacitor" not in n and "across" not in n)]
    start = VARIANTS[draw(st.sampled_from(names))]

    def string(first: int) -> tuple[Any, ...]:
        count = draw(st.integers(1, reach.longest))
        return tuple(
            resistor(f"R{first + k}", draw(_between(reach.chain_ohm))) for k in range(count)
        )

    changes: dict[str, Any] = {
        "chains": tuple(string(101 + 30 * k) for k in range(len(start.chains))),
        "mains": mains(draw(_between(reach.mains_v)), draw(_between(reach.mains_hz))),
        "optocoupler": optocoupler(ctr_ratio=draw(_between(reach.ctr))),
        "service": Service(
            bench_degc=draw(st.floats(*reach.degc)), hot_degc=reach.degc[1], hours_per_year=4000.0
        ),
        "output": _output(draw, start, reach, capacitors),
        "return_chain": string(901) if start.return_chain else (),
    }
    if capacitors:
        changes |= _capacitors(draw, start, reach)
        changes["joint"] = draw(st.integers(1, len(changes["chains"][0])))
    return replace(start, **changes)


def _output(draw: st.DrawFn, start: Board, reach: Reach, capacitors: bool) -> Any:
    kind = draw(st.sampled_from(("pull-up", "emitter-follower")))
    pin = None
    if capacitors and draw(st.booleans()):
        pin = Capacitor(ref="C4", capacitance_f=draw(_between(reach.farad)))
    return pull_up(
        draw(_between(reach.pull_ohm)),
        draw(st.sampled_from((3.3, 5.0))),
        kind=kind,
        pin_capacitor=pin,
    )


def _capacitors(draw: st.DrawFn, start: Board, reach: Reach) -> dict[str, Any]:
    """Capacitors across the LED, at a joint, across the load contact."""
    result: dict[str, Any] = {}
    farad = _between(reach.farad)
    if draw(st.booleans()):
        result["led_capacitor"] = Capacitor(ref="C1", capacitance_f=draw(farad))
    if draw(st.booleans()):
        result["joint_capacitor"] = Capacitor(ref="C2", capacitance_f=draw(farad))
    if draw(st.booleans()):
        parts = Suppressor(resistance_ohm=100.0, capacitance_f=draw(farad))
        result["relay"] = relay(parts)
    return result


def is_symmetric(board: Board) -> bool:
    """Whether both half cycles find the same circuit."""
    return board.topology in (Topology.BRIDGE, Topology.TWO_LED)
