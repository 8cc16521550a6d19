"""The JSON Schema of the files that people write, and of the results that commands print."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

Schema = dict[str, Any]


def _board() -> Schema:
    from zcd.board.json_schema import file_schema
    from zcd.board.schema import BoardFile

    return file_schema(BoardFile, "zcd board file")


def _check() -> Schema:
    from zcd.margin.check import Check
    from zcd.margin.culprit import Remedy
    from zcd.margin.outlook import Outlook
    from zcd.margin.spread import Spread
    from zcd.serialize import json_schema

    return json_schema(Check, "zcd check --json", (Outlook, Remedy, Spread))


def _map() -> Schema:
    from zcd.margin.loss_map import LossMap
    from zcd.margin.loss_share import LossShare
    from zcd.margin.population import Share
    from zcd.serialize import json_schema

    return json_schema(LossMap, "zcd map --json", (LossShare, Share))


def _windings() -> Schema:
    from zcd.serialize import json_schema
    from zcd.simulation.windings import Windings

    return json_schema(Windings, "zcd windings --json")


SCHEMAS: dict[str, Callable[[], Schema]] = {
    "board": _board,
    "check": _check,
    "map": _map,
    "windings": _windings,
}
"""By name: what makes each; loads only what that needs."""
