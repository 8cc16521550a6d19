"""One island of the element list as matrices: linear part reduced, nonlinear branches kept."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from zcd.board.paths import joined_nodes
from zcd.circuit.batch import COMMON, Batch
from zcd.circuit.elements import (
    Capacitance,
    Circuit,
    Controlled,
    DcSource,
    Element,
    Harmonics,
    Junction,
    MainsSource,
    Resistance,
    TestSource,
    Transistor,
    TwoNode,
    Value,
    harmonics_of,
)
from zcd.errors import InputError

FloatArray = NDArray[np.float64]

MIN_CONDUCTANCE_S = 1e-12
"""From every node to the reference, so that a floating node has a voltage (as SPICE does)."""
MIN_RESISTANCE_OHM = 1e-3
REFERENCES = ("neutral", "logic0")
JUNCTION, TRANSISTOR = 0, 1
REACH = 3
"""So many points before its own a difference in time goes back."""
Links = dict[str, dict[str, Value]]
"""Conductance or capacitance between each two nodes, both ways."""


@dataclass(frozen=True, slots=True)
class Passive(Batch):
    """A node that was taken out: its voltage is `fixed_v` and shares of those of its neighbours."""

    node: str
    shares: Mapping[str, Value]
    fixed_v: Value


@dataclass(frozen=True, slots=True, kw_only=True)
class Network(Batch):
    """The linear part of an island, seen from its active nodes.

    Of some of its rows, `recover`, `branches` and `harmonics` stay those of all: they are for
    Newton's method alone.

    Active nodes are those that a junction, a phototransistor or (if asked for) a capacitor
    touches. The others are eliminated and can be recovered.

    Parameters
    ----------
    nodes : tuple of str
        Active, then passive nodes.
    active : int
        Number k of active nodes.
    known : tuple of str
        Nodes that a source fixes; the reference is none of these and has 0 V.
    sources : tuple of Element
        Their sources, in the same order; each stands against the reference or a node before it.
    swinging : int
        Number of one that moves if any does, all others standing still or moving with it; -1: none.
    conductance_s : ndarray, shape (n, k, k)
    input_s : ndarray, shape (n, k, u)
        Current into the linear part per volt of a known node.
    injection_a : ndarray, shape (n, k)
        Current that test sources push into the active nodes.
    capacitance_f, input_f : ndarray, shape (n, k, k) and (n, k, u)
    recover : tuple of Passive
        The others, in the order in which they were taken out.
    branches : tuple of Element
        The nonlinear ones.
    kind : ndarray of int, shape (b,)
        Of each of these, `JUNCTION` or `TRANSISTOR`.
    ends : ndarray of int, shape (2, b)
        Their nodes: active ones by number, then known ones, then the reference.
    charged : ndarray of int
        Active nodes with a capacitor.
    law : ndarray, shape (n, b, 4)
        Of a junction saturation current, emission and series resistance, breakdown; of a
        transistor knee, its ratio, Early voltage, voltage at no current.
    harmonics : tuple of ndarray, shape (h, n)
        Orders, ratios and phases of those of the mains.
    """

    nodes: tuple[str, ...]
    active: int
    known: tuple[str, ...]
    sources: tuple[MainsSource | DcSource, ...] = field(metadata=COMMON)
    swinging: int = field(metadata=COMMON)
    conductance_s: FloatArray
    input_s: FloatArray
    injection_a: FloatArray
    capacitance_f: FloatArray
    input_f: FloatArray
    recover: tuple[Passive, ...] = field(metadata=COMMON)
    branches: tuple[Element, ...] = field(metadata=COMMON)
    kind: NDArray[np.intc] = field(metadata=COMMON)
    ends: NDArray[np.intc] = field(metadata=COMMON)
    charged: NDArray[np.intc] = field(metadata=COMMON)
    law: FloatArray
    harmonics: Harmonics


def islands(circuit: Circuit) -> list[frozenset[str]]:
    """Groups of nodes that elements connect, in order of first mention; light does not."""
    return list(_islands(tuple(element.nodes for element in circuit)))


@lru_cache(maxsize=64)
def _islands(together: tuple[tuple[str, ...], ...]) -> tuple[frozenset[str], ...]:
    """The same, of the nodes of each element."""
    return tuple(map(frozenset, joined_nodes(together)))


def parts_of(circuit: Circuit) -> list[frozenset[str]]:
    """Islands; one in which a junction drives a transistor in pieces between fixed nodes.

    What only nodes of fixed voltage join does not move the other, so that each can be solved by
    itself: base and collector of a transistor, each behind its own resistors.
    """
    result: list[frozenset[str]] = []
    for island in islands(circuit):
        if not any(isinstance(e, Transistor) and e.a in island for e in circuit):
            result.append(island)
            continue
        inside = [e for e in circuit if island.issuperset(e.nodes)]
        sources = [e.nodes for e in inside if isinstance(e, MainsSource | DcSource)]
        fixed = {next((n for n in REFERENCES if n in island), inside[0].nodes[0])}.union(*sources)
        free = [set(e.nodes) - fixed for e in inside]
        result += [frozenset(group | fixed) for group in joined_nodes(filter(None, free))]
    return result


def island_of(circuit: Circuit, node: str) -> frozenset[str]:
    """The island that a node belongs to."""
    return next(g for g in islands(circuit) if node in g)


def column(value: Value, size: int) -> FloatArray:
    """A value of an element as a column, shape (n, 1)."""
    held = np.asarray(value, dtype=float).reshape(-1, 1)
    # `broadcast_to` would take three times as long
    return held if held.shape[0] == size else np.full((size, 1), held)


@lru_cache(maxsize=8)  # of one circuit: on the coarse grid and on the fine one
def compile_island(circuit: Circuit, island: frozenset[str], dynamic: bool) -> Network:
    """Reduce an island of a circuit to its active nodes.

    Parameters
    ----------
    circuit : Circuit
    island : frozenset of str
        Node names of one island.
    dynamic : bool
        True: capacitors count; False: they are left out.

    Returns
    -------
    network : Network
    """
    elements = [e for e in circuit if isinstance(e, TwoNode) and island.issuperset(e.nodes)]
    branches = tuple(e for e in elements if isinstance(e, Junction | Controlled))
    sources = tuple(e for e in elements if isinstance(e, MainsSource | DcSource))
    capacitors = [e for e in elements if isinstance(e, Capacitance)] if dynamic else []
    nodes = [n for n in circuit.nodes if n in island]
    reference = next((n for n in REFERENCES if n in nodes), nodes[0])
    sources, known = _in_order(sources, reference)
    moving = [number for number, e in enumerate(sources) if isinstance(e, MainsSource)]
    fixed = {reference, *known}
    touched = [n for e in (*branches, *capacitors) for n in e.nodes]
    active = [n for n in dict.fromkeys(touched) if n not in fixed]
    passive = [n for n in circuit.nodes if n in island and n not in fixed and n not in active]
    size = circuit.size
    conductive = [e for e in elements if isinstance(e, Resistance | TestSource)]
    links = _links(
        conductive, [1.0 / np.maximum(e.resistance_ohm, MIN_RESISTANCE_OHM) for e in conductive]
    )
    for node in (*active, *passive):
        _join(links, node, reference, MIN_CONDUCTANCE_S)
    pushed = _injections([e for e in elements if isinstance(e, TestSource)])
    recover = _eliminated(links, pushed, passive, reference)
    conductance_s, input_s = _matrices(links, active, known, size)
    capacitance_f, input_f = _matrices(
        _links(capacitors, [e.capacitance_f for e in capacitors]), active, known, size
    )
    injection_a = np.zeros((size, len(active)))
    for place, node in enumerate(active):
        injection_a[:, place] = pushed.get(node, 0.0)
    return Network(
        nodes=(*active, *(each.node for each in recover)),
        active=len(active),
        known=known,
        sources=sources,
        swinging=moving[0] if moving else len(sources) - 1,
        conductance_s=conductance_s,
        input_s=input_s,
        injection_a=injection_a,
        capacitance_f=capacitance_f,
        input_f=input_f,
        recover=recover,
        branches=branches,
        kind=np.array([isinstance(e, Controlled) for e in branches], dtype=np.intc),
        ends=_ends(branches, (*active, *known)),
        charged=np.flatnonzero(np.any(capacitance_f, axis=(0, 1))).astype(np.intc),
        law=_laws(branches, size),
        harmonics=harmonics_of(circuit),
    )


def _ends(branches: Sequence[TwoNode], order: Sequence[str]) -> NDArray[np.intc]:
    """Numbers of both nodes of each branch; the reference has the number after all others."""
    number = {node: place for place, node in enumerate(order)}
    places = [[number.get(node, len(order)) for node in (e.a, e.b)] for e in branches]
    return np.ascontiguousarray(np.array(places, dtype=np.intc).reshape(-1, 2).T)


def _laws(branches: Sequence[Junction | Controlled], size: int) -> FloatArray:
    """What the kernel has to know of each branch, shape (n, b, 4)."""
    result = np.zeros((size, len(branches), 4))
    for place, e in enumerate(branches):
        if isinstance(e, Junction):
            values = (e.saturation_a, e.emission_v, e.series_ohm, e.breakdown_v)
        else:
            offset_v = e.offset_v if isinstance(e, Transistor) else 0.0
            values = (e.knee_v, e.knee_ratio, e.early_v, offset_v)
        for number, value in enumerate(values):
            result[:, place, number] = value
    return result


def _in_order(
    sources: Sequence[MainsSource | DcSource], reference: str
) -> tuple[tuple[MainsSource | DcSource, ...], tuple[str, ...]]:
    """Sources, each with one end at the reference or at one before; their other ends."""
    left, order, known = list(sources), [], [reference]
    while left:
        at = next((s for s in left if (s.a in known) is not (s.b in known)), None)
        if at is None:
            raise InputError(f"{left[0].ref} must fix a node of its own, got {left[0].nodes}")
        left.remove(at)
        order.append(at)
        known.append(at.b if at.a in known else at.a)
    return tuple(order), tuple(known[1:])


def _links(elements: Sequence[TwoNode], values: Sequence[Value]) -> Links:
    """What joins each two nodes, parallel elements together."""
    links: Links = {}
    for element, value in zip(elements, values, strict=True):
        _join(links, element.a, element.b, value)
    return links


def _join(links: Links, a: str, b: str, value: Value) -> None:
    """Put one more between two nodes."""
    if a != b:
        both = links.setdefault(a, {}).get(b, 0.0) + value
        links[a][b] = links.setdefault(b, {})[a] = both


def _eliminated(
    links: Links, pushed: dict[str, Value], passive: Sequence[str], reference: str
) -> tuple[Passive, ...]:
    """Take nodes out of links and injections, those with the fewest neighbours first.

    What a node joins is joined by links of its neighbours: nothing but sums and products of
    what is positive, so that no digits are lost beside a short or an open part.
    """
    left, order = list(passive), []
    while left:
        node = min(left, key=lambda each: len(links[each]))
        left.remove(node)
        near = links.pop(node)
        total = sum(near.values())
        shares = {other: value / total for other, value in near.items()}
        current = pushed.pop(node, 0.0)
        for other, share in shares.items():
            del links[other][node]
            pushed[other] = pushed.get(other, 0.0) + share * current
        for a, b in combinations(near, 2):
            _join(links, a, b, shares[a] * near[b])
        shares.pop(reference, None)
        order.append(Passive(node, shares, current / total))
    return tuple(order)


def _matrices(
    links: Links, active: Sequence[str], known: Sequence[str], size: int
) -> tuple[FloatArray, FloatArray]:
    """Nodal matrices of links: of the active nodes, and between these and the known ones."""
    own = np.zeros((size, len(active), len(active)))
    others = np.zeros((size, len(active), len(known)))
    for row, node in enumerate(active):
        near = links.get(node, {})
        own[:, row, row] = sum(near.values())
        for matrix, nodes in ((own, active), (others, known)):
            for place, other in enumerate(nodes):
                if other in near:
                    matrix[:, row, place] = -near[other]
    return own, others


def _injections(tests: Sequence[TestSource]) -> dict[str, Value]:
    """Norton currents of test sources into the nodes."""
    currents: dict[str, Value] = {}
    for test in tests:
        amount = test.open_v / np.maximum(test.resistance_ohm, MIN_RESISTANCE_OHM)
        currents[test.a] = currents.get(test.a, 0.0) + amount
        currents[test.b] = currents.get(test.b, 0.0) - amount
    return currents


def input_voltages_v(network: Network, phase_rad: FloatArray) -> FloatArray:
    """Voltages of the known nodes, shape (u, n, m), at phases of shape (n, m)."""
    from zcd.physics.mains import mains_voltage_v
    from zcd.physics.surge import surge_voltage_v

    size = network.conductance_s.shape[0]
    shape = (size, phase_rad.shape[1])
    waves = np.empty((len(network.sources), *shape))
    # before points follow what flows they are the same in all rows
    angle_rad = phase_rad[:1] if np.all(phase_rad == phase_rad[:1]) else phase_rad
    for row, source in enumerate(network.sources):
        if isinstance(source, MainsSource):
            rms = np.broadcast_to(np.asarray(source.rms_v, dtype=float), (size,))
            waves[row] = mains_voltage_v(angle_rad, rms, *network.harmonics)
            if np.any(source.surge_v):
                surge, frequency = column(source.surge_v, size), column(source.frequency_hz, size)
                waves[row] += surge_voltage_v(phase_rad, surge, frequency)
        elif isinstance(source, DcSource):
            waves[row] = column(source.voltage_v, size)
        far = source.b if network.known[row] == source.a else source.a
        if far == source.a:
            waves[row] *= -1.0
        if far in network.known:
            waves[row] += waves[network.known.index(far)]
    return waves
