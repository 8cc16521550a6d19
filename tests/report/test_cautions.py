"""The cautions that are due are there, each with who asks for it."""

from __future__ import annotations

import pytest

from zcd.report.cautions import DEAD, GENERAL, ISOLATED, LIVE, MOTOR, Caution


@pytest.mark.parametrize("kind", [GENERAL, DEAD, ISOLATED, LIVE, MOTOR])
def test_every_caution_names_its_source(kind: tuple[Caution, ...]) -> None:
    assert kind
    for caution in kind:
        assert caution.text.endswith(".")
        assert caution.source


@pytest.mark.parametrize(
    ("kind", "word"),
    [
        (GENERAL, "local codes"),
        (GENERAL, "licensed practice"),
        (DEAD, "isolate"),
        (DEAD, "discharge"),
        (DEAD, "prove dead"),
        (ISOLATED, "low-voltage side is live"),
        (LIVE, "cat ii"),
        (LIVE, "one hand"),
        (LIVE, "no earthed oscilloscope"),
        (LIVE, "isolating transformer"),
        (LIVE, "differential probe"),
        (MOTOR, "run capacitor"),
        (MOTOR, "impeller"),
    ],
)
def test_the_usual_cautions_are_there(kind: tuple[Caution, ...], word: str) -> None:
    assert any(word in caution.text.lower() for caution in kind)
