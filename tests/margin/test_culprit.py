"""Which single part, put right, makes a failing board pass; and what a repair changed.

The oracle of both is the whole check itself, which shares no step with the search.
"""

from __future__ import annotations

from functools import cache
from math import isnan
from pathlib import Path

import pytest

import zcd
from zcd.cli import main
from zcd.errors import InputError
from zcd.margin.as_new import comparable
from zcd.margin.check import Check
from zcd.margin.culprit import unclamped_v
from zcd.renderings import document_of
from zcd.report.of_check_answer import assumed_text, culprit_lines, finding_lines, headline_text
from zcd.report.terminal import document_text

BOARD = """
mains = "230 V 50 Hz"
rectifier = "1N4007"
optocoupler = "817B"
chain = {resistors = ["39k", "56k"], style = "1/2 W"}
output = {pull_up = "12k", supply = "5 V"}
"""
SIGNAL_DIODE = BOARD.replace("1N4007", "1N4148")
WRONG = [
    ({"R1": "680k"}, "R1"),
    ({"R2": "1M"}, "R2"),
    ({"R1": "390"}, "R1"),
    ({"R2": "4k7"}, "R2"),
    ({"pull_up": "470"}, "pull-up"),
    ({"pull_up": "2M2"}, "pull-up"),
    ({"pull_up": "150"}, "pull-up"),
    ({"pin_capacitor": "1u"}, "C1"),
    ({"pin_capacitor": "2u2"}, "C1"),
    ({"R1": "3M3"}, "R1"),
]
"""One part wrong each, and which."""
QUICK = (0, 7)


@pytest.fixture(scope="module")
def sound() -> zcd.Board:
    return zcd.loads(BOARD)


@cache
def checked(board: zcd.Board, was: zcd.Board | None = None) -> Check:
    """A board checked once for all tests."""
    return zcd.check(board, was=was)


@pytest.mark.parametrize(
    ("change", "culprit"),
    [
        pytest.param(*wrong, marks=() if n in QUICK else pytest.mark.slow)
        for n, wrong in enumerate(WRONG)
    ],
)
def test_the_part_that_is_wrong_comes_first(
    sound: zcd.Board, change: dict[str, str], culprit: str
) -> None:
    """And with the values named for it the whole check passes, tolerances included."""
    check = checked(sound.with_(**change))
    assert check.status == "fail"
    first = check.remedies[0]
    assert first.ref == culprit
    told, *_ = culprit_lines(check)
    assert told.startswith(f"Most likely cause: {'the ' * (culprit == 'pull-up')}{culprit}. It is ")
    name = {"pull-up": "pull_up", "C1": "pin_capacitor"}.get(culprit, culprit)
    for value in {first.low, first.high} - {0.0}:
        assert zcd.check(sound.with_(**{**change, name: f"{value:.12g}"})).passes


def test_the_values_that_are_named_reach_to_where_tolerances_end() -> None:
    """A span so wide that its middle was once left out: 10 k, with which it passes, was too."""
    text = """
mains = "120 V 60 Hz"
rectifier = "MB6S"
optocoupler = "817 C"
chain = {topology = "bridge", resistors = ["22k"], return_resistors = ["22k"], style = "1/2 W"}
led = {resistor = "2k2"}
output = {pull_up = "330", supply = "3.3 V"}
"""
    first = checked(zcd.loads(text)).remedies[0]
    assert first.ref == "pull-up"
    assert first.low < 10e3 < first.high
    assert zcd.check(zcd.loads(text.replace("330", f"{first.high:.0f}"))).passes


def test_without_the_capacitor_it_passes(sound: zcd.Board) -> None:
    """A remedy that says so is true."""
    assert checked(sound.with_(pin_capacitor="1u")).remedies[0].low == 0.0
    assert checked(sound).status == "pass"


def test_a_part_near_its_own_limit_hides_no_other_culprit() -> None:
    """Chain resistors at 98 % of their power pass, so they are no reason to leave the pull-up."""
    board = zcd.loads("""
mains = "230 V 50 Hz"
rectifier = "1N4007"
optocoupler = "817 A"
chain = {resistors = ["68k", "68k"], style = "1206"}
output = {pull_up = "470", supply = "5 V"}
""")
    first = checked(board).remedies[0]
    assert first.ref == "pull-up"
    assert checked(board.with_(pull_up=f"{first.low:.0f}")).passes
    assert min(rule.margin for rule in checked(board).rules if "power" in rule.name) < 0.15


def test_two_misread_values_have_no_single_culprit(sound: zcd.Board) -> None:
    """Both chip codes read as ohms: the question comes before the physics."""
    check = zcd.check(sound.with_(R1=104, R2=104))
    assert not check.remedies
    lines = document_text(document_of(check).answer).splitlines()
    assert lines[1].startswith("FAILS: ")
    assert lines[2].startswith(
        "Check first: R1 and R2 = 104 Ω is no standard value (a chip marked 104 is 100 kΩ); read"
    )


@pytest.mark.parametrize(
    ("text", "asked"),
    [
        (
            BOARD.replace("230 V", "23 V"),
            "mains = 23 V is no public mains (100 V to 240 V), 230 V?",
        ),
        (
            'mains = "230 V 50 Hz"\noptocoupler = "none"\noutput = {supply = "5 V"}\n'
            'circuit = ["feed - R1 2k2 - R2 2k2 - pin", "neutral - logic0"]\n'
            'chain = {style = "1/4 W"}\n',
            "R1 = 2.2 kΩ would burn at 7.48 W; read it again.",
        ),
    ],
)
def test_what_nobody_built_is_asked_about_and_no_part_is_blamed(text: str, asked: str) -> None:
    """Of 253 V, and R1 5 % larger than R2, each 5 % off: 121 V squared over 2.2 k are 6.6 W."""
    lines = document_text(document_of(checked(zcd.loads(text))).answer)
    words = " ".join(lines.split())
    assert f"Check first: {asked}" in words
    assert "Correct what was misread, and check again." in words
    assert "Most likely cause" not in words


def test_a_part_smaller_than_its_neighbours_is_to_blame_itself() -> None:
    """100 k in 0805 beside a half watt: its 150 V, not the value of the other."""
    parts = '[{value = "47k", style = "1/2 W"}, {value = "100k", style = "0805"}]'
    text = BOARD.replace('["39k", "56k"], style = "1/2 W"', parts)
    (line,) = culprit_lines(checked(zcd.loads(text)))
    assert line.startswith("Most likely cause: R2 is too small for this chain (0805 taken as ")
    assert line.endswith("Next: zcd substitute BOARD --for R2")


def test_a_shunt_across_the_led_that_is_too_small() -> None:
    """Whatever is larger will do, however large."""
    shunted = BOARD + 'led = {resistor = "R3 270"}\n'
    first, *_ = culprit_lines(checked(zcd.loads(shunted)))
    assert first.startswith("Most likely cause: R3. It is 270 Ω; the board surely passes with ")
    assert " or more. " in first


@pytest.mark.parametrize("change", [{}, *(WRONG[n][0] for n in QUICK)])
def test_the_answer_is_one_screen(sound: zcd.Board, change: dict[str, str]) -> None:
    """Ten rules that fail for one cause are one line."""
    check = checked(sound.with_(**change))
    text = document_text(document_of(check).answer)
    assert len(text.splitlines()) <= 24
    assert len(finding_lines(check)) <= 3
    assert headline_text(check).startswith("PASSES." if check.passes else "FAILS: ")


def test_an_expectation_warns_and_a_limit_fails() -> None:
    """The same edge: nobody has read the controller, or the board file states its limit."""
    slow = zcd.loads(BOARD).with_(pull_up="27k", R1="120k", R2="150k")
    expected = zcd.check(slow.with_(pin_capacitor="47n"))
    assert expected.passes
    assert expected.status == "warning"
    stated = zcd.check(slow.with_(pin_capacitor="47n", max_transition="0.5 ms"))
    assert stated.status == "fail"
    assert "transition" in {level.failed_rule for level in stated.levels}


def test_what_the_original_broke_is_not_blamed_on_the_repair(sound: zcd.Board) -> None:
    """An overloaded resistor that was overloaded from the start; and one that the repair put in."""
    built = sound.with_(R1="15k", R2="15k")
    assert zcd.check(built).status == "fail"
    again = zcd.check(built.with_(optocoupler="817C"), was=built)
    assert again.repair is not None
    assert again.repair.inherited
    assert again.status == "warning"
    spoiled = zcd.check(built, was=sound)
    assert spoiled.status == "fail"
    assert spoiled.repair is not None
    assert spoiled.repair.outcome == "worse"


def test_as_good_as_new(sound: zcd.Board) -> None:
    """The same values, and a neighbour of the series."""
    for change in ({}, {"R1": "43k"}):
        repair = checked(sound.with_(**change), was=sound).repair
        assert repair is not None
        assert repair.outcome == "as good as new"


@pytest.mark.usefixtures("all_samples")
@pytest.mark.parametrize(
    ("built", "fitted", "outcome"),
    [("817B", "817C", "better"), ("817C", "817D", "better"), ("817C", "817A", "worse")],
)
def test_an_edge_is_worse_where_none_of_the_original_had_it(
    sound: zcd.Board, built: str, fitted: str, outcome: str
) -> None:
    """Of the parts as built the grade alone moves it by more: a higher grade spoils nothing."""
    slow = sound.with_(R1="82k", R2="82k", pull_up="6.8k")
    was = slow.with_(optocoupler=built)
    repair = checked(slow.with_(optocoupler=fitted), was=was).repair
    assert repair is not None
    assert repair.outcome == outcome


@pytest.mark.parametrize(
    ("change", "what"),
    [
        ({"mains": "120 V 60 Hz"}, r"mains \(120 V 60 Hz\) than board \(230 V 50 Hz\)"),
        ({"feed": "switched"}, r"feed \(through the load relay's contact\)"),
        ({"chain.topology": "half-wave-clamped", "clamp": "1N4148"}, "circuit"),
        ({"output.supply": "3.3 V"}, r"output \(pull-up on 3.3 V\)"),
    ],
)
def test_another_appliance_is_refused(sound: zcd.Board, change: dict[str, str], what: str) -> None:
    """In one line that says what differs."""
    with pytest.raises(InputError, match=f"was: board has another {what}") as caught:
        zcd.check(sound, was=sound.with_(**change))
    assert "\n" not in str(caught.value)
    assert not comparable(sound, sound.with_(**change))


def test_the_command_says_so_and_ends_with_status_2(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    repaired, was = tmp_path / "repaired.toml", tmp_path / "board.toml"
    repaired.write_text(BOARD, encoding="utf-8")
    was.write_text(BOARD.replace("230 V", "120 V"), encoding="utf-8")
    assert main(["check", str(repaired), "--was", str(was)]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert err.count("\n") == 1
    assert "--was: board has another mains" in err


def test_a_name_without_a_word_in_common_is_another_appliance(sound: zcd.Board) -> None:
    named = [
        sound.with_(name=f"{words}, invented") for words in ("Mirrow J2", "Mirrow J2 repaired")
    ]
    assert comparable(*named)
    assert comparable(named[0], sound)
    other = sound.with_(name="Pellet stove T4")
    with pytest.raises(InputError, match="has another name"):
        zcd.check(named[0], was=other)


@pytest.mark.parametrize(
    ("name", "later"), [("n", "N"), ("7", "7"), ("#", "#"), ("B", "B repaired"), ("J 4", "j-4")]
)
def test_a_short_name_is_the_same_appliance(sound: zcd.Board, name: str, later: str) -> None:
    assert comparable(sound.with_(name=name), sound.with_(name=later))
    assert not comparable(sound.with_(name=name), sound.with_(name="T 4"))


def test_what_makes_the_comparison_doubtful_is_said(sound: zcd.Board) -> None:
    """More than parts, an aged optocoupler, a resistor that has drifted: a line each."""
    repair = checked(sound, was=sound).repair
    assert repair is not None
    assert repair.doubts == ()
    was = sound.with_(
        R2="61k7", optocoupler={"family": "817B", "remaining": "55 %"}, hot_temperature="70 C"
    )
    check = zcd.check(sound, was=was)
    assert check.repair is not None
    more, aged, drifted = check.repair.doubts
    assert more.startswith("The files differ in more than parts: service.")
    assert "OC1 with 55 % of its CTR left" in aged
    assert "R2 = 61.7 kΩ is no standard value" in drifted
    text = document_text(document_of(check).answer)
    assert all(
        " ".join(line.split())[:60] in " ".join(text.split()) for line in check.repair.doubts
    )
    assert len(text.splitlines()) <= 30


def test_every_part_that_differs_is_named(sound: zcd.Board) -> None:
    check = zcd.check(sound.with_(pin_capacitor="1n"), was=sound.with_(pin_capacitor="2n2"))
    assert "Changed: C1: 2.2 nF replaced by 1 nF." in document_text(document_of(check).answer)


UNREAD = """
mains = "230 V 50 Hz"
rectifier = "1N4007"
optocoupler = "EL817"
chain = {resistors = ["62k", "62k", "75k"], style = "1206"}
output = {pull_up = "10k", supply = "5 V"}
"""


def test_a_grade_that_was_not_read_fails_no_board() -> None:
    """A typical one works, the weakest of all does not: the letter decides, and is asked for."""
    unread = checked(zcd.loads(UNREAD))
    assert unread.status == "warning"
    assert headline_text(unread).startswith("PASSES with typical parts, but sync may be lost ")
    assert "Read the grade letter" in " ".join(document_text(document_of(unread).answer).split())
    # every part that would pass with the weakest grade too does, told by the check itself
    remedy = unread.remedies[0]
    assert remedy.ref == "pull-up"
    assert checked(zcd.loads(UNREAD.replace("10k", f"{remedy.low:.0f}"))).status != "fail"
    # a grade that was read is no matter of opinion
    stronger = UNREAD.replace("10k", "4k7")
    assert checked(zcd.loads(stronger)).hangs_on_grade
    assert checked(zcd.loads(stronger.replace("EL817", "EL817A"))).status == "fail"
    # nor does it excuse what no grade mends
    assert checked(zcd.loads(UNREAD.replace("10k", "1k"))).status == "fail"


def test_a_grade_that_was_read_since_is_no_change() -> None:
    repaired = zcd.loads(UNREAD.replace("EL817", "EL817A"))
    repair = checked(repaired, zcd.loads(UNREAD)).repair
    assert repair is not None
    assert not repair.worse
    assert repair.doubts == (
        "The grade of OC1 was not read before: the original is taken as 817 A too.",
    )


def test_one_part_over_its_rating() -> None:
    """Another style mends it, no other value; a style that nobody wrote is no verdict.

    A good board whose second resistor has nearly all of the voltage, so that only it is over the
    150 V of a 1/4 W part.
    """
    board = """
    mains = "230 V 50 Hz"
    rectifier = "1N4007"
    optocoupler = "817B"
    chain = {resistors = ["82k", "150k"]}
    output = {pull_up = "12k", supply = "5 V"}
    """
    check = zcd.check(zcd.loads(board))
    assert headline_text(check).startswith("PASSES, with 3 warnings, if R2 is 1/2 W or larger. ")
    (line,) = (line for line in finding_lines(check) if "size" in line)
    assert line.startswith("warning: look at the size of R2: it gets ")
    assert line.endswith('then write it, such as style = "1/2 W"')
    written = zcd.check(zcd.loads(board.replace('"150k"]', '"150k"], style = "1/4 W"')))
    assert headline_text(written) == "FAILS: R2 is overloaded."
    assert tuple(culprit_lines(written)) == (
        "Most likely cause: R2 is too small for this chain (1/4 W taken as 250 mW, 150 V). "
        "Read its size and value again. If they are right, fit 1/2 W (500 mW, 250 V) or larger. "
        "Next: zcd substitute BOARD --for R2",
    )
    (line,) = (line for line in finding_lines(written) if "FAIL" in line)
    assert "(limit 150 V rms, 212 V peak)" in line


def test_no_size_bears_it() -> None:
    """Twelve kilohms across 230 V, half the time: (230 V)^2 / 12 k / 2 = 2.2 W: no usual size."""
    check = zcd.check(
        zcd.loads("""
    mains = "230 V 50 Hz"
    rectifier = "1N4007"
    optocoupler = "817B"
    chain = {resistors = ["12k"]}
    output = {pull_up = "12k", supply = "5 V"}
    """)
    )
    assert headline_text(check) == "FAILS: R1 is overloaded."
    assert not any("look at the size" in line for line in finding_lines(check))


def of_chips(value: str, more: str = "") -> zcd.Check:
    """Two chips between 230 V and a clamped LED, which take it in both halves."""
    return zcd.check(
        zcd.loads(f"""
    mains = "230 V 50 Hz"
    optocoupler = "817B"
    clamp = "1N4148"
    chain = {{topology = "clamped", resistors = ["{value}", "{value}"], style = "1206"{more}}}
    output = {{pull_up = "12k", supply = "5 V"}}
    """)
    )


def test_what_only_some_makers_chips_bear_is_a_condition() -> None:
    """253 V across 2 x 100 k: 160 mW each. A 1206 is 1/4 W [YAGEO-RC, VISHAY-CRCW] or 1/8 W
    [RND-CHIP]."""
    check = of_chips("100k")
    assert check.status == "warning"
    assert headline_text(check).startswith(
        "DEPENDS on R1 and R2: overloaded if rated 125 mW, as some 1206 are; fine if rated "
        "250 mW, as most are. Sync works from "
    )
    (line,) = finding_lines(check)
    assert line == (
        "warning: look up the rating of R1 and R2: each gets up to 167 mW. If it is 250 mW, write "
        'power = "250 mW" into the chain of the board file; if less or not to be found, fit '
        "larger ones"
    )
    assert of_chips("100k", ', power = "250 mW"').status == "pass"
    assert headline_text(of_chips("100k", ', power = "125 mW"')) == (
        "FAILS: R1 and R2 are overloaded."
    )


def test_what_hardly_any_makers_chip_bears_fails() -> None:
    """253 V across 2 x 47 k: 340 mW each."""
    check = of_chips("47k")
    assert headline_text(check) == "FAILS: R1 and R2 are overloaded."
    assert "(limit 250 mW by most makers)" in finding_lines(check)[0]


def test_chips_are_judged_as_chips() -> None:
    """A value in the code of chips: the part is no leaded one."""
    board = zcd.loads("""
    mains = "220-240 V 50 Hz"
    rectifier = "M7"
    optocoupler = "817B"
    chain = {resistors = ["683", "683"]}
    output = {pull_up = "12k", supply = "5 V"}
    """)
    assert [part.style for part in board.chains[0]] == ["1206", "1206"]
    headline = headline_text(zcd.check(board))
    assert headline.startswith("PASSES, if R1 and R2 are 1210 or larger.")


UNSIZED = """
mains = "230 V 50 Hz"
rectifier = "1N4007"
optocoupler = "817B"
chain = {resistors = [@]}
output = {pull_up = "12k", supply = "5 V"}
"""


@pytest.mark.parametrize(
    ("values", "says"),
    [
        (
            '"100k", "100k"',
            "PASSES. Sync works from 207 to 253 V (the band checked); no part is overloaded.",
        ),
        (
            '"34k", "34k"',
            "PASSES, if R1 and R2 are 1/4 W or larger. Sync works from 207 to 253 V "
            "(the band checked).",
        ),
        (
            '"33k", "33k"',
            "PASSES, if R1 and R2 are 1/2 W or larger. Sync works from 207 to 253 V "
            "(the band checked).",
        ),
    ],
)
def test_the_size_that_bears_is_named_below_and_above_its_limit(values: str, says: str) -> None:
    """Each turns (253 V / 2)^2 / R / 2 into heat: 40 mW, 235 mW and 242 mW, tolerances aside."""
    assert headline_text(zcd.check(zcd.loads(UNSIZED.replace("@", values)))) == says


def test_no_chip_is_larger_than_the_largest() -> None:
    """(253 V)^2 / 47.5 k / 2 = 0.67 W; a 2512 bears 0.5 W and 200 V, a leaded 1 W would bear it."""
    coded = zcd.check(zcd.loads(UNSIZED.replace("@", '"66C"')))
    assert headline_text(coded) == "FAILS: R1 is overloaded."
    assert not any("1 W" in line for line in finding_lines(coded))
    plain = zcd.check(zcd.loads(UNSIZED.replace("@", '"47k5"')))
    assert headline_text(plain).startswith("PASSES, if R1 is 1 W or larger.")


def test_a_style_that_is_assumed_is_told_once() -> None:
    board = zcd.loads(UNSIZED.replace("@", '"66C", "47k", "33k"'))
    assert assumed_text(board).count("chain style") == 1
    assert "chain style 1206 or 1/4 W" in assumed_text(board)


def test_a_repair_with_fewer_resistors_is_sent_back_to_what_was_there() -> None:
    """One resistor where there were two: a larger one of its value is not what to look for."""
    was = zcd.loads(BOARD)
    repaired = zcd.loads(
        BOARD.replace('["39k", "56k"], style = "1/2 W"', '["22k"], style = "1206"')
    )
    check = zcd.check(repaired, was=was)
    assert not check.passes
    assert list(culprit_lines(check)) == [
        "Fit what was there before: what was changed is named below."
    ]


def test_a_diode_that_breaks_down_is_said_to_and_what_it_would_see() -> None:
    """It holds the voltage at its own rating; else it blocks the peak of the mains with the LED,
    which takes what it is rated for (Kirchhoff's voltage law)."""
    signal = zcd.loads(SIGNAL_DIODE)
    (line,) = (line for line in finding_lines(checked(signal)) if "D1" in line)
    assert signal.optocoupler is not None
    blocked_v = 253.0 * 2**0.5 - signal.optocoupler.led.reverse_rating_v
    sees_v = unclamped_v(signal, "D1")
    assert sees_v == pytest.approx(blocked_v, rel=0.005)
    assert line == f"FAIL: D1 breaks down (it would see {sees_v:.0f} V, rated 75 V)"


def test_a_diode_that_blocks_is_not_said_to_break_down() -> None:
    assert not any("breaks down" in line for line in finding_lines(checked(zcd.loads(BOARD))))
    assert isnan(unclamped_v(zcd.loads(BOARD), "OC1.led"))  # no diode of the board
