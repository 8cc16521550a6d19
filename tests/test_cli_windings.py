"""The windings command as a person types it."""

from __future__ import annotations

import json
import re
import shlex

import pytest

from zcd.cli import main

READINGS = ["black-white=164", "white-red=287", "red-black=449"]
FRAME = ["black-frame=OL", "frame-white=OL", "red-frame=OL"]
PINS = ["--pin", "black=1", "--pin", "white=2", "--pin", "red=3"]
BOARD = ["--board", "1=run", "--board", "2=common", "--board", "3=start"]
CAPACITOR = ["--capacitor", "1.72u", "--marking", "1.8 uF"]
WHOLE = [*READINGS, *FRAME, *PINS, *BOARD, *CAPACITOR]


def test_all_that_fits(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["windings", *WHOLE]) == 0
    out = capsys.readouterr().out
    assert out.startswith("Leads, pins, frame and capacitor fit")
    assert max(map(len, out.splitlines())) <= 80
    for words in ("Pull the mains plug", "discharge the run capacitor", "local codes"):
        assert words.lower() in " ".join(out.split()).lower()


def test_as_json(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["windings", *WHOLE, "--json"]) == 0
    result = json.loads(capsys.readouterr().out)
    assert result["safe"] is True
    roles = {lead["lead"]: lead["role"] for lead in result["leads"]}
    assert roles == {"black": "run", "white": "common", "red": "start"}
    assert result["main_ohm"] == 164.0
    assert result["leads"][0]["frame_ohm"] is None


def test_half_checked_is_not_safe(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["windings", *READINGS]) == 1
    out = capsys.readouterr().out
    assert "not yet safe" in out
    assert "each lead to the frame" in out


def test_what_to_add_is_typed_as_the_screen_says(capsys: pytest.CaptureFixture[str]) -> None:
    """Of every lead and pin, as the examples have it for one, the command finds nothing left."""
    assert main(["windings", *READINGS]) == 1
    out = " ".join(capsys.readouterr().out.split())
    examples = re.findall(r"typed as (.*?)(?= - | Next)", out)
    assert examples == [
        "black-frame=OL", "--pin black=1", "--board 1=run",
        '--capacitor 1.79u --marking "1.8 uF"',
    ]  # fmt: skip
    given = [word for example in examples for word in shlex.split(example)]
    # one of each is not all of them
    assert main(["windings", *READINGS, *given]) == 1
    assert "not yet safe" in capsys.readouterr().out
    more = ["white-frame=OL", "red-frame=OL", "--pin", "white=2", "--pin", "red=3"]
    more += ["--board", "2=common", "--board", "3=start"]
    assert main(["windings", *READINGS, *given, *more]) == 0
    assert "typed as" not in capsys.readouterr().out


def test_inconsistent_set_is_not_safe(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["windings", "a-b=164", "b-c=287", "a-c=549", "--json"]) == 1
    result = json.loads(capsys.readouterr().out)
    assert result["safe"] is False
    assert "take them again" in result["problems"][0]


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (["a-b=164"], "three leads"),
        (["a-b=164", "b-c=287", "a-c=449", "c-d=5"], "three leads"),
        (["a-b=164", "b-a=165", "a-c=449"], "each two leads once"),
        (["a-a=164", "b-c=287", "a-c=449"], "a reading such as"),
        (["a-b=lots", "b-c=287", "a-c=449"], 'a-b: found "lots"; allowed: ohms such as'),
        ([*READINGS, "--pin", "blak=1"], 'did you mean "black"'),
        ([*READINGS, "--board", "1=comon"], 'did you mean "common"'),
        ([*READINGS, "--pin", "black"], "pairs such as blue=1"),
        ([*READINGS, "--capacitor", "1.7u"], "both capacitor and marking"),
        ([*READINGS, "--accuracy", "200 %"], "--accuracy: found"),
        ([*READINGS, "green-frame=OL"], "a reading to the frame: found"),
    ],
)
def test_refused(words: list[str], message: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["windings", *words]) == 2
    out, err = capsys.readouterr()
    assert not out
    assert message in err
