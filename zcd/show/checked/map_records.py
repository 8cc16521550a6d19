"""A map of lost sync as one JSON object for other programs."""

from __future__ import annotations

from zcd.margin.maps import LossMap, Reach
from zcd.margin.quantities import Quantity
from zcd.serialize import Record
from zcd.show.checked.map_words import share_here

EVERY = 4
"""Of the lines of the lattice, in the record."""
UNITS = {"%": "", "°C": "degC", "Ω": "ohm"}


def map_record(loss_map: LossMap) -> Record:
    """A map, ready for `json.dumps`.

    Parameters
    ----------
    loss_map : LossMap
        With the share of boards that lose sync.

    Returns
    -------
    record : dict
        =================  =============================================================
        key                what it holds
        =================  =============================================================
        board              name of the board
        across, up         the two quantities: key, words, unit, here, low, high,
                           logarithmic
        locks              whether the board does as it is
        failed_rule        the rule it breaks, or null
        reach              across, up: below, above, rule_below, rule_above
        boundaries         list of curves: across, up, rules, closed; point by point, in
                           order
        locked_ratio       share of the map in which there is lock
        lost               across, up: lines of a lattice; rules, ratio: for each line
                           up a list over the lines across
        boards             how many were drawn at a point of ``lost``
        lost_here          ratio, and its interval low_ratio, high_ratio (95 %): of boards that
                           stand where this one does
        cloud              across, up: boards within tolerance
        =================  =============================================================

    Notes
    -----
    Values are in the `unit` of their quantity, a factor or share where that is empty. ``rules``
    of ``lost`` are those that a typical board breaks (null: none), ``ratio`` the share of boards
    within tolerance that lose sync.
    """
    board, loss_share = loss_map.board, loss_map.share
    assert loss_share is not None
    places = loss_map.lattice.places[::EVERY]
    return {
        "board": board.name,
        "across": _quantity(loss_map.across),
        "up": _quantity(loss_map.up),
        "locks": loss_map.rule_here is None,
        "failed_rule": loss_map.rule_here,
        "reach": {"across": _reach(loss_map.reach_across), "up": _reach(loss_map.reach_up)},
        "boundaries": [
            {"across": c.across, "up": c.up, "rules": c.rules, "closed": c.closed}
            for c in loss_map.boundaries
        ],
        "locked_ratio": loss_map.locked_share,
        "lost": {
            "across": loss_map.across.value(places),
            "up": loss_map.up.value(places),
            "rules": [row[::EVERY] for row in loss_map.rules()[::EVERY]],
            "ratio": loss_share.lost_ratio[::EVERY, ::EVERY],
        },
        "boards": loss_share.boards,
        "lost_here": share_here(loss_map, loss_share),
        "cloud": {"across": loss_share.cloud_across, "up": loss_share.cloud_up},
    }


def _quantity(quantity: Quantity) -> Record:
    return {
        "key": quantity.key,
        "words": quantity.words,
        "unit": UNITS.get(quantity.unit, quantity.unit),
        "here": quantity.here,
        "low": quantity.low,
        "high": quantity.high,
        "logarithmic": quantity.logarithmic,
    }


def _reach(reach: Reach) -> Record:
    return {
        "below": reach.below,
        "above": reach.above,
        "rule_below": reach.rule_below,
        "rule_above": reach.rule_above,
    }
