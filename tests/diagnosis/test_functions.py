"""The table of a meter's functions is whole, and the only one."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

import zcd
from zcd.board.keys import UNIT_ENDINGS
from zcd.diagnosis.functions import FUNCTIONS, NAMES, Function
from zcd.diagnosis.meters import usual_meter
from zcd.diagnosis.reading_syntax import parse_function, parse_value, show_value

HOME = Path(zcd.__file__).parent


def test_every_function_has_a_row() -> None:
    assert list(FUNCTIONS) == list(Function)
    assert all(function.row.key is function for function in Function)


@pytest.mark.parametrize("function", Function)
def test_a_row_agrees_with_itself(function: Function) -> None:
    row, meter = function.row, usual_meter()
    assert row.unit_ending == UNIT_ENDINGS[row.unit]
    assert row.input_ohm(meter) > 0.0
    if row.ranges is not None:
        ranges = row.ranges(meter)
        assert ranges == tuple(sorted(ranges))
    for example in row.kind.examples:
        value = parse_value(example, function)
        assert parse_value(show_value(function, value, digits=6), function) == pytest.approx(value)


def test_no_two_functions_share_a_name() -> None:
    assert len(NAMES) == sum(1 + len(row.synonyms) for row in FUNCTIONS.values())
    for name, function in NAMES.items():
        assert parse_function(name.upper().replace(" ", "-")) is function


def tables(source: str) -> Iterator[int]:
    """Lines at which a mapping, or several functions together, say what a function is."""

    def is_function(node: ast.expr | ast.pattern | None) -> bool:
        value = node.value if isinstance(node, ast.MatchValue) else node
        return (
            isinstance(value, ast.Attribute)
            and isinstance(value.value, ast.Name)
            and value.value.id == "Function"
        )

    for node in ast.walk(ast.parse(source)):
        match node:
            case ast.Dict(keys=members):
                allowed = 0
            case ast.Tuple(elts=members) | ast.List(elts=members) | ast.Set(elts=members):
                allowed = 1
            case ast.MatchOr(patterns=members):
                allowed = 1
            case _:
                continue
        if sum(map(is_function, members)) > allowed:
            yield node.lineno


def test_another_table_is_found() -> None:
    source = "A = {Function.DC: 1}\nB = (Function.DC, Function.AC)\nC = (Function.DC, 'pin')\n"
    assert list(tables(source)) == [1, 2]


def test_there_is_no_other_table_of_functions() -> None:
    result = [
        f"{path.relative_to(HOME)}:{line}"
        for path in sorted(HOME.rglob("*.py"))
        if path != HOME / "diagnosis" / "functions.py"
        for line in tables(path.read_text(encoding="utf-8"))
    ]
    assert result == []
