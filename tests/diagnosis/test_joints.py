"""An open joint between two parts of the string: named where each part reads good from lead to lead
and both together are open."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose
from numpy.typing import NDArray

import zcd
from tests.diagnosis.boards import RESISTORS, SWITCHED, edited
from zcd.circuit.build import build_circuit
from zcd.circuit.elements import Circuit, Resistance, stack
from zcd.diagnosis.fault_dictionary import make_fault_dictionary
from zcd.diagnosis.faults import faults_of, reads_alike
from zcd.diagnosis.functions import Function
from zcd.diagnosis.meters import usual_meter
from zcd.diagnosis.readings import Reading
from zcd.diagnosis.samples import sample_circuits, sample_meter
from zcd.diagnosis.trip import plan_trip
from zcd.report.of_diagnosis_answer import with_tracks_first

FloatArray = NDArray[np.float64]

SAMPLES = 6
CRACKED = "R2's own lead"
HAND_DRYER = """\
name = "Invented hand dryer"
mains = "230 V 50 Hz"
rectifier = "1N4007"
optocoupler = "817 B"
chain = {resistors = ["39k", "39k"], style = "1/2 W"}
output = {pull_up = "15k", supply = "5 V"}
feed = {kind = "switched", coil_supply = "12 V", coil_resistance = "200"}
"""
GLOVE_DRYER = """\
name = "Invented glove dryer"
mains = "230 V 50 Hz"
optocoupler = "817 B"
circuit = [
    "feed - R1 4k7 - h",
    "h - C1 47n - j",
    "h - R2 1M - j",
    "j - R3 4k7 - y",
    "y - D1 1N4007 < - neutral",
    "y - R5 330 - led+",
    "led- - neutral",
]
output = {pull_up = "6k8", pin_capacitor = "33 nF", supply = "5 V"}
feed = {kind = "switched", coil_supply = "24 V", coil_resistance = "1k2"}
"""


def cracked(circuit: Circuit, gap_ohm: FloatArray) -> Circuit:
    """With R2's lead off the point where it met R1, and what a crack still lets through."""
    r2 = circuit["R2"]
    assert isinstance(r2, Resistance)
    (met,) = set(r2.nodes) & set(circuit["R1"].nodes)
    ends = {"a": CRACKED} if r2.a == met else {"b": CRACKED}
    others = tuple(replace(e, **ends) if e.ref == "R2" else e for e in circuit)  # type: ignore[type-var]
    gap = Resistance(ref="gap", a=met, b=CRACKED, resistance_ohm=gap_ohm)
    return replace(circuit, elements=(*others, gap))


def on_lead(reading: Reading, circuit: Circuit, sample: int) -> Reading:
    """Where the probe goes: over a part on its own leads, else on either by turns."""
    r1, r2 = circuit["R1"].nodes, circuit["R2"].nodes
    (met,) = set(r1) & set(r2)
    ends = {reading.red, reading.black}
    if ends == set(r1) or (ends != set(r2) and sample % 2 == 1):
        return reading
    moved = {name: CRACKED for name in ("red", "black") if getattr(reading, name) == met}
    return replace(reading, **moved)


@pytest.mark.parametrize("name", ["switched", "two-led"])
def test_an_open_joint_reads_as_its_own_circuit(name: str) -> None:
    """Against the circuit with a crack in it and the probes on leads: every reading."""
    found = edited(RESISTORS, '["120k", "120k"]', name)  # a gap is as wide at either
    dictionary = make_fault_dictionary(found, usual_meter(), samples=SAMPLES)
    alike = [fault.key for fault in filter(reads_alike, dictionary.faults)]
    number = dictionary.circuits + alike.index("R1/R2 joint open")
    healthy, _ = sample_circuits(dictionary.board, SAMPLES)
    faults = {fault.key: n for n, fault in enumerate(dictionary.faults)}
    turn = np.arange(SAMPLES)
    open_ohm = []
    for ref in ("R1", "R2"):
        at = faults[f"{ref} open"]
        (severity,) = dictionary.severity[dictionary.member == at]
        opened = dictionary.faults[at].edit(healthy, severity)[ref]
        assert isinstance(opened, Resistance)
        open_ohm.append(opened.resistance_ohm)
    broken = cracked(healthy, np.where(turn % 2 == 0, *open_ohm))
    bench = sample_meter(dictionary.board, stack([broken]), usual_meter(), SAMPLES, turn)
    for reading in dictionary.readings:
        like = dictionary.predictions(reading)[number]
        shown = [
            bench.read([on_lead(reading, dictionary.circuit, k)])[k, 0] for k in range(SAMPLES)
        ]
        # the gap is in series with a part here, and in its place there
        assert_allclose(like, shown, rtol=0.02, atol=0.02, err_msg=reading.words)


def test_good_parts_that_are_open_together_have_an_open_joint() -> None:
    """By inspection: a sound part at each side, OL over both, twice; no power is needed."""
    string = ("ohm feed chain.2 OL", "ohm R1 39.1k", "ohm R2 38.8k")
    once = zcd.diagnose(zcd.loads(HAND_DRYER), *string, flags=("sync", "fan")).diagnosis
    assert once.ranked[0].key == "R1/R2 joint open"
    twice = zcd.diagnose(
        zcd.loads(HAND_DRYER), *string, "ohm feed chain.2 OL", flags=("sync", "fan")
    ).diagnosis
    assert (twice.ranked[0].key, twice.stopped) == ("R1/R2 joint open", "sure")


def test_a_part_that_is_open_is_not_its_joint() -> None:
    found = zcd.diagnose(
        zcd.loads(HAND_DRYER), "ohm feed chain.2 OL", "ohm R1 39.1k", "ohm R2 OL", flags=("sync",)
    ).diagnosis
    assert (found.ranked[0].key, found.stopped) == ("R2 open", "sure")


def test_diode_and_led_good_alone_and_open_together() -> None:
    """The same further down the string."""
    found = zcd.diagnose(
        zcd.loads(SWITCHED + 'rectifier = "1N4007"\n' + "[chain]\nstyle = \"1206\"\n"
                  'resistors = ["110k", "130k"]\n[output]\npull_up = "47k"\nsupply = "5 V"\n'),
        "diode chain.2 neutral OL", "diode D1 0.58 V", "diode led+ led- 1.08 V",
        "diode chain.2 neutral OL",
    ).diagnosis  # fmt: skip
    assert found.ranked[0].key == "D1/OC1 joint open"


def test_of_two_joints_the_one_is_found_by_reading_over_two_parts() -> None:
    """Three good resistors that are open together: over two of them shows which joint it is."""
    board = zcd.loads(HAND_DRYER.replace('["39k", "39k"]', '["39k", "39k", "39k"]'))
    taken = ("ohm R1 to R3 OL", "ohm R1 38k", "ohm R3 38.5k", "ohm R2 40.2k", "ohm R1 to R3 OL")
    asked = zcd.diagnose(board, *taken, flags=("sync", "fan")).diagnosis
    assert {r.key for r in asked.ranked[:2]} == {"R1/R2 joint open", "R2/R3 joint open"}
    assert asked.suggestion is not None
    pair = {asked.suggestion.reading.red, asked.suggestion.reading.black}
    assert pair in ({"feed", "chain.2"}, {"chain.1", "chain.3"})
    found = zcd.diagnose(board, *taken, "ohm R1 to R2 OL", flags=("sync", "fan")).diagnosis
    assert (found.ranked[0].key, found.stopped) == ("R1/R2 joint open", "sure")


GOOD_PARTS = ("ohm R1 to R2 78.1k", "diode chain.2 led+ 0.56 V", "diode led+ led- 1.06 V")


def test_a_track_from_the_mains_to_the_first_part() -> None:
    """By inspection: all parts are good from lead to lead, the mains is there, and no current. Any
    joint may be off but that which the row was read over."""
    live = ("dc pin logic0 5.0 V", "dc coil+ coil- 12 V", "ac feed neutral 231 V", "ac R1 0 V")
    board = zcd.loads(HAND_DRYER)
    found = zcd.diagnose(board, *GOOD_PARTS, *live, flags=("sync", "fan")).diagnosis
    joints = {"feed/R1", "R2/D1", "D1/OC1", "OC1/neutral"}
    assert {r.key for r in found.ranked[:4]} == {f"{joint} joint open" for joint in joints}
    through = found.suggestion
    assert through is not None
    assert (through.reading.function, through.reading.black) == (Function.DIODE, "neutral")
    more = "diode chain.2 neutral 1.62 V"
    left = zcd.diagnose(board, *GOOD_PARTS, *live, more, flags=("sync", "fan")).diagnosis
    assert {r.key for r in left.ranked[:2]} == {"feed/R1 joint open", "R2/D1 joint open"}


def test_a_track_from_the_led_to_neutral() -> None:
    """By inspection: open from the chain's end to neutral, and diode and LED good by themselves.
    With the joint between them off it would read the same."""
    found = zcd.diagnose(
        zcd.loads(HAND_DRYER), *GOOD_PARTS, "diode chain.2 neutral OL", "diode chain.2 neutral OL",
        flags=("sync", "fan"),
    ).diagnosis  # fmt: skip
    assert {r.key for r in found.ranked[:2]} == {"D1/OC1 joint open", "OC1/neutral joint open"}


def test_ends_that_share_their_point_have_no_joint_of_their_own() -> None:
    """Two resistors at neutral: which of them is off there, no joint says."""
    bridge = zcd.loads(
        'mains = "230 V 50 Hz"\nrectifier = "DB107"\noptocoupler = "817 C"\n'
        'chain = {topology = "bridge", resistors = ["68k"], return_resistors = [], style = "1 W"}\n'
        'output = {pull_up = "10k", supply = "5 V"}\n'
    )
    keys = {f.key for f in make_fault_dictionary(bridge, usual_meter(), samples=2).faults}
    assert not any("neutral joint" in key for key in keys)


def test_joints_at_both_ends_of_a_led_are_named_together() -> None:
    """Resistor and LED good from lead to lead, open together: volts on the LED hardly part the two
    joints, as the meter's own load lets them drift (by inspection)."""
    found = zcd.diagnose(
        zcd.loads(GLOVE_DRYER), "diode y neutral OL", "diode led+ led- 1.061", "ohm R5 325.6",
        "ohm led- led+ OL", "diode y neutral OL", "dc led+ led- 29.6 mV", "ac h j 32.18",
    ).diagnosis  # fmt: skip
    named = {r.fault.key for r in found.indistinguishable if r.fault}
    assert named == {"R5/OC1 joint open", "OC1/neutral joint open"}


def test_tracks_are_followed_dead_before_a_reading_on_the_mains() -> None:
    """Every part good by dead tests, no pulses: what ohms along a track show needs no mains (HSE
    guidance note GS38 on live work), and is in no answer to the reading that does."""
    case = zcd.diagnose(
        zcd.loads(HAND_DRYER), "ohm R1 to R2 78.2k", "diode chain.2 led+ 0.58 V",
        "diode led+ led- 1.06 V", "ohm pin logic0 OL", "ohm logic+ pin 15k", "ohm K1.coil 200",
        "dc pin logic0 5 V", "dc coil+ coil- 12 V", flags=("sync", "fan"),
    )  # fmt: skip
    assert case.next_reading is not None
    trip = plan_trip(case.dictionary, case.diagnosis, flags=case.job.flags)
    step, first = with_tracks_first(trip, case.circuit)
    tracks = ("D1/OC1 joint open", "OC1/neutral joint open", "feed/R1 joint open")
    assert "along the tracks D1 to led+ of OC1; led- of OC1 to neutral; feed to R1." in first
    before = {key for answer in case.next_reading.answers for key in answer.keys}
    left = {key for answer in step.answers for key in answer.keys}
    assert before - left == {*tracks}


def test_each_joint_has_a_name_of_its_own() -> None:
    """Both DC pins of a bridge lead to the LED: what is known of the joint at one of them says
    nothing of the other."""
    board = edited('"1N4007"', '"MB6S"', "bridge")
    keys = [fault.key for fault in faults_of(build_circuit(board))]
    assert sorted(keys) == sorted({*keys})
    assert sum("/OC1 joint" in key for key in keys) == 2
