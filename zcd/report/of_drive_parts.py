"""Couplers, drivers and triacs for a fan, as tables of words."""

from __future__ import annotations

from zcd.errors import plain
from zcd.margin.rules import Rule
from zcd.report.table import Cell, Quantity, Table
from zcd.report.text import NOTHING, limit_text, quantity_text, rule_value_text
from zcd.simulation.drive_parts import Switches, allowed_current_a


def need_line(switches: Switches) -> str:
    """What the fan asks of the part that switches it."""
    need = switches.need
    return (
        f"The fan draws {quantity_text(need.running_a, 'A')} at high mains, "
        f"{quantity_text(need.blocked_a, 'A')} with its rotor blocked; the ambient is "
        f"{quantity_text(need.ambient_degc, '°C')}. The controller fires by phase control."
    )


def drive_lines(switches: Switches, shown: int) -> tuple[str, ...]:
    """The first parts that no known figure speaks against."""
    need = switches.need
    able = [fit for fit in switches.fits if fit.fits]
    lines = []
    for fit in able[:shown]:
        allowed = allowed_current_a(fit.part, need.ambient_degc)[0]
        needs = max(need.running_a, need.blocked_a)
        carries = (
            "fires the gate of a triac"
            if fit.part.kind == "driver"
            else f"carries {quantity_text(allowed, 'A')} (the fan takes up to "
            f"{quantity_text(needs, 'A')})"
        )
        volts = quantity_text(fit.part.off_state_v, "V")
        blocks = "" if volts == NOTHING else f", blocks {volts}"
        lines.append(f"{plain(fit.part.part)}: {fit.part.kind}, {carries}{blocks}")
    return tuple(lines) or ("Nothing that is known fits this fan.",)


def switches_table(switches: Switches) -> Table:
    """Parts that no known figure speaks against."""
    ambient_degc = switches.need.ambient_degc
    unread = {fit.part: fit.unread for fit in switches.fits if fit.fits}
    quantities = (
        Quantity("part", "part", lambda part: plain(part.part)),
        Quantity("kind", "kind"),
        Quantity(
            "allowed_a", "carries", value=lambda p: float(allowed_current_a(p, ambient_degc)[0])
        ),
        Quantity("off_state_v", "blocks"),
        Quantity("trigger_a", "fires at"),
        Quantity("unread", "look up in its sheet", lambda p: ", ".join(unread[p]) or NOTHING),
        Quantity("source", "from", lambda part: Cell(source=part.source)),
    )
    return Table.of(
        unread,
        quantities,
        title="For the fan's drive",
        remark="coupler: carries the fan's current itself; driver: only fires the gate of a triac. "
        "carries: rms at that ambient; of couplers rated for more than 2 A only on a heat sink, of "
        "triacs without one. fires at: LED current, of a triac gate current; the new part must not "
        "need more than the old one got. Smallest first."
        + " Advice only, the figures are second hand in part: the part's own sheet goes before "
        "them." * bool(unread),
    )


def refused_lines(switches: Switches) -> tuple[str, ...]:
    """Parts that do not fit, by what speaks against them."""
    reasons: dict[str, list[str]] = {}
    for fit in switches.fits:
        rule = fit.first_failed
        if rule is not None:
            reasons.setdefault(_reason_text(rule), []).append(plain(fit.part.part))
    return tuple(f"{', '.join(parts)}: {reason}." for reason, parts in reasons.items())


def _reason_text(rule: Rule[float]) -> str:
    if rule.unit:
        return f"{rule.name} {rule_value_text(rule)}, asked {limit_text(rule)} ({rule.remark})"
    return f"REFUSED for {rule.name}: {rule.remark}"
