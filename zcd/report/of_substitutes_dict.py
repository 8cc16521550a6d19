"""What to fit in place of parts, as one JSON object for other programs."""

from __future__ import annotations

from zcd.report.of_substitutes import low_times_s, proposal_line
from zcd.serialize import Record
from zcd.simulation.drive_parts import Replacements, Switches, allowed_current_a
from zcd.substitutes.proposals import Answer, Part, Proposal
from zcd.substitutes.search import Substitutes, to_buy

_KEYS = (
    "ref", "resistance_ohm", "tolerance_ratio", "style", "rated_power_w", "working_v", "part",
    "family", "grade", "ctr_min_ratio", "ctr_max_ratio",
)  # fmt: skip


def substitutes_to_dict(result: Replacements) -> Record:
    """What to fit in place of the parts asked for, in SI units, ready for `json.dumps`."""
    found, drive = result.found, result.drive
    return {
        "board": found.board.name,
        "drawer": found.drawer.name,
        "original": {
            "passes": not found.original.failed,
            "failed": [rule.name for rule in found.original.failed],
            "low_time_s": low_times_s(found.original),
        },
        "answers": [_answer(found, answer) for answer in found.answers],
        "drive": None if drive is None else _drive(drive),
        "assumptions": (*found.board.assumptions, *found.drawer.assumptions),
        "left_out": found.drawer.left_out,
    }


def _answer(found: Substitutes, answer: Answer) -> Record:
    return {
        "kind": answer.kind,
        "replaced": [part.ref for part in answer.replaced],
        "kept": [part.ref for part in answer.kept],
        "proposals": [_proposal(found, answer, each) for each in answer.proposals],
        "others": [_proposal(found, answer, each) for each in answer.others],
        "buy": [] if answer.proposals else [_part(p) for p in to_buy(found.original, answer)],
    }


def _proposal(found: Substitutes, answer: Answer, proposal: Proposal) -> Record:
    verdict = proposal.verdict
    return {
        "parts": [_part(part) for part in proposal.parts],
        "closeness": str(proposal.closeness),
        "words": proposal_line(found, answer, proposal),
        "passes": verdict.passes,
        "failed": [rule.name for rule in verdict.failed],
        "low_time_s": low_times_s(verdict),
        "resistors": [
            {
                "ref": stress.resistor.ref,
                "power_w": float(stress.power_w.max()),
                "power_limit_w": stress.power_limit_w,
                "working_stress_v": float(stress.working_stress_v.max()),
                "voltage_limit_v": stress.voltage_limit_v,
            }
            for stress in verdict.resistors
        ],
    }


def _part(part: Part) -> Record:
    return {key: getattr(part, key) for key in _KEYS if hasattr(part, key)}


def _drive(switches: Switches) -> Record:
    need = switches.need
    return {
        "running_a": need.running_a,
        "blocked_a": need.blocked_a,
        "ambient_degc": need.ambient_degc,
        "parts": [
            {
                "part": fit.part.part,
                "kind": fit.part.kind,
                "mode": fit.part.mode,
                "fits": fit.fits,
                "allowed_a": allowed_current_a(fit.part, need.ambient_degc)[0],
                "off_state_v": fit.part.off_state_v,
                "trigger_a": fit.part.trigger_a,
                "unread": fit.unread,
                "rules": fit.rules,
            }
            for fit in switches.fits
        ],
    }
