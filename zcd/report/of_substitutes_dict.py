"""Parts in place of failed ones, as one JSON object for other programs."""

from __future__ import annotations

from zcd.serialize import Record
from zcd.simulation.drive_parts import Replacements, Switches, allowed_current_a
from zcd.substitutes.chain_parts import ChainFits, Fit
from zcd.substitutes.single_parts import PullUps, Swap, reverse_ratio


def substitutes_to_dict(result: Replacements) -> Record:
    """What may stand in place of the parts asked for, in SI units, ready for `json.dumps`.

    Parameters
    ----------
    result : Replacements

    Returns
    -------
    record : dict
        =================  =============================================================
        key                what it holds
        =================  =============================================================
        board, drawer      their names
        chain              null or: replaced, kept (references); stock; counts (of one,
                           two, ... parts); ranges (list: tolerance_ratio, lowest_ohm,
                           highest_ohm of the total, kept parts included); true_ranges
                           (list: lowest_ohm, highest_ohm between which it must stay with
                           its tolerances, whatever those of other parts do); best, misses
                           (lists: parts, total_ohm of the new ones, margin_ratio,
                           tightest)
        optocouplers       null or a list: part, fitted, fits, margin_ratio, tightest;
                           family, grade, ctr_min_ratio, ctr_max_ratio
        pull_ups           null or: ranges (list: lowest_ohm, highest_ohm, below, above: the
                           rule that fails there, or null), nearest (null or, where there is
                           no range: resistance_ohm, tightest), swaps (list:
                           resistance_ohm, style and as for optocouplers)
        diodes             by reference, a list as for optocouplers: reverse_ratio, too_few
        drive              null or: running_a, blocked_a, ambient_degc, and parts (list: part,
                           kind, mode, fits, allowed_a, off_state_v, trigger_a, unread, rules)
        assumptions        list: key, value, source; of the board, then of the drawer
        =================  =============================================================

    Notes
    -----
    ``parts``: list of ref, style, resistance_ohm, tolerance_ratio, power_w, judged_v,
    power_limit_w, voltage_limit_v. ``tightest``: the rule that fails first or, if none does, has
    the least margin: name, value, limit, unit, at_least, passes, source, remark.
    """
    found, drive = result.found, result.drive
    return {
        "board": found.board.name,
        "drawer": found.drawer.name,
        "chain": None if found.chain is None else _chain(found.chain),
        "optocouplers": None
        if found.optocouplers is None
        else [_optocoupler(swap) for swap in found.optocouplers],
        "pull_ups": None if found.pull_ups is None else _pull_ups(found.pull_ups),
        "diodes": {
            ref: [
                _swap(swap) | {"reverse_ratio": reverse_ratio(swap, ref), "too_few": swap.too_few}
                for swap in swaps
            ]
            for ref, swaps in found.diodes.items()
        },
        "drive": None if drive is None else _drive(drive),
        "assumptions": (*found.board.assumptions, *found.drawer.assumptions),
    }


def _chain(fits: ChainFits) -> Record:
    ranges = fits.ranges
    return {
        "replaced": [part.ref for part in fits.place.replaced],
        "kept": [part.ref for part in fits.place.kept],
        "stock": fits.stock,
        "counts": fits.counts,
        "ranges": [
            {"tolerance_ratio": tolerance, "lowest_ohm": low, "highest_ohm": high}
            for tolerance, edges in zip(ranges.tolerances, ranges.edges_ohm, strict=True)
            for low, high in edges
            if low < high
        ],
        "true_ranges": [
            {"lowest_ohm": one.lowest_ohm, "highest_ohm": one.highest_ohm}
            for one in fits.true_ranges
        ],
        "best": [_fit(fit) for fit in fits.best],
        "misses": [_fit(fit) for fit in fits.misses],
    }


def _fit(fit: Fit) -> Record:
    return {
        "parts": [
            {
                "ref": stress.resistor.ref,
                "style": stress.resistor.style,
                "resistance_ohm": stress.resistor.resistance_ohm,
                "tolerance_ratio": stress.resistor.tolerance_ratio,
                "power_w": float(stress.power_w.max()),
                "judged_v": float(stress.judged_v.max()),
                "power_limit_w": stress.power_limit_w,
                "voltage_limit_v": stress.voltage_limit_v,
            }
            for stress in fit.stresses
        ],
        "total_ohm": sum(part.resistance_ohm for part in fit.parts),
        "margin_ratio": fit.verdict.margin_ratio,
        "tightest": fit.verdict.tightest,
    }


def _swap(swap: Swap) -> Record:
    return {
        "part": swap.name,
        "fitted": swap.fitted,
        "fits": swap.fits,
        "margin_ratio": swap.margin_ratio,
        "tightest": swap.verdict.tightest,
    }


def _optocoupler(swap: Swap) -> Record:
    part = swap.verdict.board.optocoupler
    names = ("family", "grade", "ctr_min_ratio", "ctr_max_ratio")
    return _swap(swap) | {name: getattr(part, name) for name in names}


def _pull_ups(pull_ups: PullUps) -> Record:
    return {
        "ranges": [
            {
                "lowest_ohm": low.ohm,
                "highest_ohm": high.ohm,
                "below": None if low.beyond is None else low.beyond.tightest,
                "above": None if high.beyond is None else high.beyond.tightest,
            }
            for low, high in pull_ups.ranges
        ],
        "nearest": None
        if pull_ups.nearest is None
        else {
            "resistance_ohm": pull_ups.nearest.board.output.resistor.resistance_ohm,
            "tightest": pull_ups.nearest.tightest,
        },
        "swaps": [
            _swap(swap)
            | {
                "resistance_ohm": swap.verdict.board.output.resistor.resistance_ohm,
                "style": swap.name,
            }
            for swap in pull_ups.swaps
        ],
    }


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
