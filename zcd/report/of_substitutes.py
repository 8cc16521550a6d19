"""Parts in place of failed ones, as tables of words."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby
from math import isnan

from zcd.board.model import Optocoupler, Topology
from zcd.margin.rules import Rule
from zcd.margin.spread import AT_CORNER
from zcd.margin.stress import ResistorStress
from zcd.report.table import FAIL, Table
from zcd.report.text import limit_text, plain, quantity_text, rule_value_text, share_text
from zcd.substitutes.chain_parts import ChainFits, Fit
from zcd.substitutes.search import Substitutes
from zcd.substitutes.single_parts import PullUps, Swap, has_its_leds, reverse_ratio

NUMBERS = ("one part", "two", "three", "four")


def groups_line(groups: Sequence[Sequence[str]]) -> str:
    """Why the chain as a whole was not asked for."""
    listed = " | ".join(", ".join(plain(ref) for ref in group) for group in groups)
    return (
        f"They carry different currents, group by group: {listed}. What fits in one depends on the "
        "others: name resistors of one group with --for."
    )


def chain_lines(fits: ChainFits) -> tuple[str, ...]:
    """What the search of the drawer came to, in sentences."""
    place = fits.place
    refs = ", ".join(plain(part.ref) for part in place.replaced)
    stays = ", ".join(plain(part.ref) for part in place.kept)
    lines = [
        f"In place of {refs}{f' ({stays} in series stays)' if stays else ''}, from "
        f"{fits.stock} different resistors:"
    ]
    total = sum(fits.counts)
    if total:
        listed = ", ".join(
            f"{count} of {words}" for count, words in zip(fits.counts, NUMBERS, strict=True)
        )
        lines.append(f"{total} combinations keep all rules, worst corners included: {listed}.")
    else:
        lines.append("No combination of up to four keeps all rules.")
    return (*lines, *_range_lines(fits))


def _range_lines(fits: ChainFits) -> list[str]:
    """Totals that all rules about the total allow."""
    ranges = fits.ranges
    result: dict[str, list[str]] = {}
    for tolerance, edges in zip(ranges.tolerances, ranges.edges_ohm, strict=True):
        shown = [f"{_ohm_text(low)} to {_ohm_text(high)}" for low, high in edges if low < high]
        if shown:
            result.setdefault(" or ".join(shown), []).append(quantity_text(tolerance, "%"))
    lines = [
        f"A total{_of_text(widest) if len(result) > 1 else ''} from {shown} locks "
        "with the headroom asked for."
        for shown, widest in result.items()
    ]
    if lines:
        lines.append(_corner_line(fits))
    else:
        lines.append(
            f"No total would do; at {_ohm_text(ranges.totals_ohm[0])}, the nearest, "
            f"{reason_text(ranges.nearest.tightest, ())}."
        )
    return lines


def _corner_line(fits: ChainFits) -> str:
    """Between what the total must stay as it really is."""
    shown = [
        f"{_ohm_text(one.lowest_ohm)} to {_ohm_text(one.highest_ohm)}" for one in fits.true_ranges
    ]
    if not shown:
        return "None holds at the worst corners of the tolerances of the other parts."
    return (
        f"As it really is, with its own tolerances up or down, it must stay within "
        f"{' or '.join(shown)}, whatever the tolerances of all other parts do."
    )


def _of_text(tolerances: Sequence[str]) -> str:
    return f" of {' or '.join(tolerances)} parts"


def fits_table(fits: Sequence[Fit]) -> Table:
    """Combinations that keep all rules, with the load of each part."""
    rows: list[tuple[str, ...]] = []
    for number, fit in enumerate(fits, start=1):
        for k, (stress, count) in enumerate(_different(fit)):
            first = (
                str(number),
                quantity_text(sum(part.resistance_ohm for part in fit.parts), "Ω"),
                f"{fit.verdict.margin_ratio:.2f}",
            )
            lead, *rest = first if k == 0 else ("", "", "")
            rows.append((lead, _part_text(stress, count), *rest, *_load_texts(stress)))
    return Table(
        title="The best of each number of parts, fewest parts first",
        columns=("", "parts in series", "together", "margin", "power", "voltage"),
        rows=tuple(rows),
        right=(0, 2, 3, 4, 5),
        remark="margin: how many times the tightest rule is kept, worst corners included. power, "
        "voltage: of each part, and its share of the limit, at high mains, with tolerances at "
        "their worse ends.",
    )


def misses_table(fits: Sequence[Fit]) -> Table:
    """Some combinations that just fail, and why."""
    return Table(
        title="What just fails, and why",
        columns=("parts in series", "together", "fails"),
        rows=tuple(
            (
                " + ".join(_part_text(stress, count) for stress, count in _different(fit)),
                quantity_text(sum(part.resistance_ohm for part in fit.parts), "Ω"),
                reason_text(fit.verdict.tightest, fit.stresses),
            )
            for fit in fits
        ),
        right=(1,),
    )


def optocouplers_table(substitutes: Substitutes) -> Table:
    """Optocouplers on the board as it is, each as new."""
    now = substitutes.board.optocoupler
    return Table(
        title=f"Optocouplers in place of {plain(now.ref)}, each as new",
        columns=("part", "CTR", "headroom", "pins", "verdict", "what decides"),
        rows=tuple(
            (
                _name_text(swap),
                _ctr_text(swap.verdict.board.optocoupler),
                _headroom_text(swap),
                "same" if swap.verdict.board.optocoupler.family == now.family else "CHECK",
                _verdict_text(swap),
                _decides_text(swap),
            )
            for swap in substitutes.optocouplers or ()
        ),
        right=(2,),
        remark="headroom: the CTR may fall to 1/n before lock is lost, under the weak conditions. "
        "pins: another family may have another pin-out, another distance between its rows of pins "
        "and less isolation: check the pin-out before it goes in. A measured part goes into the "
        "drawer file with its own ctr.",
    )


def passed_over_line(substitutes: Substitutes) -> str:
    """Optocouplers of the drawer with another number of LEDs; empty: none."""
    others = [
        o.part for o in substitutes.drawer.optocouplers if not has_its_leds(o, substitutes.board)
    ]
    names = ", ".join(dict.fromkeys(plain(f"{part.family} {part.grade}") for part in others))
    count = "two LEDs" if substitutes.board.topology is Topology.TWO_LED else "one LED"
    return names and f"Passed over: {names}; this board needs an optocoupler with {count}."


def pull_up_lines(pull_ups: PullUps) -> tuple[str, ...]:
    """The range of pull-ups, and what ends it."""
    lines = []
    for low, high in pull_ups.ranges:
        lines.append(
            f"All rules are kept from {_ohm_text(low.ohm)} to {_ohm_text(high.ohm)}, worst corners "
            "included, with a tolerance like that of the present one."
        )
        lines += [
            f"{which}: {reason_text(end.beyond.tightest, ())}."
            for which, end in (("Below it", low), ("Above it", high))
            if end.beyond is not None
        ]
    if pull_ups.nearest is not None:
        ohm = pull_ups.nearest.board.output.resistor.resistance_ohm
        reason = reason_text(pull_ups.nearest.tightest, ())
        lines.append(f"No value of it would do; at {_ohm_text(ohm)}, the nearest, {reason}.")
    return tuple(lines)


def pull_ups_table(pull_ups: PullUps) -> Table:
    """Resistors of the drawer as pull-up."""
    return Table(
        title="Of the drawer, those nearest to the middle of the range",
        columns=("value", "style", "headroom", "verdict", "what decides"),
        rows=tuple(
            (
                _ohm_text(swap.verdict.board.output.resistor.resistance_ohm),
                _name_text(swap),
                _headroom_text(swap),
                _verdict_text(swap),
                _decides_text(swap),
            )
            for swap in pull_ups.swaps
        ),
        right=(0, 2),
    )


def diodes_table(ref: str, swaps: Sequence[Swap]) -> Table:
    """Diodes in place of one."""
    return Table(
        title=f"Diodes in place of {plain(ref)}",
        columns=("part", "reverse rating", "verdict", "what decides"),
        rows=tuple(
            (
                _name_text(swap),
                f"{reverse_ratio(swap, ref):.3g} times",
                _verdict_text(swap),
                "too few of it in the drawer"
                if swap.verdict.passes and swap.too_few
                else _decides_text(swap),
            )
            for swap in swaps
        ),
        right=(1,),
        remark="reverse rating: how many times that of the reverse voltage it bears.",
    )


def _name_text(swap: Swap) -> str:
    return f"{swap.name} (now)" if swap.fitted else swap.name


def _ohm_text(ohm: float) -> str:
    return quantity_text(ohm, "Ω")


def _ctr_text(part: Optocoupler) -> str:
    low, high = part.ctr_min_ratio, part.ctr_max_ratio
    return f"{100 * low:.0f} %" if low == high else f"{100 * low:.0f}-{100 * high:.0f} %"


def _headroom_text(swap: Swap) -> str:
    rule = next(rule for rule in swap.verdict.rules if rule.name == "CTR headroom")
    return rule_value_text(rule)


def _verdict_text(swap: Swap) -> str:
    return "fits" if swap.fits else FAIL


def _decides_text(swap: Swap) -> str:
    return "" if swap.verdict.passes else reason_text(swap.verdict.tightest, ())


def reason_text(rule: Rule[float], stresses: Sequence[ResistorStress]) -> str:
    """Why a rule fails; a new resistor goes by its value, as it has no reference yet."""
    name = plain(rule.name)
    for stress in stresses:
        part = stress.resistor
        ref, _, what = rule.name.removeprefix(AT_CORNER).rpartition(" ")
        if ref == part.ref:
            where = AT_CORNER if rule.name.startswith(AT_CORNER) else ""
            name = f"{where}{what} of {quantity_text(part.resistance_ohm, 'Ω')}"
    if isnan(rule.limit):
        return f"{name} {plain(rule.remark)}" if rule.remark else name
    return f"{name}: {rule_value_text(rule)}, asked {limit_text(rule)}"


def _different(fit: Fit) -> list[tuple[ResistorStress, int]]:
    """Different parts of a combination, and how often each is in it."""
    groups = groupby(fit.stresses, key=lambda s: (s.resistor.resistance_ohm, s.resistor.style,
                                                  s.resistor.tolerance_ratio))  # fmt: skip
    result = []
    for _, group in groups:
        members = list(group)
        result.append((members[0], len(members)))
    return result


def _part_text(stress: ResistorStress, count: int) -> str:
    part = stress.resistor
    return f"{count} x {quantity_text(part.resistance_ohm, 'Ω')} {part.style}"


def _load_texts(stress: ResistorStress) -> tuple[str, str]:
    power_w, film_v = float(stress.power_w.max()), float(stress.judged_v.max())
    return (
        f"{quantity_text(power_w, 'W')} {share_text(power_w, stress.power_limit_w)}",
        f"{quantity_text(film_v, 'V')} {share_text(film_v, stress.voltage_limit_v)}",
    )
