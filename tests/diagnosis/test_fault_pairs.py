"""Two faults at once: which are listed, and that a pair on two sides reads as its own circuit."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from tests.diagnosis.boards import board
from zcd.circuit.elements import stack
from zcd.diagnosis.fault_dictionary import make_fault_dictionary
from zcd.diagnosis.fault_pairs import MAX_PAIRS
from zcd.diagnosis.faults import reads_alike
from zcd.diagnosis.meters import usual_meter
from zcd.diagnosis.samples import sample_circuits, sample_meter

SAMPLES = 6
TRIED = 8


@pytest.mark.parametrize(
    "name",
    [
        *("switched", "two-led"),
        *(pytest.param(name, marks=pytest.mark.slow) for name in ("bridge", "emitter follower")),
    ],
)
def test_a_pair_on_two_sides_reads_as_its_own_circuit(name: str) -> None:
    """Against the circuit with both faults in it: every reading, at sizes of every band."""
    dictionary = make_fault_dictionary(board(name), usual_meter(), samples=SAMPLES)
    faults = {fault.key: fault for fault in dictionary.faults}
    alike = list(filter(reads_alike, dictionary.faults))
    pairs = [fault for fault in alike if fault.on_two_sides]
    assert len(pairs) > TRIED
    healthy, _ = sample_circuits(dictionary.board, SAMPLES)
    rows, picks = [], np.linspace(0, len(pairs) - 1, TRIED).astype(int)
    for pick in picks:
        circuit = healthy
        entries_of = dictionary.alike[:2, alike.index(pairs[pick])]
        for key, entries in zip(pairs[pick].members, entries_of, strict=True):
            circuit = faults[key].edit(circuit, dictionary.severity[entries, np.arange(SAMPLES)])
        rows.append(circuit)
    which = np.tile(np.arange(SAMPLES), TRIED)
    bench = sample_meter(dictionary.board, stack(rows), usual_meter(), SAMPLES, which)
    numbers = [alike.index(pairs[pick]) for pick in picks]
    for reading in dictionary.readings:
        shown = bench.read([reading])[:, 0].reshape(TRIED, SAMPLES)
        like = dictionary.predictions(reading)[np.add(dictionary.circuits, numbers)]
        # points in time stand elsewhere, and where all is open that is millivolts
        assert_allclose(like, shown, rtol=0.01, atol=0.02, err_msg=reading.words)


@pytest.mark.parametrize("name", ["switched", "bridge", "parallel"])
def test_no_pair_is_listed_twice_and_circuits_are_few(name: str) -> None:
    dictionary = make_fault_dictionary(board(name), usual_meter(), samples=1)
    pairs = [fault for fault in dictionary.faults if fault.members]
    assert len({frozenset(fault.members) for fault in pairs}) == len(pairs)
    assert sum(not fault.on_two_sides for fault in pairs) <= MAX_PAIRS
