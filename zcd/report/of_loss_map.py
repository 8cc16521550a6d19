"""What a map of lost sync says, in words: for its figure and for a terminal."""

from __future__ import annotations

from math import isfinite

from zcd.margin.loss_map import LossMap, Reach
from zcd.margin.loss_share import LossShare
from zcd.margin.quantities import Quantity
from zcd.report.of_spread import sure_text
from zcd.report.table import WARNING, Table
from zcd.report.text import quantity_span_text, quantity_text, rule_text
from zcd.sync.lock import LIMITS, LOCK_RULES

CTR = "ctr"
TYPICAL_LINE = (
    "Typical parts only: a strong or a weak part, or tolerances that add up, may lose sync where "
    "these do not. That, and whether a part is overloaded: zcd check."
)
CTR_WORDS = "CTR: 100 % is a typical new optocoupler of its type, not its data sheet's figure."


def value_text(quantity: Quantity, value: float) -> str:
    """A value of a quantity with its unit; of one without, so many times what the board has."""
    return quantity_text(float(value), quantity.unit) if quantity.unit else f"{value:.3g} times"


def axis_text(quantity: Quantity) -> str:
    """What stands along an axis."""
    return quantity.words if quantity.unit else f"{quantity.words}, times what it is"


def loss_map_title(loss_map: LossMap) -> str:
    """The one thing to know: where the lock ends, from the board, going up or down."""
    across, up = loss_map.across, loss_map.up
    if loss_map.failed_rule is not None:
        return f"No sync as described: {LOCK_RULES[loss_map.failed_rule].broken}"
    if up.key == CTR and (ends := _ends_text(up, loss_map.reach_up)):
        return (
            f"{_at_text(across)}, a typical optocoupler loses sync once its CTR is {ends} of "
            "what it was when new"
        )
    if ends := _ends_text(up, loss_map.reach_up):
        return f"{_at_text(across)}, sync is lost where {up.words} is {ends}"
    if ends := _ends_text(across, loss_map.reach_across):
        return f"{_at_text(up)}, sync is lost where {across.words} is {ends}"
    return (
        "This board keeps sync at every value tried, "
        f"of {across.words} alone and of {up.words} alone"
    )


def _ends_text(quantity: Quantity, reach: Reach) -> str:
    return " or ".join(
        f"{word} {value_text(quantity, end)}"
        for word, end in (("below", reach.below), ("above", reach.above))
        if isfinite(end)
    )


def _at_text(quantity: Quantity) -> str:
    """Where the board stands on one quantity."""
    value = value_text(quantity, quantity.here)
    if quantity.key in ("mains", "temperature", "frequency"):
        return f"At {value}"
    if not quantity.unit:
        return f"With the {quantity.words} as it is"
    return f"With {quantity.words} at {value}"


def warning_lines(loss_map: LossMap) -> tuple[str, ...]:
    """What some controllers expect of a pulse and this board does not give, as its check says."""
    return tuple(
        f"{WARNING} on the {LIMITS[rule].words}: {LIMITS[rule].meaning}"
        for rule in loss_map.unmet_expectations
    )


def here_text(loss_map: LossMap) -> str:
    """The board's own point."""
    pair = (loss_map.across, loss_map.up)
    return "large dot: this board, " + ", ".join(value_text(q, q.here) for q in pair)


def end_text(quantity: Quantity, end: float) -> str:
    """Where a quantity meets the boundary, and how far away that is."""
    step = _step_text(quantity, end)
    return (
        f"limit {value_text(quantity, end)}, reserve {step}"
        if quantity.unit
        else f"limit {value_text(quantity, end)}"
    )


def _step_text(quantity: Quantity, end: float) -> str:
    """From the board's value to another: a factor on a logarithmic axis, else a difference."""
    if quantity.logarithmic:
        factor = max(quantity.here / end, end / quantity.here)
        return f"factor {factor:.3g}"
    return quantity_text(abs(end - quantity.here), quantity.unit)


def loss_map_table(loss_map: LossMap) -> Table:
    """How far the board is from the boundary, along both quantities, each way that ends."""
    locks = loss_map.locks
    keys = (loss_map.across.key, loss_map.up.key)
    pairs = ((loss_map.across, loss_map.reach_across), (loss_map.up, loss_map.reach_up))
    rows = tuple(
        (quantity.words, value_text(quantity, quantity.here), *row)
        for quantity, reach in pairs
        for row in _end_rows(quantity, reach, locks)
    )
    endless = [quantity for quantity, reach in pairs if locks and not _has_end(reach)]
    if rows:
        told = [
            f"{q.words[:1].upper()}{q.words[1:]}: keeps sync at every value tried, {_span_text(q)}."
            for q in endless
        ]
    else:
        told = []
        rows = tuple(
            (q.words, value_text(q, q.here), f"at every value tried, {_span_text(q)}", "", "")
            for q in endless
        )
    return Table(
        title="How far the board is from losing sync" if locks else "Where sync would work",
        columns=(
            "quantity",
            "this board",
            *(
                ("keeps sync", "reserve", "beyond it")
                if locks
                else ("sync works", "reserve", "fails here")
            ),
        ),
        rows=rows,
        right=(1, 3),
        remark=" ".join([*told, *[CTR_WORDS] * (CTR in keys)]),
    )


def _end_rows(quantity: Quantity, reach: Reach, locks: bool) -> list[tuple[str, str, str]]:
    """Each end on one quantity: where, how far away, why; none where it keeps sync throughout."""
    ends = (
        ("down to", "below", reach.below, reach.rule_below),
        ("up to", "above", reach.above, reach.rule_above),
    )
    rows = [
        (
            f"{kept if locks else needed} {value_text(quantity, end)}",
            _step_text(quantity, end),
            rule or "",
        )
        for kept, needed, end, rule in ends
        if isfinite(end)
    ]
    return rows or [(f"not from {_span_text(quantity)}", "", "")] * (not locks)


def _has_end(reach: Reach) -> bool:
    return isfinite(reach.below) or isfinite(reach.above)


def _span_text(quantity: Quantity) -> str:
    """From where to where values were tried."""
    if quantity.unit:
        return quantity_span_text(quantity.low, quantity.high, quantity.unit)
    return f"{quantity.low:.3g} to {quantity.high:.3g} times"


def loss_map_lines(loss_map: LossMap, loss_share: LossShare) -> tuple[str, ...]:
    """What else the map says, a sentence each."""
    rules = dict.fromkeys(rule for curve in loss_map.boundaries for rule in curve.rules)
    lines = []
    if rules:
        lines.append(f"Beyond the limit fails first: {', '.join(map(rule_text, rules))}.")
    lines.append(
        f"Of {loss_share.boards} boards within tolerance that stand where this one does, "
        f"{sure_text(loss_share.here(loss_map), 'loses sync', 'may lose sync')}"
    )
    return tuple(lines)
