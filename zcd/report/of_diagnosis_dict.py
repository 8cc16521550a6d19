"""Diagnosis and bench card as JSON objects for other programs."""

from __future__ import annotations

from zcd.circuit.elements import Circuit
from zcd.diagnosis.case import Case, ExpectedReadings
from zcd.diagnosis.expected_readings import ExpectedRange
from zcd.diagnosis.functions import Function
from zcd.diagnosis.job import Job
from zcd.diagnosis.next_reading import Answer, Outcome
from zcd.diagnosis.rank import Diagnosis, Ranked
from zcd.diagnosis.readings import Measured, Reading, parts_over
from zcd.diagnosis.retest import RepeatedReading
from zcd.report.of_diagnosis import unseen_parts
from zcd.serialize import Record


def expected_readings_to_dict(expected_readings: ExpectedReadings) -> Record:
    """The bench card, ready for `json.dumps`."""
    return {
        "board": expected_readings.board.name,
        "readings": [
            {
                **reading_to_dict(line.reading, expected_readings.circuit),
                "side": line.access,
                "healthy": _shown_to_dict(line.reading.function, line.healthy),
                "faults": {
                    key: _shown_to_dict(line.reading.function, shown)
                    for key, shown in line.faults.items()
                },
            }
            for line in expected_readings.lines
        ],
        "assumptions": expected_readings.board.assumptions,
        "read_as": expected_readings.board.read_as,
    }


def diagnosis_to_dict(job: Job, circuit: Circuit, diagnosis: Diagnosis) -> Record:
    """What the readings say, ready for `json.dumps`."""
    suggestion = diagnosis.suggestion
    following = None
    if suggestion is not None:
        function = suggestion.reading.function
        following = {
            **reading_to_dict(suggestion.reading, circuit),
            "side": suggestion.access,
            f"range_{function.row.unit_ending}": suggestion.full_scale,
            "gain_bits": suggestion.gain_bits,
            "open_bits": suggestion.open_bits,
            "outcomes": [_outcome_to_dict(function, o) for o in suggestion.outcomes],
            "answers": [_answer_to_dict(function, a) for a in suggestion.answers],
        }
    return {
        "board": job.board.name,
        "flags": job.flags,
        "codes": dict(job.codes),
        "conclusion": diagnosis.conclusion,
        "stopped": diagnosis.stopped or None,
        "alike": [r.key for r in diagnosis.indistinguishable],
        "alike_ratio": diagnosis.named_ratio,
        "measured": [measured_to_dict(m, circuit) for m in diagnosis.measured],
        "suspects": [measured_to_dict(m, circuit) for m in diagnosis.suspects],
        "unseen": unseen_parts(diagnosis, circuit),
        "ranked": [_ranked_to_dict(r) for r in diagnosis.ranked],
        "next_reading": following,
        "assumptions": job.board.assumptions,
        "read_as": job.board.read_as,
    }


def case_to_dict(case: Case) -> Record:
    """What the readings of a job say, and how many closed jobs had a say in it."""
    jobs = 0 if case.known is None else case.known.jobs
    record = diagnosis_to_dict(case.job, case.circuit, case.diagnosis)
    return {**record, "closed_jobs": jobs}


def reading_to_dict(reading: Reading, circuit: Circuit) -> Record:
    return {
        "function": reading.function,
        "red": reading.red,
        "black": reading.black,
        "over": reading.lifted or parts_over(circuit, reading.red, reading.black) or None,
        "lifted": bool(reading.lifted),
        "power": reading.power,
    }


def measured_to_dict(measured: Measured, circuit: Circuit) -> Record:
    unit = measured.reading.function.row.unit_ending
    return {
        **reading_to_dict(measured.reading, circuit),
        f"value_{unit}": None if measured.unstable else measured.value,
        f"low_{unit}": measured.low,
        f"high_{unit}": measured.high,
        "about": measured.about,
        "unstable": measured.unstable,
    }


def repeated_to_dict(again: RepeatedReading, circuit: Circuit) -> Record:
    """A reading beside what a good board shows."""
    unit = again.measured.reading.function.row.unit_ending
    return {
        **measured_to_dict(again.measured, circuit),
        "good": again.good,
        "healthy": {f"low_{unit}": again.low, f"high_{unit}": again.high},
    }


def _shown_to_dict(function: Function, shown: ExpectedRange) -> Record:
    unit = function.row.unit_ending
    return {
        f"low_{unit}": shown.low,
        f"middle_{unit}": shown.middle,
        f"high_{unit}": shown.high,
    }


def _outcome_to_dict(function: Function, outcome: Outcome) -> Record:
    low, middle, high = outcome.value
    shown = ExpectedRange(low=low, middle=middle, high=high)
    return {"fault": outcome.key, **_shown_to_dict(function, shown)}


def _answer_to_dict(function: Function, answer: Answer) -> Record:
    unit = function.row.unit_ending
    return {
        f"low_{unit}": answer.low,
        f"high_{unit}": answer.high,
        "faults": answer.keys,
        "jumps": answer.jumps,
    }


def _ranked_to_dict(ranked: Ranked) -> Record:
    fault = ranked.fault
    amount = None
    if fault is not None and ranked.amount is not None:
        low, middle, high = ranked.amount
        amount = {"low": low, "middle": middle, "high": high, "unit": fault.unit}
    return {
        "fault": ranked.key,
        "part": fault.part if fault else None,
        "mode": fault.mode if fault else None,
        "probability_ratio": ranked.probability,
        "words": ranked.words,
        "amount": amount,
    }
