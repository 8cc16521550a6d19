"""Parts put in place of others: what the fields then say."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from zcd.board import optocouplers, parts_library
from zcd.board.model import Board, Optocoupler, Resistor
from zcd.board.traced import KEY as CIRCUIT
from zcd.board.traced import with_marking, with_string
from zcd.board.units import format_si
from zcd.web.board_fields import PARALLEL
from zcd.web.board_form import file_of, texts_of
from zcd.web.resistor_rows import Texts

DIGITS = 12


def fitted(texts: Mapping[str, str], before: Board, after: Board) -> Texts:
    """The fields of a board with other parts in it.

    Parameters
    ----------
    texts : mapping
        What stands in the fields of the board as it is.
    before : Board
        That board.
    after : Board
        With other resistors, optocoupler or diodes, as a search of the drawer gives it.

    Returns
    -------
    texts : dict
        Their board is the one with the other parts.
    """
    whole = file_of(texts)
    if after.traced is not None:
        _put_traced(whole, before, after)
    elif (before.chains, before.return_chain) != (after.chains, after.return_chain):
        _put_chains(whole, before, after)
    for key, now, new in (
        ("rectifier", before.rectifier, after.rectifier),
        ("clamp", before.clamp, after.clamp),
    ):
        if new is not None and new != now:
            whole[key] = {**whole[key], "part": new.part}
    if after.optocoupler is not None and after.optocoupler != before.optocoupler:
        whole["optocoupler"] = _optocoupler(after.optocoupler)
    if after.output.resistor is not None and after.output.resistor != before.output.resistor:
        key = "pull_up" if "pull_up" in whole["output"] else "pull_down"
        item = _resistor(after.output.resistor)
        if item["ref"] == "pull-up" or item["ref"] == "pull-down":
            del item["ref"]  # the name that it has where the file gives none
        whole["output"][key] = item
    return texts_of(whole)


def _put_traced(whole: dict[str, Any], before: Board, after: Board) -> None:
    """Other resistors, diodes, transistor in the lines of a traced circuit."""
    lines = whole[CIRCUIT]
    for old, new in zip(before.chains, after.chains, strict=True):
        if old != new:
            items = [f"{part.ref} {_marking(part)}" for part in new]
            lines = with_string(lines, [part.ref for part in old], items)
    for was, diode in zip(before.diodes, after.diodes, strict=True):
        if was != diode:
            lines = with_marking(lines, diode.ref, diode.part)
    if (part := after.transistor) is not None and part != before.transistor:
        lines, said = with_marking(lines, part.ref, part.part), f"{part.ref} {part.part}"
        lines = lines if said in lines else [*lines, said]
    whole[CIRCUIT] = lines


def _marking(part: Resistor) -> str:
    """What a line says of a resistor."""
    ohm = format_si(part.resistance_ohm, "Ω", digits=DIGITS)
    return f"{ohm} {format_si(part.tolerance_ratio, '%')} {part.style}"


def _put_chains(whole: dict[str, Any], before: Board, after: Board) -> None:
    """Every resistor of the chain with its reference, as counting would give them others."""
    first, *others = after.chains
    chain = whole["chain"]
    old = {r.ref: r for c in (*before.chains, before.return_chain) for r in c}
    written = _written(chain, before)

    def items(parts: Sequence[Resistor]) -> list[dict[str, Any]]:
        return [
            {**written[r.ref], "ref": r.ref} if old.get(r.ref) == r else _resistor(r) for r in parts
        ]

    chain["resistors"] = items(first)
    if after.return_chain:
        chain["return_resistors"] = items(after.return_chain)
    if others:
        chain[PARALLEL.partition(".")[2]] = [items(string) for string in others]
    if "joint_capacitor" in chain:
        chain["joint_capacitor"] = {**chain["joint_capacitor"], "after": after.joint}


def _written(chain: Mapping[str, Any], board: Board) -> dict[str, dict[str, Any]]:
    """What the file says of each resistor of the chain, by reference."""
    lists = [chain["resistors"], *chain.get("parallel", []), chain.get("return_resistors", [])]
    strings = [*board.chains, board.return_chain]
    return {
        part.ref: item if isinstance(item, dict) else {"value": item}
        for string, items in zip(strings, lists, strict=True)
        for part, item in zip(string, items, strict=True)
    }


def _resistor(part: Resistor) -> dict[str, Any]:
    """A resistor as a board file says it."""
    item = {
        "value": format_si(part.resistance_ohm, "Ω", digits=DIGITS),
        "ref": part.ref,
        "tolerance": format_si(part.tolerance_ratio, "%"),
        "style": part.style,
    }
    usual = parts_library.resistor_limits(part.style)
    if part.rated_power_w != usual.rated_power_w:
        item["power"] = format_si(part.rated_power_w, "W", digits=DIGITS)
    if part.working_v != usual.working_v:
        item["working_voltage"] = format_si(part.working_v, "V", digits=DIGITS)
    return item


def _optocoupler(part: Optocoupler) -> dict[str, Any]:
    """An optocoupler as a board file says it; a measured one by its CTR."""
    item = {"family": part.family, "ref": part.ref, "remaining": "100 %"}
    if part.ctr_min_ratio == part.ctr_max_ratio:
        item["ctr"] = format_si(part.ctr_ratio, "%", digits=DIGITS)
    return item if part.grade == optocouplers.UNRANKED else {**item, "grade": part.grade}
