# cython: language_level=3, boundscheck=False, wraparound=False, cdivision=True
# cython: initializedcheck=False
"""Newton's method, one row and one point in time after the other.

This file is compiled when the package is built, where there is a compiler. Where there was none,
Python runs it as it stands: the same answers, slowly.

A junction is not followed along its exponential: its state is ``s = v + R0 i``, the voltage over
it and a fixed resistance in series. Voltage and current are both smooth, almost straight
functions of `s` (closed Lambert-W form), so that Newton's method neither overflows nor needs
damping at mains voltage.

Capacitors couple a point to the three before it, by backward differences of third order. A row
that is periodic is gone through from a guess of the points before its first, with how its end
moves with that guess; so the guess that meets the end is found as Newton finds a root.
"""

from __future__ import annotations

import cython
import numpy as np
from cython.cimports.libc.math import exp, fabs, isnan, log, pi, sqrt

from zcd.engine.network import JUNCTION, REACH, TRANSISTOR, Network
from zcd.physics.diode import NOTHING_BELOW, PLACES_PER_UNIT, SERIES_ABOVE, omega_table
from zcd.physics.optocoupler import REFERENCE_COLLECTOR_V

COMPILED = cython.compiled

# R0: of the order of the chains, or of what leaks into a breakdown; sets how fast Newton
# converges, not what it converges to
FORWARD_OHM = cython.declare(cython.double, 1e6)
BREAKDOWN_OHM = cython.declare(cython.double, 30e6)
# Newton ends when no branch can have more left to move
NEWTON_V = cython.declare(cython.double, 1e-5)
# where so many whole steps have not ended, Newton goes round (a zener and a diode in series hand
# the voltage from one to the other and back): then it takes half steps
MAX_STEPS = cython.declare(cython.int, 80)
WHOLE_STEPS = cython.declare(cython.int, 30)
# beyond some volts rounding sets the limit: a dead short on mains has s of megavolts
FINEST_RATIO = cython.declare(cython.double, 1e-3)
MAX_KNEES = cython.declare(cython.double, 45.0)  # from its own where a transistor is straight
FARTHEST = cython.declare(cython.double, 3.0)  # that a straight line is followed, in intervals
# how often a period is gone through at the most; what its end and its beginning may differ by
MAX_ROUNDS = cython.declare(cython.int, 60)
MANY_ROUNDS = cython.declare(cython.int, 20)  # from which on Newton goes in circles
CLOSED_V = cython.declare(cython.double, 1e-6)
MERGED_V = cython.declare(cython.double, 1e-7)
# of the largest junction current, what a current springs up by where it may overshoot; how often
# such points are looked for
JUMP_RATIO = cython.declare(cython.double, 0.03)
MOST_MARKINGS = cython.declare(cython.int, 3)
MIN_CURRENT_A = cython.declare(cython.double, 1e-9)
# what a transistor may seem to be below 0 V: rounding, and no overshoot
OVERSHOT_V = cython.declare(cython.double, 1e-3)
FORGOTTEN = cython.declare(cython.double, 1e-12)  # of what was before the period
NOTHING = cython.declare(cython.double, 1e-200)
# without capacitors a row is solved at a voltage of its source between two others where a cubic
# through these would miss it by more than READ_V, or this share of it
READ_V = cython.declare(cython.double, 1e-2)
READ_RATIO = cython.declare(cython.double, 2e-5)
RATE_WEIGHT = cython.declare(cython.double, 0.125)
# where a waveform passes a level
CROSSING_STEPS = cython.declare(cython.int, 3)
MIN_SLOPE = cython.declare(cython.double, 0.05)
SEAM_RATIO = cython.declare(cython.double, 1e-12)
FIRST_HALVINGS = cython.declare(cython.int, 3)
ASTRAY_V = cython.declare(cython.double, 1e300)
NO_BEND = cython.declare(cython.double, -1e150)  # of no junction at all

_JUNCTION = cython.declare(cython.int, JUNCTION)
_TRANSISTOR = cython.declare(cython.int, TRANSISTOR)
_REACH = cython.declare(cython.int, REACH)
_LOWEST = cython.declare(cython.double, NOTHING_BELOW)
_HIGHEST = cython.declare(cython.double, SERIES_ABOVE)
_PLACES = cython.declare(cython.double, PLACES_PER_UNIT)
_REFERENCE_V = cython.declare(cython.double, REFERENCE_COLLECTOR_V)


@cython.final
@cython.cclass
class Solver:
    """Solves the rows of a network.

    Parameters
    ----------
    network : zcd.engine.network.Network
    inputs_v : ndarray, shape (u, n, m)
        Voltages of the known nodes.
    drive : ndarray, shape (d, n, m)
        What controls some of the elements at each point: of a transistor its photocurrent [A],
        of a junction a factor to its saturation current.
    driven : ndarray of int, shape (b,)
        Which of them each nonlinear element takes; -1: none.
    interval_s : ndarray, shape (n, m), or (0, 0)
        From the point before to each; without any, each point is solved by itself.
    closed : bool
        Periodic; else from nothing charged.
    source : int
        Where nothing is driven and there is no time: the known node that all others follow, by
        a fixed distance, or stand still; else -1.
    links, places_v : ndarray, shape (n or 1, 2, p) and (n or 1, 2, p, 1 + 2 b + k)
        Then, for the answer, what is solved at up to p voltages of the source: the next place
        above and the next below; the source, the states of the branches, the active nodes, and
        how they move with the source. Places of before are taken as such, if each row has its own.
    begin_v : ndarray, shape (n or 1, 3, k)
        Of the active nodes, at the points before the first, the nearest first: a guess of what a
        period begins with, or of what is there from the beginning.
    broken : ndarray of int8, shape (n, b)
        For the answer: junctions that break down somewhere.
    voltages_v, currents_a : ndarray, shape (k, n, m) and (2 b, n, m)
        For the answer: of the active nodes; of the elements, then of their breakdowns.
    carry : ndarray, shape (n, 3 c, 3 c)
        For the answer: how what was before the period at the c nodes with charge looks after it.
    left_v : ndarray, shape (n,)
        For the answer: 0, or what was left where Newton's method found no end.
    """

    nodes: cython.int
    known: cython.int
    elements: cython.int
    points: cython.Py_ssize_t
    charged: cython.int
    many: cython.int
    dynamic: cython.bint
    closed: cython.bint

    conductance_s: cython.double[:, :, ::1]
    input_s: cython.double[:, :, ::1]
    injection_a: cython.double[:, ::1]
    capacitance_f: cython.double[:, :, ::1]
    input_f: cython.double[:, :, ::1]
    law: cython.double[:, :, ::1]
    kind: cython.int[::1]
    ends: cython.int[:, ::1]
    inputs_v: cython.double[:, :, ::1]
    drive: cython.double[:, :, ::1]
    driven: cython.int[::1]
    interval_s: cython.double[:, ::1]
    begin_v: cython.double[:, :, ::1]
    source: cython.int
    charged_nodes: cython.int[::1]
    omega: cython.double[:, ::1]

    voltages_v: cython.double[:, :, ::1]
    currents_a: cython.double[:, :, ::1]
    broken: cython.char[:, ::1]
    carry: cython.double[:, :, ::1]
    left_v: cython.double[::1]

    # the row at work: what was before its first point, how far differences are of first order,
    # states at each point, and whether they are known from a time before
    before_v: cython.double[:, ::1]
    abrupt: cython.double[::1]
    states_v: cython.double[:, ::1]
    warm: cython.bint
    # its branches: the elements, and the breakdowns that it has come to
    branches: cython.int
    element: cython.int[::1]
    breakdown: cython.int[::1]
    a: cython.int[::1]
    b: cython.int[::1]
    scale_ohm: cython.double[::1]
    total_ohm: cython.double[::1]
    bend_start: cython.double[::1]
    sharpness_per_v: cython.double[::1]
    unit_a: cython.double[::1]
    early_per_v: cython.double[::1]
    # the point at work: each branch linearised, the nodal equations, voltages of all nodes
    per_s: cython.double[::1]
    state_v: cython.double[::1]
    bend: cython.double[::1]
    volt: cython.double[::1]
    current_a: cython.double[::1]
    slope_s: cython.double[::1]
    reached_a: cython.double[::1]
    shift_v: cython.double[::1]
    linear_s: cython.double[:, ::1]
    linear_a: cython.double[::1]
    matrix: cython.double[:, ::1]
    side: cython.double[::1]
    node_v: cython.double[::1]
    links: cython.int[:, :, ::1]
    places_v: cython.double[:, :, :, ::1]
    # of these, the row at work
    places: cython.int
    above: cython.int[::1]
    below: cython.int[::1]
    at_v: cython.double[:, ::1]
    per_v: cython.double[:, ::1]
    read_v: cython.double[::1]
    start_v: cython.double[::1]
    follows: cython.double[::1]
    # how the last points move with what was before the period, how far these are apart now and
    # were in the round before, and the share of the way that is gone
    moves: cython.double[:, :, ::1]
    remembers: cython.bint
    gap: cython.double[:, ::1]
    gap_before: cython.double[::1]
    apart_v: cython.double
    share: cython.double
    low_v: cython.double
    high_v: cython.double

    def __init__(self, network: Network, inputs_v, drive, driven, interval_s, closed, source, links,
                 places_v, begin_v, broken, voltages_v, currents_a, carry,
                 left_v) -> None:  # fmt: skip
        self.conductance_s, self.input_s = network.conductance_s, network.input_s
        self.injection_a, self.law = network.injection_a, network.law
        self.capacitance_f, self.input_f = network.capacitance_f, network.input_f
        self.kind, self.ends = network.kind, network.ends
        self.inputs_v, self.drive, self.driven = inputs_v, drive, driven
        self.interval_s, self.closed, self.begin_v = interval_s, closed, begin_v
        self.source, self.links, self.places_v = source, links, places_v
        self.voltages_v, self.currents_a, self.broken = voltages_v, currents_a, broken
        self.carry, self.left_v, self.omega = carry, left_v, omega_table()
        nodes, known, elements = len(voltages_v), len(inputs_v), len(driven)
        points, charged, slots = inputs_v.shape[2], len(network.charged), 2 * elements
        many = _REACH * charged if closed else 0
        self.nodes, self.known, self.elements = nodes, known, elements
        self.points, self.charged, self.charged_nodes = points, charged, network.charged
        self.many, self.per_s = many, np.zeros(1 + _REACH)
        self.dynamic = len(interval_s) > 0
        self.before_v, self.abrupt = np.zeros((_REACH, nodes)), np.zeros(points)
        self.states_v = np.zeros((slots, points))
        self.element, self.breakdown, self.a, self.b = np.zeros((4, slots), dtype=np.intc)
        per_branch = np.zeros((13, slots))
        self.scale_ohm, self.total_ohm, self.bend_start = per_branch[:3]
        self.state_v, self.bend, self.volt, self.shift_v = per_branch[3:7]
        self.current_a, self.slope_s, self.reached_a = per_branch[7:10]
        self.sharpness_per_v, self.unit_a, self.early_per_v = per_branch[10:]
        self.linear_s, self.matrix = np.zeros((2, nodes, nodes))
        self.linear_a, self.side = np.zeros((2, nodes))
        self.node_v = np.zeros(nodes + known + 1)
        self.read_v = np.zeros(1 + slots + nodes)
        self.start_v, self.follows = np.zeros((2, known + 1))
        self.moves = np.zeros((_REACH, charged, many))
        self.gap, self.gap_before = np.zeros((many, many + 1)), np.zeros(many)

    @cython.ccall
    def solve(self, row: cython.Py_ssize_t) -> cython.bint:
        """Solve a row; False: it did not converge."""
        alone: cython.bint
        self.left_v[row] = 0.0
        self._begin_row(row)
        if self.source >= 0:
            alone = self.links.shape[0] < self.inputs_v.shape[1]
            self._take_places(0 if alone else row)
            if alone or self.above[0] == 0:
                while not self._tabulate(row) and self.left_v[row] == 0.0:
                    pass  # a junction broke down
            if self.above[self.above.shape[0] - 1] == 0:
                self._read_off(row)
            else:  # it bends at more places than there is room for
                self._march(row, True, False)
        elif not self.dynamic:
            self._march(row, True, False)
        else:
            if not self._close(row):
                # several charges that stop at once may be followed round the period without an
                # end by differences of third order, which overshoot there
                self._begin_row(row)
                self.abrupt[:] = 1.0
                if self._close(row):
                    self._forget_abrupt()
                    self._mark_abrupt(row)
                    self._close(row)
            for _ in range(MOST_MARKINGS):
                if self.left_v[row] > 0.0 or not self._mark_abrupt(row):
                    break
                self._close(row)
        return self.left_v[row] == 0.0

    @cython.cfunc
    @cython.exceptval(check=False)
    def _begin_row(self, row: cython.Py_ssize_t) -> cython.void:
        """Nothing known of a row but its laws; periodic, it seems to come from rest."""
        e: cython.int
        self.branches = 0
        self.warm = False
        self._forget_abrupt()
        self.before_v[:, :] = self.begin_v[row if self.many else 0]
        for e in range(self.elements):
            self._add_branch(row, e, 0)
        for e in range(self.elements):
            if self.broken[row, e]:
                self._add_branch(row, e, 1)

    @cython.cfunc
    @cython.exceptval(check=False)
    def _add_branch(
        self, row: cython.Py_ssize_t, e: cython.int, breakdown: cython.int
    ) -> cython.void:
        """An element, or its breakdown: the same law backwards beyond a voltage."""
        j: cython.int = self.branches
        self.branches += 1
        self.element[j], self.breakdown[j] = e, breakdown
        self.a[j], self.b[j] = self.ends[breakdown, e], self.ends[1 - breakdown, e]
        self.shift_v[j] = 0.0
        # to divide takes as long as the exponential: once a row is enough
        self.sharpness_per_v[j] = 1.0 / self.law[row, e, 0 if self.kind[e] == _TRANSISTOR else 1]
        if self.kind[e] == _TRANSISTOR:
            self.early_per_v[j] = 1.0 / (self.law[row, e, 2] + _REFERENCE_V)
            # its steepest point
            self.bend_start[j] = (
                log(self.law[row, e, 1]) * self.law[row, e, 0] + self.law[row, e, 3]
            )
            return
        self.scale_ohm[j] = BREAKDOWN_OHM if breakdown else FORWARD_OHM
        self.total_ohm[j] = self.law[row, e, 2] + self.scale_ohm[j]
        self.unit_a[j] = self.law[row, e, 1] / self.total_ohm[j]
        self.bend_start[j] = _bend_start(self.law[row, e, 0] / self.unit_a[j])

    @cython.cfunc
    @cython.exceptval(check=False)
    def _close(self, row: cython.Py_ssize_t) -> cython.bint:
        """Go round the period until its end is its beginning; False: there is no end to it."""
        number: cython.int
        self.left_v[row], self.apart_v, self.share = 0.0, ASTRAY_V, 1.0
        self.low_v, self.high_v = -ASTRAY_V, ASTRAY_V
        for number in range(MAX_ROUNDS):
            if not self._march(row, number == 0, number != 1):
                return False
            if self.many == 0 or self._meets(row, number):
                return True
        self.left_v[row] = ASTRAY_V
        return False

    @cython.cfunc
    @cython.exceptval(check=False)
    def _march(
        self, row: cython.Py_ssize_t, whole: cython.bint, remembers: cython.bint
    ) -> cython.bint:
        """All points of a row, one after the other; False: one of them did not converge.

        Not `whole`: only until they are what they were in the round before. Where it `remembers`,
        with how they move with what was before.
        """
        p: cython.Py_ssize_t = 0
        i: cython.int
        j: cython.int
        moved: cython.double
        still: cython.int = 0
        self._begin_moves(remembers)
        while p < self.points:
            self._take_sources(row, p)
            if self.dynamic:
                self._take_charges(row, p)
            self._begin_point(row, p)
            if not self._newton(row, p):
                return False
            if self._breaks(row):
                self.warm = False
                self._begin_moves(remembers)
                p = 0
                continue
            moved = 0.0
            for i in range(self.nodes):
                moved = max(moved, fabs(self.node_v[i] - self.voltages_v[i, row, p]))
                self.voltages_v[i, row, p] = self.node_v[i]
            for j in range(self.branches):
                self.shift_v[j] = self.state_v[j] - self.states_v[j, p] if self.warm else 0.0
                self.states_v[j, p] = self.state_v[j]
                i = self.element[j] + self.elements * self.breakdown[j]
                self.currents_a[i, row, p] = self.reached_a[j]
            if self.many:
                if self.remembers:
                    self._carry_on(row)
                still = still + 1 if moved < MERGED_V else 0
                if still == 2 and not whole:
                    return True
            p += 1
        self.warm = True
        for i in range(self.many if remembers else 0):
            for j in range(self.many):
                self.carry[row, i, j] = self.moves[i // self.charged, i % self.charged, j]
        return True

    @cython.cfunc
    @cython.exceptval(check=False)
    def _begin_point(self, row: cython.Py_ssize_t, p: cython.Py_ssize_t) -> cython.void:
        """Where Newton begins: at the states of a round before, moved as the point before was;
        else on the straight line through the two points before."""
        j: cython.int
        along: cython.double = 0.0
        last: cython.double
        if not self.warm and p > 1 and self.known:
            if self.dynamic:
                along, last = self.interval_s[row, p], self.interval_s[row, p - 1]
            else:
                last = self.inputs_v[0, row, p - 1]
                along = self.inputs_v[0, row, p] - last
                last -= self.inputs_v[0, row, p - 2]
            along = min(max(along / last, 0.0), FARTHEST) if last != 0.0 else 0.0
        for j in range(self.branches):
            if self.warm:
                self.state_v[j] = self.states_v[j, p] + self.shift_v[j]
            elif p == 0:
                self._begin_cold(j)
            elif p > 1 and self.kind[self.element[j]] == _JUNCTION:
                self.state_v[j] += along * (self.states_v[j, p - 1] - self.states_v[j, p - 2])

    @cython.cfunc
    @cython.exceptval(check=False)
    def _begin_cold(self, j: cython.int) -> cython.void:
        """A junction at no voltage, a transistor at its steepest point."""
        transistor: cython.bint = self.kind[self.element[j]] == _TRANSISTOR
        self.state_v[j] = self.bend_start[j] if transistor else 0.0

    # ------------------------------------------------------------------ without capacitors

    @cython.cfunc
    @cython.exceptval(check=False)
    def _take_places(self, number: cython.Py_ssize_t) -> cython.void:
        self.above, self.below = self.links[number, 0], self.links[number, 1]
        self.at_v, self.per_v = self.places_v[number, 0], self.places_v[number, 1]

    @cython.cfunc
    @cython.exceptval(check=False)
    def _tabulate(self, row: cython.Py_ssize_t) -> cython.bint:
        """Solve a row at as many voltages of its source as it takes; False: begin again."""
        p: cython.Py_ssize_t
        low: cython.Py_ssize_t = 0
        high: cython.Py_ssize_t = 0
        j: cython.int
        u: cython.int
        for p in range(self.points):
            if self.inputs_v[self.source, row, p] < self.inputs_v[self.source, row, low]:
                low = p
            if self.inputs_v[self.source, row, p] > self.inputs_v[self.source, row, high]:
                high = p
        low_v: cython.double = self.inputs_v[self.source, row, low]
        high_v: cython.double = self.inputs_v[self.source, row, high]
        for u in range(self.known):
            self.start_v[u] = self.inputs_v[u, row, low]
            self.follows[u] = 0.0
            if high_v > low_v:
                self.follows[u] = self.inputs_v[u, row, high] - self.inputs_v[u, row, low]
                self.follows[u] /= high_v - low_v
        self.places, self.above[0], self.below[1] = 2, 1, 0
        self.above[self.above.shape[0] - 1] = 0
        for j in range(self.branches):
            self._begin_cold(j)
        if not self._solve_place(row, 0, low_v):
            return False
        if not self._solve_place(row, 1, high_v):
            return False
        return high_v == low_v or self._between(row, 0, 1, FIRST_HALVINGS)

    @cython.cfunc
    @cython.exceptval(check=False)
    def _between(
        self, row: cython.Py_ssize_t, low: cython.int, high: cython.int, least: cython.int
    ) -> cython.bint:
        """Solve places between two where a cubic would not do, halving at `least` so often."""
        k: cython.int
        new: cython.int = self.places
        width: cython.double = self.at_v[high, 0] - self.at_v[low, 0]
        low_v: cython.double = self.at_v[low, 0]
        high_v: cython.double = self.at_v[high, 0]
        # sinh of the mean of both asinh: half way near 0, the geometric mean far from it
        voltage: cython.double = 1.0 + sqrt((1.0 + low_v * low_v) * (1.0 + high_v * high_v))
        voltage = (low_v + high_v) / sqrt(2.0 * (voltage - low_v * high_v))
        missed_v: cython.double
        moves: cython.double
        fits: cython.bint = least <= 0
        if new == self.above.shape[0]:
            return True
        self._read(low, high, voltage)
        for k in range(self.branches):
            self.state_v[k] = self.read_v[1 + k]
        if not self._solve_place(row, new, voltage):
            return False
        share: cython.double = (voltage - self.at_v[low, 0]) / width
        rest: cython.double = 1.0 - share
        for k in range(1, 1 + self.branches + self.nodes):
            moves = 6.0 * share * rest * (self.at_v[high, k] - self.at_v[low, k]) / width
            moves += self.per_v[low, k] * rest * (rest - 2.0 * share)
            moves += self.per_v[high, k] * share * (share - 2.0 * rest)
            missed_v = fabs(self.at_v[new, k] - self.read_v[k])
            missed_v += RATE_WEIGHT * width * fabs(self.per_v[new, k] - moves)
            if missed_v > READ_V + READ_RATIO * fabs(self.at_v[new, k]):
                fits = False
        self.places += 1
        self.above[low], self.above[new] = new, high
        self.below[high], self.below[new] = new, low
        if fits:
            return True
        return self._between(row, low, new, least - 1) and self._between(row, new, high, least - 1)

    @cython.cfunc
    @cython.exceptval(check=False)
    def _solve_place(
        self, row: cython.Py_ssize_t, place: cython.int, voltage: cython.double
    ) -> cython.bint:
        """Solve a row at a voltage of its source, and how that moves; False: begin again."""
        i: cython.int
        j: cython.int
        u: cython.int
        a: cython.int
        b: cython.int
        moved: cython.double
        first: cython.int = 1 + self.branches
        for u in range(self.known):
            moved = self.follows[u] * (voltage - self.start_v[self.source])
            self.node_v[self.nodes + u] = self.start_v[u] + moved
        self._take_known(row)
        if not self._newton(row, 0) or self._breaks(row):
            return False
        self.at_v[place, 0] = voltage
        for j in range(self.branches):
            self.at_v[place, 1 + j] = self.state_v[j]
        for i in range(self.nodes):
            self.at_v[place, first + i] = self.node_v[i]
            self.side[i] = 0.0
            for u in range(self.known):
                self.side[i] -= self.input_s[row, i, u] * self.follows[u]
        for j in range(self.branches):
            a, b = self.a[j], self.b[j]
            if a < self.nodes <= b:
                self.side[a] += self.slope_s[j] * self.follows[b - self.nodes]
            elif b < self.nodes <= a:
                self.side[b] += self.slope_s[j] * self.follows[a - self.nodes]
        self._substitute()
        for i in range(self.nodes):
            self.per_v[place, first + i] = self.node_v[i]
        for u in range(self.known):
            self.node_v[self.nodes + u] = self.follows[u]
        for j in range(self.branches):
            moved = self.node_v[self.a[j]] - self.node_v[self.b[j]]
            self.per_v[place, 1 + j] = moved * (1.0 + self.scale_ohm[j] * self.slope_s[j])
        return True

    @cython.cfunc
    @cython.exceptval(check=False)
    def _read(self, low: cython.int, high: cython.int, voltage: cython.double) -> cython.void:
        """What a row is at a voltage of its source between two places: on a cubic."""
        k: cython.int
        width: cython.double = self.at_v[high, 0] - self.at_v[low, 0]
        share: cython.double = (voltage - self.at_v[low, 0]) / width if width > 0.0 else 0.0
        rest: cython.double = 1.0 - share
        to_high: cython.double = share * share * (1.0 + 2.0 * rest)
        low_move: cython.double = share * rest * rest * width
        high_move: cython.double = share * share * rest * width
        for k in range(1, 1 + self.branches + self.nodes):
            self.read_v[k] = (
                self.at_v[low, k] * (1.0 - to_high) + self.at_v[high, k] * to_high
                + self.per_v[low, k] * low_move - self.per_v[high, k] * high_move
            )  # fmt: skip

    @cython.cfunc
    @cython.exceptval(check=False)
    def _read_off(self, row: cython.Py_ssize_t) -> cython.void:
        """All points of a row, each at the voltage of its source."""
        p: cython.Py_ssize_t
        i: cython.int
        k: cython.int
        place: cython.int = 0
        voltage: cython.double
        for p in range(self.points):
            voltage = self.inputs_v[self.source, row, p]
            while place != 0 and self.at_v[place, 0] > voltage:
                place = self.below[place]
            while self.above[place] != 1 and self.at_v[self.above[place], 0] < voltage:
                place = self.above[place]
            self._read(place, self.above[place], voltage)
            for k in range(self.branches):
                self.state_v[k] = self.read_v[1 + k]
                self._junction(row, p, k)
                i = self.element[k] + self.elements * self.breakdown[k]
                self.currents_a[i, row, p] = self.current_a[k]
            for k in range(self.nodes):
                self.voltages_v[k, row, p] = self.read_v[1 + self.branches + k]

    # ------------------------------------------------------------------ the linear part

    @cython.cfunc
    @cython.exceptval(check=False)
    def _take_sources(self, row: cython.Py_ssize_t, p: cython.Py_ssize_t) -> cython.void:
        """Conductances, and what flows into the active nodes from sources, at a point."""
        u: cython.int
        for u in range(self.known):
            self.node_v[self.nodes + u] = self.inputs_v[u, row, p]
        self._take_known(row)

    @cython.cfunc
    @cython.exceptval(check=False)
    def _take_known(self, row: cython.Py_ssize_t) -> cython.void:
        """The same, from the voltages of the known nodes."""
        i: cython.int
        j: cython.int
        u: cython.int
        flow_a: cython.double
        for i in range(self.nodes):
            flow_a = self.injection_a[row, i]
            for u in range(self.known):
                flow_a -= self.input_s[row, i, u] * self.node_v[self.nodes + u]
            self.linear_a[i] = flow_a
            for j in range(self.nodes):
                self.linear_s[i, j] = self.conductance_s[row, i, j]

    @cython.cfunc
    @cython.exceptval(check=False)
    def _take_charges(self, row: cython.Py_ssize_t, p: cython.Py_ssize_t) -> cython.void:
        """Capacitors as conductances, and what flows from their charges of the points before."""
        i: cython.int
        j: cython.int
        c: cython.int
        k: cython.int
        u: cython.int
        back: cython.int
        rate: cython.double
        self._take_step(row, p, self.abrupt[p])
        for u in range(self.known):
            rate = self.per_s[0] * self.inputs_v[u, row, p]
            for back in range(1, 1 + _REACH):
                rate += self.per_s[back] * self._input_at(u, row, p - back)
            for i in range(self.nodes):
                self.linear_a[i] -= self.input_f[row, i, u] * rate
        for c in range(self.charged):
            j, rate = self.charged_nodes[c], 0.0
            for back in range(1, 1 + _REACH):
                rate += self.per_s[back] * self._node_at(j, row, p - back)
            for k in range(self.charged):
                i = self.charged_nodes[k]
                self.linear_a[i] -= self.capacitance_f[row, i, j] * rate
                self.linear_s[i, j] += self.capacitance_f[row, i, j] * self.per_s[0]

    @cython.cfunc
    @cython.exceptval(check=False)
    def _take_step(
        self, row: cython.Py_ssize_t, p: cython.Py_ssize_t, first: cython.double
    ) -> cython.void:
        """Backward difference: x' is the sum of `per_s` by the point itself and those before.

        Of third order on uneven intervals, and a share of it of first order.
        """
        one_s: cython.double = self.interval_s[row, p]
        rest: cython.double = 1.0 - first
        next_s: cython.double
        last_s: cython.double
        two_s: cython.double
        three_s: cython.double
        self.per_s[1], self.per_s[2], self.per_s[3] = -first / one_s, 0.0, 0.0
        if rest > 0.0:
            next_s = self.interval_s[row, p - 1 if p > 0 else self.points - 1]
            last_s = self.interval_s[row, p - 2 if p > 1 else self.points + p - 2]
            two_s, three_s = one_s + next_s, one_s + next_s + last_s
            self.per_s[1] -= rest * two_s * three_s / (one_s * next_s * (next_s + last_s))
            self.per_s[2] = rest * one_s * three_s / (two_s * next_s * last_s)
            self.per_s[3] = -rest * one_s * two_s / (three_s * last_s * (next_s + last_s))
        self.per_s[0] = -(self.per_s[1] + self.per_s[2] + self.per_s[3])

    @cython.cfunc
    @cython.exceptval(check=False)
    def _node_at(
        self, i: cython.int, row: cython.Py_ssize_t, p: cython.Py_ssize_t
    ) -> cython.double:
        return self.voltages_v[i, row, p] if p >= 0 else self.before_v[-1 - p, i]

    @cython.cfunc
    @cython.exceptval(check=False)
    def _input_at(
        self, u: cython.int, row: cython.Py_ssize_t, p: cython.Py_ssize_t
    ) -> cython.double:
        if p >= 0:
            return self.inputs_v[u, row, p]
        return self.inputs_v[u, row, p + self.points] if self.closed else 0.0

    # ------------------------------------------------------------------ Newton's method

    @cython.cfunc
    @cython.exceptval(check=False)
    def _newton(self, row: cython.Py_ssize_t, p: cython.Py_ssize_t) -> cython.bint:
        """Solve a point; False: it did not converge."""
        step: cython.int
        left_v: cython.double = 0.0
        for step in range(MAX_STEPS):
            self._linearise(row, p)
            self._factorise()
            self._substitute()
            left_v = self._update(row, 1.0 if step < WHOLE_STEPS else 0.5)
            if left_v < NEWTON_V:
                return True
            if isnan(left_v):
                break
        self.left_v[row] = ASTRAY_V if isnan(left_v) else left_v
        return False

    @cython.cfunc
    @cython.exceptval(check=False)
    def _linearise(self, row: cython.Py_ssize_t, p: cython.Py_ssize_t) -> cython.void:
        """The nodal equations, each branch a conductance and a current at its present state."""
        i: cython.int
        j: cython.int
        a: cython.int
        b: cython.int
        slope_s: cython.double
        constant_a: cython.double
        for i in range(self.nodes):
            self.side[i] = self.linear_a[i]
            for j in range(self.nodes):
                self.matrix[i, j] = self.linear_s[i, j]
        for j in range(self.branches):
            if self.kind[self.element[j]] == _JUNCTION:
                self._junction(row, p, j)
            else:
                self._transistor(row, p, j)
            a, b, slope_s = self.a[j], self.b[j], self.slope_s[j]
            constant_a = self.current_a[j] - slope_s * self.volt[j]
            if a < self.nodes:
                self.matrix[a, a] += slope_s
            else:
                constant_a += slope_s * self.node_v[a]
            if b < self.nodes:
                self.matrix[b, b] += slope_s
                self.side[b] += constant_a
            else:
                constant_a -= slope_s * self.node_v[b]
            if a < self.nodes:
                self.side[a] -= constant_a
                if b < self.nodes:
                    self.matrix[a, b] -= slope_s
                    self.matrix[b, a] -= slope_s

    @cython.cfunc
    @cython.exceptval(check=False)
    def _junction(self, row: cython.Py_ssize_t, p: cython.Py_ssize_t, j: cython.int) -> cython.void:
        """A diode: the law of `zcd.physics.diode.current_behind_resistance_a`."""
        e: cython.int = self.element[j]
        saturation_a: cython.double = self.law[row, e, 0]
        start: cython.double = self.bend_start[j]
        if self.driven[e] >= 0 and not self.breakdown[j]:
            saturation_a *= self.drive[self.driven[e], row, p]
            start = _bend_start(saturation_a / self.unit_a[j])
        self.bend[j] = start + self.state_v[j] * self.sharpness_per_v[j]
        omega: cython.double = self._omega_of(self.bend[j])
        self.current_a[j] = omega * self.unit_a[j] - saturation_a
        self.volt[j] = self.state_v[j] - self.scale_ohm[j] * self.current_a[j]
        if self.breakdown[j]:
            self.volt[j] += self.law[row, e, 3]
        self.slope_s[j] = omega / (self.total_ohm[j] + omega * self.law[row, e, 2])

    @cython.cfunc
    @cython.exceptval(check=False)
    def _omega_of(self, z: cython.double) -> cython.double:
        """As `zcd.physics.diode.wright_omega`, which says how."""
        k: cython.int
        if z <= _LOWEST:
            return 0.0
        if z >= _HIGHEST:
            large: cython.double = log(z)
            x: cython.double = 1.0 / z
            second: cython.double = 0.5 * large - 1.0
            third: cython.double = 1.0 + large * (large / 3.0 - 1.5)
            return z - large + large * x * (1.0 + x * (second + x * third))
        place: cython.double = (z - _LOWEST) * _PLACES
        nearest: cython.Py_ssize_t = cython.cast(cython.Py_ssize_t, place + 0.5)
        away: cython.double = (place - nearest) / _PLACES
        result: cython.double = self.omega[nearest, 0]
        for k in range(1, 6):
            result = result * away + self.omega[nearest, k]
        return result

    @cython.cfunc
    @cython.exceptval(check=False)
    def _transistor(
        self, row: cython.Py_ssize_t, p: cython.Py_ssize_t, j: cython.int
    ) -> cython.void:
        """Its photocurrent times `zcd.physics.optocoupler.collector_share`, which has the law."""
        e: cython.int = self.element[j]
        sharpness_per_v: cython.double = self.sharpness_per_v[j]
        ratio: cython.double = self.law[row, e, 1]
        early_slope: cython.double = self.early_per_v[j]
        above_v: cython.double = self.state_v[j] - self.law[row, e, 3]
        photo_a: cython.double = self.drive[self.driven[e], row, p]
        early: cython.double = (self.law[row, e, 2] + max(above_v, 0.0)) * early_slope
        self.volt[j] = self.state_v[j]
        if above_v * sharpness_per_v > MAX_KNEES:
            self.current_a[j], self.slope_s[j] = photo_a * early, photo_a * early_slope
            return
        grown: cython.double = exp(max(above_v * sharpness_per_v, -MAX_KNEES))
        inverse: cython.double = 1.0 / (grown + ratio)
        saturated: cython.double = (grown - 1.0) * inverse
        steep: cython.double = grown * inverse * inverse * ((1.0 + ratio) * sharpness_per_v)
        if above_v <= 0.0:
            early_slope = 0.0
        self.current_a[j] = photo_a * saturated * early
        self.slope_s[j] = photo_a * (steep * early + saturated * early_slope)

    @cython.cfunc
    @cython.exceptval(check=False)
    def _update(self, row: cython.Py_ssize_t, share: cython.double) -> cython.double:
        """Take a share of the step to the voltages that the linearised circuit gave; what may be
        left, of the branch that has most. Where Newton ends, `reached_a` is the solution."""
        j: cython.int
        across_v: cython.double
        step_v: cython.double
        more_a: cython.double
        left_v: cython.double
        most_v: cython.double = 0.0
        for j in range(self.branches):
            across_v = self.node_v[self.a[j]] - self.node_v[self.b[j]]
            step_v = across_v - self.volt[j]
            if self.kind[self.element[j]] == _JUNCTION:
                more_a = self.slope_s[j] * step_v
                self.reached_a[j] = self.current_a[j] + more_a
                step_v += self.scale_ohm[j] * more_a
                self.state_v[j] += share * step_v
                left_v = left_of_junction(step_v, self.law[row, self.element[j], 1], self.bend[j])
                left_v /= 1.0 + FINEST_RATIO * fabs(self.state_v[j])
            else:
                left_v = self._left_of_transistor(row, j, across_v)
                # it may not step over the steepest point: so each step is monotone
                if (self.state_v[j] - self.bend_start[j]) * (across_v - self.bend_start[j]) < 0.0:
                    self.state_v[j] = self.bend_start[j]
                else:
                    self.state_v[j] += share * step_v
            if left_v > most_v or isnan(left_v):
                most_v = left_v
        return most_v

    @cython.cfunc
    @cython.exceptval(check=False)
    def _left_of_transistor(
        self, row: cython.Py_ssize_t, j: cython.int, across_v: cython.double
    ) -> cython.double:
        """What its step leaves to do: where it amplifies, what is left of the knee bends less
        than Early's straight line."""
        sharpness_per_v: cython.double = self.sharpness_per_v[j]
        step_v: cython.double = across_v - self.state_v[j]
        bent_v: cython.double = step_v * step_v * sharpness_per_v
        if min(fabs(step_v), bent_v) < NEWTON_V:
            return min(fabs(step_v), bent_v)
        lower: cython.double = min(self.state_v[j], across_v) - self.bend_start[j]
        if lower * sharpness_per_v > MAX_KNEES:
            return 0.0
        straight: cython.double = exp(lower * sharpness_per_v)
        straight /= 4.0 * self.law[row, self.element[j], 2] * sharpness_per_v
        return min(fabs(step_v), bent_v / (1.0 + straight))

    @cython.cfunc
    @cython.exceptval(check=False)
    def _breaks(self, row: cython.Py_ssize_t) -> cython.bint:
        """Whether a junction is driven beyond a breakdown; from now on it has that."""
        e: cython.int
        back_v: cython.double
        result: cython.bint = False
        for e in range(self.elements):
            if self.kind[e] != _JUNCTION or self.broken[row, e]:
                continue
            back_v = self.node_v[self.ends[1, e]] - self.node_v[self.ends[0, e]]
            if back_v > self.law[row, e, 3]:
                self.broken[row, e] = 1
                self._add_branch(row, e, 1)
                self._begin_cold(self.branches - 1)
                result = True
        return result

    @cython.cfunc
    @cython.exceptval(check=False)
    def _factorise(self) -> cython.void:
        """Elimination in place, the factors below the diagonal.

        The nodal matrix of conductances is symmetric and positive definite: no pivoting.
        """
        i: cython.int
        r: cython.int
        c: cython.int
        factor: cython.double
        for i in range(self.nodes):
            for r in range(i + 1, self.nodes):
                factor = self.matrix[r, i] / self.matrix[i, i]
                self.matrix[r, i] = factor
                for c in range(i + 1, self.nodes):
                    self.matrix[r, c] -= factor * self.matrix[i, c]

    @cython.cfunc
    @cython.exceptval(check=False)
    def _substitute(self) -> cython.void:
        """Voltages of the active nodes from the currents in `side`."""
        i: cython.int
        c: cython.int
        total: cython.double
        for i in range(self.nodes):
            for c in range(i):
                self.side[i] -= self.matrix[i, c] * self.side[c]
        for i in range(self.nodes - 1, -1, -1):
            total = self.side[i]
            for c in range(i + 1, self.nodes):
                total -= self.matrix[i, c] * self.node_v[c]
            self.node_v[i] = total / self.matrix[i, i]

    # ------------------------------------------------------------------ round the period

    @cython.cfunc
    @cython.exceptval(check=False)
    def _begin_moves(self, remembers: cython.bint) -> cython.void:
        """Before the period each charged node moves with itself alone."""
        c: cython.int
        self.moves[:, :, :] = 0.0
        self.remembers = self.many > 0 and remembers
        for c in range(self.many):
            self.moves[c // self.charged, c % self.charged, c] = 1.0

    @cython.cfunc
    @cython.exceptval(check=False)
    def _carry_on(self, row: cython.Py_ssize_t) -> cython.void:
        """How a point moves with what was before the period, from how those before it do."""
        c: cython.int
        i: cython.int
        j: cython.int
        k: cython.int
        back: cython.int
        rate: cython.double
        most: cython.double = 0.0
        for c in range(self.many):
            for i in range(self.nodes):
                self.side[i] = 0.0
            for j in range(self.charged):
                rate = 0.0
                for back in range(_REACH):
                    rate += self.per_s[1 + back] * self.moves[back, j, c]
                for k in range(self.charged):
                    i = self.charged_nodes[k]
                    self.side[i] -= self.capacitance_f[row, i, self.charged_nodes[j]] * rate
            self._substitute()
            for j in range(self.charged):
                for back in range(_REACH - 1, 0, -1):
                    self.moves[back, j, c] = self.moves[back - 1, j, c]
                    most = max(most, fabs(self.moves[back, j, c]))
                self.moves[0, j, c] = self.node_v[self.charged_nodes[j]]
                most = max(most, fabs(self.moves[0, j, c]))
        if most < FORGOTTEN:
            self.moves[:, :, :] = 0.0
            self.remembers = False

    @cython.cfunc
    @cython.exceptval(check=False)
    def _meets(self, row: cython.Py_ssize_t, number: cython.int) -> cython.bint:
        """Whether the end of the period is its beginning; else a step to one that should be."""
        many: cython.int = self.many
        i: cython.int
        c: cython.int
        node: cython.int
        last: cython.Py_ssize_t
        missed_v: cython.double = 0.0
        most_v: cython.double = 0.0
        along: cython.double = 0.0
        for i in range(many):
            node, last = self.charged_nodes[i % self.charged], i // self.charged
            for c in range(many):
                self.gap[i, c] = (1.0 if i == c else 0.0) - self.carry[row, i, c]
            self.gap[i, many] = self.voltages_v[node, row, self.points - 1 - last]
            self.gap[i, many] -= self.before_v[last, node]
            missed_v = max(missed_v, fabs(self.gap[i, many]))
        self._solve_gap(many)
        for i in range(many):
            most_v = max(most_v, fabs(self.gap[i, many]))
            along += self.gap[i, many] * self.gap_before[i]
            self.gap_before[i] = self.gap[i, many]
        if most_v < CLOSED_V:
            return True
        # where next to nothing of a charge is lost in a period, rounding sends Newton to and fro
        if number >= MANY_ROUNDS and along < 0.0 and missed_v < CLOSED_V:
            return True
        # a pin that charges in one round may be held down in the next, and so on: shorter steps;
        # but a charge that leaks through a junction comes nearer by a few emission voltages a round
        if self.charged == 1 and number >= MANY_ROUNDS:
            self._stay_between(self.before_v[0, self.charged_nodes[0]], self.gap[0, many])
        elif along < 0.0 and most_v > (1.0 - 0.5 * self.share) * self.apart_v:
            self.share *= 0.5
        else:
            self.share = min(1.5 * self.share, 1.0)
        self.apart_v = most_v
        for i in range(many):
            node, last = self.charged_nodes[i % self.charged], i // self.charged
            self.before_v[last, node] += self.share * self.gap[i, many]
        return False

    @cython.cfunc
    @cython.exceptval(check=False)
    def _stay_between(self, here_v: cython.double, step_v: cython.double) -> cython.void:
        """The share of a step that stays between the nearest beginnings known to be too low and
        too high: all of it, or half the way between these."""
        if step_v > 0.0:
            self.low_v = max(self.low_v, here_v)
        else:
            self.high_v = min(self.high_v, here_v)
        self.share = 1.0
        if self.low_v >= self.high_v:  # a junction broke down since: what was known is no more
            self.low_v, self.high_v = -ASTRAY_V, ASTRAY_V
        elif not self.low_v < here_v + step_v < self.high_v:
            self.share = (0.5 * (self.low_v + self.high_v) - here_v) / step_v

    @cython.cfunc
    @cython.exceptval(check=False)
    def _solve_gap(self, many: cython.int) -> cython.void:
        """Gauss and Jordan with pivoting; the solution is the last column."""
        i: cython.int
        r: cython.int
        c: cython.int
        best: cython.int
        factor: cython.double
        for i in range(many):
            best = i
            for r in range(i + 1, many):
                if fabs(self.gap[r, i]) > fabs(self.gap[best, i]):
                    best = r
            for c in range(i, many + 1):
                self.gap[i, c], self.gap[best, c] = self.gap[best, c], self.gap[i, c]
            for r in range(many):
                if r != i:
                    factor = self.gap[r, i] / self.gap[i, i]
                    for c in range(i, many + 1):
                        self.gap[r, c] -= factor * self.gap[i, c]
        for i in range(many):
            self.gap[i, many] /= self.gap[i, i]

    @cython.cfunc
    @cython.exceptval(check=False)
    def _forget_abrupt(self) -> cython.void:
        self.abrupt[:] = 0.0
        if not self.closed:  # differences have nothing to go back to
            self.abrupt[:_REACH] = 1.0

    @cython.cfunc
    @cython.exceptval(check=False)
    def _mark_abrupt(self, row: cython.Py_ssize_t) -> cython.bint:
        """Where differences of third order overshoot: are there any such points?"""
        i: cython.int
        j: cython.int
        k: cython.int
        p: cython.Py_ssize_t
        q: cython.Py_ssize_t
        peak_a: cython.double = MIN_CURRENT_A
        output: cython.bint = False
        marked: cython.bint = False
        for j in range(self.branches):
            if self.kind[self.element[j]] == _TRANSISTOR:
                output = True
                for p in range(self.points):
                    # it cannot be driven below 0 V: it comes to rest in saturation
                    if self.states_v[j, p] < -OVERSHOT_V and self.abrupt[p] < 1.0:
                        self.abrupt[p], marked = 1.0, True
            else:
                i = self.element[j] + self.elements * self.breakdown[j]
                for p in range(self.points):
                    peak_a = max(peak_a, self.currents_a[i, row, p])
        if output:
            return marked
        for j in range(self.branches):
            i = self.element[j] + self.elements * self.breakdown[j]
            for p in range(self.points):
                if self._rings(i, row, p, JUMP_RATIO * peak_a):
                    for k in range(-1, 3):
                        q = (p + k + self.points) % self.points
                        if self.abrupt[q] == 0.0:
                            self.abrupt[q] = self._overshot(row, q)
                            marked = marked or self.abrupt[q] > 0.0
        return marked

    @cython.cfunc
    @cython.exceptval(check=False)
    def _rings(
        self, i: cython.int, row: cython.Py_ssize_t, p: cython.Py_ssize_t, least_a: cython.double
    ) -> cython.bint:
        """Whether a current springs up to a point, and falls from it only to rise again."""
        k: cython.Py_ssize_t
        m: cython.Py_ssize_t = self.points
        here_a: cython.double = self.currents_a[i, row, p]
        rings: cython.bint = False
        if here_a - self.currents_a[i, row, (p + m - 2) % m] >= least_a:
            for k in range(p + 1, p + 4):
                if self.currents_a[i, row, k % m] < self.currents_a[i, row, (k + 1) % m]:
                    rings = True
        return (
            rings
            and here_a >= self.currents_a[i, row, (p + m - 1) % m]
            and here_a > self.currents_a[i, row, (p + 1) % m]
        )

    @cython.cfunc
    @cython.exceptval(check=False)
    def _overshot(self, row: cython.Py_ssize_t, p: cython.Py_ssize_t) -> cython.double:
        """The share of first order with which no charge turns round where it ceases to change."""
        i: cython.int
        c: cython.int
        back: cython.int
        straight: cython.double
        bent: cython.double
        share: cython.double = 0.0
        self._take_step(row, p, 0.0)
        for c in range(self.charged):
            i, bent = self.charged_nodes[c], 0.0
            if self.capacitance_f[row, i, i] == 0.0:
                continue
            for back in range(1 + _REACH):
                bent += self.per_s[back] * self._node_at(i, row, p - back)
            straight = self._node_at(i, row, p) - self._node_at(i, row, p - 1)
            straight /= self.interval_s[row, p]
            if straight * bent < 0.0:
                share = max(share, bent / (bent - straight))
            elif fabs(straight) < fabs(bent):
                share = 1.0
        return share


@cython.cfunc
@cython.exceptval(check=False)
def _bend_start(knee: cython.double) -> cython.double:
    """Argument of Wright's omega at no voltage."""
    return log(knee) + knee if knee > 0.0 else NO_BEND


@cython.ccall
@cython.exceptval(check=False)
def left_of_junction(
    step_v: cython.double, emission_v: cython.double, bend: cython.double
) -> cython.double:
    """What a step of Newton's method leaves to do: at most what the law bends on its way.

    With w(z) Wright's omega, z from `bend` on, w'' = w / (1 + w)^3 < 1 / (4 + 0.4 z^2): a
    junction far from its knee is straight, so that one step is the last. A step over the knee
    counts as one at the knee, one away from it as one towards it.
    """
    moved: cython.double = fabs(step_v) / emission_v
    nearest: cython.double = max(fabs(bend) - moved, 0.0)
    return min(fabs(step_v), emission_v * (moved * moved / (4.0 + 0.4 * nearest * nearest)))


@cython.ccall
def find_falls(
    time_s: cython.const[cython.double][:, ::1],
    wave: cython.const[cython.double][:, ::1],
    low: cython.const[cython.double][::1],
    high: cython.const[cython.double][::1],
    period_s: cython.const[cython.double][::1],
    fall_s: cython.double[:, ::1],
    band_s: cython.double[:, ::1],
) -> cython.void:
    """Where periodic waveforms, once above `high`, come below `low`.

    Parameters
    ----------
    time_s, wave : ndarray, shape (n, m)
    low, high, period_s : ndarray, shape (n,)
    fall_s, band_s : ndarray, shape (n, e)
        For the answer, of as many as there is place for, in order of time: when they fall, within
        the period, and how long they took from one level to the other.
    """
    row: cython.Py_ssize_t
    p: cython.Py_ssize_t
    e: cython.Py_ssize_t
    m: cython.Py_ssize_t = wave.shape[1]
    begin: cython.Py_ssize_t
    last: cython.Py_ssize_t  # the last point outside the band, below 0 in the period before
    found: cython.Py_ssize_t
    at_s: cython.double
    took_s: cython.double
    for row in range(wave.shape[0]):
        found, last = 0, -1
        while last >= -m and low[row] < wave[row, last + m] < high[row]:
            last -= 1
        for p in range(m if last >= -m else 0):
            if low[row] < wave[row, p] < high[row]:
                continue
            begin, last = last, p
            if wave[row, p] > low[row] or wave[row, (begin + m) % m] < high[row]:
                continue
            if found == fall_s.shape[1]:
                break
            at_s = _crossing_s(time_s[row], wave[row], period_s[row], p - 1, low[row])
            took_s = _crossing_s(time_s[row], wave[row], period_s[row], begin, high[row])
            took_s = at_s - took_s
            # on the seam it is at 0, whatever rounding makes of it
            if at_s < -SEAM_RATIO * period_s[row]:
                at_s += period_s[row]
            e = found
            while e > 0 and fall_s[row, e - 1] > at_s:
                fall_s[row, e], band_s[row, e] = fall_s[row, e - 1], band_s[row, e - 1]
                e -= 1
            fall_s[row, e], band_s[row, e] = max(at_s, 0.0), took_s
            found += 1


@cython.cfunc
@cython.exceptval(check=False)
def _crossing_s(
    time_s: cython.const[cython.double][::1],
    wave: cython.const[cython.double][::1],
    period_s: cython.double,
    after: cython.Py_ssize_t,
    level: cython.double,
) -> cython.double:
    """When a waveform passes a level between point `after`, below 0 in the period before, and the
    next one.

    On a cubic whose slopes at both points are those between the chords there: it rises or falls
    throughout, as the waveform does.
    """
    m: cython.Py_ssize_t = wave.shape[0]
    place: cython.Py_ssize_t = (after + m) % m
    begin_s: cython.double = time_s[place] - (period_s if after < 0 else 0.0)
    width_s: cython.double = _step_s(time_s, period_s, place)
    change: cython.double = wave[(place + 1) % m] - wave[place]
    begins: cython.double = _slope(
        _step_s(time_s, period_s, (place + m - 1) % m),
        wave[place] - wave[(place + m - 1) % m],
        width_s,
        change,
    )
    ends: cython.double = _slope(
        width_s,
        change,
        _step_s(time_s, period_s, (place + 1) % m),
        wave[(place + 2) % m] - wave[(place + 1) % m],
    )
    begins, ends = begins * width_s / change, ends * width_s / change
    wanted: cython.double = (level - wave[place]) / change
    share: cython.double = wanted
    rest: cython.double
    reached: cython.double
    slope: cython.double
    for _ in range(CROSSING_STEPS):
        rest = 1.0 - share
        reached = share * (begins * rest * rest + share * (3.0 - 2.0 * share - ends * rest))
        slope = begins * rest * (1.0 - 3.0 * share)
        slope += share * (6.0 * rest - ends * (2.0 - 3.0 * share))
        share = min(max(share + (wanted - reached) / max(slope, MIN_SLOPE), 0.0), 1.0)
    return begin_s + width_s * share


@cython.cfunc
@cython.exceptval(check=False)
def _step_s(
    time_s: cython.const[cython.double][::1], period_s: cython.double, place: cython.Py_ssize_t
) -> cython.double:
    """From a point to the next one, round the period."""
    if place + 1 < time_s.shape[0]:
        return time_s[place + 1] - time_s[place]
    return time_s[0] + period_s - time_s[place]


@cython.cfunc
@cython.exceptval(check=False)
def _slope(
    before_s: cython.double, before: cython.double, after_s: cython.double, after: cython.double
) -> cython.double:
    """Slope at a point between two changes: the harmonic mean of both chords', weighted."""
    if before_s <= 0.0:
        return after / after_s
    own: cython.double = 2.0 * after_s + before_s
    other: cython.double = after_s + 2.0 * before_s
    if before * after <= 0.0:
        return 0.0
    return (own + other) / (own * before_s / before + other * after_s / after)


@cython.ccall
def highest(
    phase_rad: cython.const[cython.double][:, ::1],
    wave: cython.const[cython.double][:, ::1],
    peak: cython.double[::1],
) -> cython.void:
    """Highest values of periodic waveforms: of the parabola through a point and its neighbours.

    It rises above the point no more than what bends as the waveform does on its flatter side: one
    that springs up and stays there is no parabola.

    Parameters
    ----------
    phase_rad, wave : ndarray, shape (n, m)
    peak : ndarray, shape (n,)
        For the answer.
    """
    row: cython.Py_ssize_t
    p: cython.Py_ssize_t
    m: cython.Py_ssize_t = wave.shape[1]
    turn: cython.double = 2.0 * pi
    here: cython.double
    beyond: cython.double
    down_left: cython.double
    down_right: cython.double
    left: cython.double
    right: cython.double
    near: cython.double
    far: cython.double
    above: cython.double
    for row in range(wave.shape[0]):
        peak[row] = wave[row, 0]
        for p in range(m):
            here = wave[row, p]
            down_left = here - wave[row, p - 1 if p > 0 else m - 1]
            down_right = here - wave[row, p + 1 if p < m - 1 else 0]
            peak[row] = max(peak[row], here)
            if min(down_left, down_right) < 0.0 or down_left + down_right == 0.0:
                continue
            left = _step_s(phase_rad[row], turn, (p + m - 1) % m)
            right = _step_s(phase_rad[row], turn, p)
            if down_left > down_right:
                near, far = right, _step_s(phase_rad[row], turn, (p + 1) % m)
                beyond = wave[row, (p + 2) % m]
            else:
                near, far = left, _step_s(phase_rad[row], turn, (p + m - 2) % m)
                beyond = wave[row, (p + m - 2) % m]
            if min(left, right, far) <= 0.0:
                continue
            above = (down_right * left * left - down_left * right * right) ** 2
            above /= 4.0 * left * right * (left + right) * (down_right * left + down_left * right)
            beyond = (here - beyond) * max(left, right) ** 2 / (4.0 * far * (near + far))
            peak[row] = max(peak[row], here + min(above, beyond))


@cython.ccall
def collect(
    led_a: cython.const[cython.double][:, ::1],
    corner_log: cython.const[cython.double][::1],
    ratio_log: cython.const[cython.double][:, ::1],
    share: cython.const[cython.double][:, ::1],
    light_a: cython.double[:, ::1],
) -> cython.void:
    """Add what a LED calls for to the current in a phototransistor.

    Parameters
    ----------
    led_a, light_a : ndarray, shape (n, m)
    corner_log : ndarray, shape (c,)
        Logs of LED currents between which CTR is a power of the current, rising.
    ratio_log : ndarray, shape (n, c)
        Logs of CTR there; below the first it stays, above the last it goes on.
    share : ndarray, shape (n, 1)
        Of that CTR.
    """
    row: cython.Py_ssize_t
    p: cython.Py_ssize_t
    k: cython.Py_ssize_t = 0
    last: cython.Py_ssize_t = corner_log.shape[0] - 2
    at: cython.double
    steepness: cython.double
    for row in range(led_a.shape[0]):
        for p in range(led_a.shape[1]):
            if led_a[row, p] <= 0.0:
                continue
            at = max(log(led_a[row, p]), corner_log[0])
            while k > 0 and at < corner_log[k]:
                k -= 1
            while k < last and at > corner_log[k + 1]:
                k += 1
            steepness = (ratio_log[row, k + 1] - ratio_log[row, k]) / (
                corner_log[k + 1] - corner_log[k]
            )
            at = ratio_log[row, k] + steepness * (at - corner_log[k])
            light_a[row, p] += share[row, 0] * led_a[row, p] * exp(at)


@cython.ccall
def lag(
    wave: cython.double[:, ::1],
    interval_s: cython.const[cython.double][:, ::1],
    time_constant_s: cython.const[cython.double][:, ::1],
    closed: cython.bint,
) -> cython.void:
    """Let waveforms lag, of first order, on two straight lines from each point to the next.

    They meet half way on a cubic that rises and falls as the points do.

    Parameters
    ----------
    wave, interval_s : ndarray, shape (n, m)
    time_constant_s : ndarray, shape (n, 1)
    closed : bool
        Periodic; else it begins where the waveform does.
    """
    row: cython.Py_ssize_t
    p: cython.Py_ssize_t
    m: cython.Py_ssize_t = wave.shape[1]
    width_s: cython.double
    next_s: cython.double
    x: cython.double
    decay: cython.double
    ramp: cython.double
    first: cython.double
    before: cython.double
    half_way: cython.double
    here: cython.double
    after: cython.double
    slope: cython.double
    last: cython.double
    left: cython.double
    for row in range(wave.shape[0]):
        first, before, here, last, left = wave[row, 0], wave[row, m - 1], wave[row, m - 2], 0.0, 1.0
        if not closed:
            before = here = last = first
        width_s = interval_s[row, 0]
        slope = _slope(interval_s[row, m - 1], before - here, width_s, first - before)
        for p in range(m):
            here, x = wave[row, p], width_s / (2.0 * time_constant_s[row, 0])
            after = wave[row, p + 1] if p < m - 1 else first if closed else here
            half_way = 0.5 * (before + here) + 0.125 * width_s * slope
            next_s = interval_s[row, p + 1 if p < m - 1 else 0]
            slope = _slope(width_s, here - before, next_s, after - here)
            half_way -= 0.125 * width_s * slope
            width_s = next_s
            decay = exp(-x)
            ramp = (1.0 - decay) / x
            left *= decay * decay
            last = last * decay * decay if fabs(last) > NOTHING else 0.0
            last += decay * (before * (ramp - decay) + half_way * (1.0 - ramp))
            last += half_way * (ramp - decay) + here * (1.0 - ramp)
            before = here
            wave[row, p] = last
        if not closed:
            continue
        # what the period before left: it ended as this one does
        last /= 1.0 - left
        for p in range(m):
            last *= exp(-interval_s[row, p] / time_constant_s[row, 0])
            if last < NOTHING:
                break
            wave[row, p] += last
