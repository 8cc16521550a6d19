"""One island of the element list as matrices: linear part reduced, nonlinear branches kept."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import lru_cache

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
    recover : tuple of ndarray
        What gives the passive nodes from active nodes, known nodes and injections.
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
    recover: tuple[FloatArray, FloatArray, FloatArray]
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
    order = [*active, *passive, *known]
    size = circuit.size
    conductive = [e for e in elements if isinstance(e, Resistance | TestSource)]
    g = _stamp(
        [1.0 / np.maximum(e.resistance_ohm, MIN_RESISTANCE_OHM) for e in conductive],
        conductive, order, size,
    )  # fmt: skip
    free = len(active) + len(passive)
    g[:, range(free), range(free)] += MIN_CONDUCTANCE_S
    c = _stamp([e.capacitance_f for e in capacitors], capacitors, order, size)
    j = _injections([e for e in elements if isinstance(e, TestSource)], order, size)
    k = len(active)
    gp = np.linalg.inv(g[:, k:free, k:free])
    down = gp @ g[:, k:free, :k]
    down_u = gp @ g[:, k:free, free:]
    down_j = (gp @ j[:, k:free, None])[..., 0]
    across = g[:, :k, k:free]
    return Network(
        nodes=(*active, *passive),
        active=k,
        known=known,
        sources=sources,
        swinging=moving[0] if moving else len(sources) - 1,
        conductance_s=np.ascontiguousarray(g[:, :k, :k] - across @ down),
        input_s=np.ascontiguousarray(g[:, :k, free:] - across @ down_u),
        injection_a=j[:, :k] - (across @ down_j[..., None])[..., 0],
        capacitance_f=np.ascontiguousarray(c[:, :k, :k]),
        input_f=np.ascontiguousarray(c[:, :k, free:]),
        recover=(-down, -down_u, down_j),
        branches=branches,
        kind=np.array([isinstance(e, Controlled) for e in branches], dtype=np.intc),
        ends=_ends(branches, (*active, *known)),
        charged=np.flatnonzero(np.any(c[:, :k, :k], axis=(0, 1))).astype(np.intc),
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


def _stamp(
    values: Sequence[Value], elements: Sequence[TwoNode], order: Sequence[str], size: int
) -> FloatArray:
    """Nodal matrix of two-node elements, shape (n, nodes, nodes)."""
    incidence = np.zeros((len(elements), len(order)))
    for row, element in enumerate(elements):
        for node, sign in ((element.a, 1.0), (element.b, -1.0)):
            if node in order:
                incidence[row, order.index(node)] = sign
    weights = np.empty((size, len(elements)))
    for row, value in enumerate(values):
        weights[:, row] = value
    outer = incidence[:, :, None] * incidence[:, None, :]
    matrix = weights @ outer.reshape(len(elements), len(order) ** 2)
    return np.asarray(matrix.reshape(size, len(order), len(order)))


def _injections(tests: Sequence[TestSource], order: Sequence[str], size: int) -> FloatArray:
    """Norton currents of test sources into the nodes, shape (n, nodes)."""
    currents = np.zeros((size, len(order)))
    for test in tests:
        amount = test.open_v / np.maximum(test.resistance_ohm, MIN_RESISTANCE_OHM)
        for node, sign in ((test.a, 1.0), (test.b, -1.0)):
            if node in order:
                currents[:, order.index(node)] += sign * amount
    return currents


def input_voltages_v(network: Network, phase_rad: FloatArray) -> FloatArray:
    """Voltages of the known nodes, shape (u, n, m), at phases of shape (n, m)."""
    from zcd.physics.mains import mains_voltage_v
    from zcd.physics.surge import surge_voltage_v

    size = network.conductance_s.shape[0]
    shape = (size, phase_rad.shape[1])
    waves = np.empty((len(network.sources), *shape))
    for row, source in enumerate(network.sources):
        if isinstance(source, MainsSource):
            rms = np.broadcast_to(np.asarray(source.rms_v, dtype=float), (size,))
            waves[row] = mains_voltage_v(phase_rad, rms, *network.harmonics)
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
