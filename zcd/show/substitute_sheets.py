"""Parts in place of failed ones, as tables of words."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby

from zcd.margin.chain_parts import ChainFits, Fit
from zcd.margin.check import Rule
from zcd.margin.stress import ResistorStress
from zcd.show.sheets import Sheet
from zcd.show.wording import found_text, limit_text, plain, quantity_text, share_text

NUMBERS = ("one part", "two", "three", "four")


def chain_lines(fits: ChainFits) -> tuple[str, ...]:
    """What the search of the drawer came to, in sentences."""
    place = fits.place
    refs = ", ".join(plain(part.ref) for part in place.replaced)
    lines = [f"In place of {refs} ({_kept_text(fits)}), from {fits.stock} different resistors:"]
    total = sum(fits.counts)
    if total:
        listed = ", ".join(
            f"{count} of {words}" for count, words in zip(fits.counts, NUMBERS, strict=True)
        )
        lines.append(f"{total} combinations keep all rules: {listed}.")
    else:
        lines.append("No combination of up to four keeps all rules.")
    return (*lines, *_range_lines(fits))


def _kept_text(fits: ChainFits) -> str:
    kept = [plain(part.ref) for part in fits.place.kept]
    return f"{', '.join(kept)} stays" if len(kept) == 1 else (
        f"{', '.join(kept)} stay" if kept else "nothing in series with it stays"
    )  # fmt: skip


def _range_lines(fits: ChainFits) -> list[str]:
    """Totals that all rules about the total allow."""
    ranges = fits.ranges
    lines = []
    for tolerance, edges in zip(ranges.tolerances, ranges.edges_ohm, strict=True):
        shown = [
            f"{quantity_text(low, 'Ω')} to {quantity_text(high, 'Ω')}"
            for low, high in edges
            if low < high
        ]
        if shown:
            of = f" of {quantity_text(tolerance, '%')} parts" if len(ranges.tolerances) > 1 else ""
            lines.append(
                f"A total{of} from {' or '.join(shown)} locks with the headroom asked for."
            )
    if not lines:
        nearest = ranges.nearest
        total = sum(r.resistance_ohm for chain in nearest.board.chains[:1] for r in chain)
        lines.append(
            f"No total would do; at {quantity_text(total, 'Ω')}, the nearest, "
            f"{reason_text(nearest.tightest, ())}."
        )
    return lines


def fits_sheet(fits: Sequence[Fit]) -> Sheet:
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
    return Sheet(
        title="Best margin first, then fewest parts",
        columns=("", "parts in series", "together", "margin", "power", "voltage"),
        rows=tuple(rows),
        right=(0, 2, 3, 4, 5),
        remark="margin: how many times the tightest rule is kept. power, voltage: of each part, "
        "and its share of the limit, at high mains, with tolerances at their worse ends.",
    )


def misses_sheet(fits: Sequence[Fit]) -> Sheet:
    """Some combinations that just fail, and why."""
    return Sheet(
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


def reason_text(rule: Rule, stresses: Sequence[ResistorStress]) -> str:
    """Why a rule fails; a new resistor goes by its value, as it has no reference yet."""
    name = plain(rule.name)
    for stress in stresses:
        part = stress.resistor
        ref, _, what = rule.name.rpartition(" ")
        if ref == part.ref:
            name = f"{what} of {quantity_text(part.resistance_ohm, 'Ω')}"
    if rule.limit != rule.limit:
        return f"{name} {plain(rule.remark)}"
    return f"{name}: {found_text(rule)}, asked {limit_text(rule)}"


def _different(fit: Fit) -> list[tuple[ResistorStress, int]]:
    """Different parts of a combination, and how often each is in it."""
    groups = groupby(fit.stresses, key=lambda s: (s.resistor.resistance_ohm, s.resistor.style,
                                                  s.resistor.tolerance_ratio))  # fmt: skip
    found = []
    for _, group in groups:
        members = list(group)
        found.append((members[0], len(members)))
    return found


def _part_text(stress: ResistorStress, count: int) -> str:
    part = stress.resistor
    return f"{count} x {quantity_text(part.resistance_ohm, 'Ω')} {part.style}"


def _load_texts(stress: ResistorStress) -> tuple[str, str]:
    power_w, film_v = float(stress.power_w.max()), float(stress.film_v.max())
    return (
        f"{quantity_text(power_w, 'W')} {share_text(power_w, stress.power_limit_w)}",
        f"{quantity_text(film_v, 'V')} {share_text(film_v, stress.voltage_limit_v)}",
    )
