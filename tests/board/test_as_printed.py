"""Tests of zcd.board.as_printed and mains_plate: a board file with what is printed on the parts."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from tests.board.boards import edited
from zcd.board.as_printed import as_printed, spread
from zcd.board.files import board_from_dict
from zcd.board.model import Board
from zcd.circuit.elements import MainsSource
from zcd.errors import InputError
from zcd.margin.tolerances import draw, tolerances_of
from zcd.report.of_board import read_as_line
from zcd.sync.lock import RULES, lock_of


def ohms(board: Board) -> list[float]:
    return [part.resistance_ohm for part in board.chains[0]]


def chain(*resistors: Any, **more: Any) -> Board:
    listed = resistors[0] if len(resistors) == 1 else list(resistors)
    return board_from_dict(edited(chain={"resistors": listed, **more}))


@pytest.mark.parametrize(
    ("written", "expected"),
    [
        ("68k,68k", [68e3, 68e3]),
        ("68k; 82k", [68e3, 82e3]),
        ("2 x 68k", [68e3, 68e3]),
        ("3×120k", [120e3] * 3),
        ("104 and 683", [100e3, 68e3]),
        (["68k,68k", "47k"], [68e3, 68e3, 47e3]),
        ("4,7k, 4,7k", [4.7e3, 4.7e3]),
        ("brown, black, yellow, gold", [100e3]),
        (["104 SMD", "1002"], [100e3, 10e3]),
        (["68k 1% 1/4W", "68k 0.5W"], [68e3, 68e3]),
        ("47k 47k 47k", [47e3] * 3),
        ("473 104 1206", [47e3, 100e3]),
        ("R12=47k R13=?", [47e3, 47e3]),
        ("1206 47k", [47e3]),
        (["M47", "39k"], [470e3, 39e3]),
        (["yel vio org gld", "4.7 kilohm", "1 Meg", "47 000"], [47e3, 4.7e3, 1e6, 47e3]),
        (["burnt, maybe 47k", "100k"], [47e3, 100e3]),
    ],
)
def test_lists_as_people_write_them(written: Any, expected: list[float]) -> None:
    assert ohms(board_from_dict(edited(chain={"resistors": written}))) == expected


def test_tolerance_and_power_behind_a_value() -> None:
    board = chain("68k 1% 1/4W", "68k 0.5 W", "blue grey orange red")
    assert [part.tolerance_ratio for part in board.chains[0]] == [0.01, 0.05, 0.02]
    assert [part.style for part in board.chains[0]] == ["1/4 W", "1/2 W", "1/4 W"]


@pytest.mark.parametrize(
    "style",
    ["0.25W", "1/4 watt", "250 mW", "0,25 W", "1/4W", "1/4", "¼ W", "carbon 1/4W", "CFR 0.25 W"],
)
def test_style_as_a_power(style: str) -> None:
    assert chain(["68k", "68k"], style=style).chains[0][0].style == "1/4 W"


@pytest.mark.parametrize(
    ("text", "style", "power_w"),
    [
        ("68k 0.6W", "1/2 W", 0.6), ("68k 0,4 W", "1/4 W", 0.4), ("68k 1.5 W", "1 W", 1.5),
        ("68k 5 W", "5 W", 5.0), ("68k 1/6 W", "1/6 W", 1 / 6), ("68k 2/3 W", "1/2 W", 2 / 3),
    ],
)  # fmt: skip
def test_power_between_two_styles(text: str, style: str, power_w: float) -> None:
    """Metal film is sold with 0.4 and 0.6 W: voltage of the smaller style, its own power."""
    value, _, printed = text.partition(" ")
    lines = edited(chain=None, circuit=["L - R1 68k - D1 1N4007 > - led+", "led- - N"])
    del lines["rectifier"]
    lines["chain"] = {"style": printed}
    for board in chain(text), chain([value], style=printed), board_from_dict(lines):
        (part,) = board.chains[0]
        assert part.style == style
        assert part.rated_power_w == pytest.approx(power_w, rel=1e-2)
        assert not part.size_assumed


@pytest.mark.parametrize(
    ("text", "style"),
    [
        ("47k 1W MOF", "1 W"), ("47 kΩ (1 W)", "1 W"), ("47k carbon film 1/2W", "1/2 W"),
        ("470K 1/2W fusible", "1/2 W"), ("47k 1206 SMD", "1206"), ("1/2W 47k", "1/2 W"),
        ("R12: 47k 1206", "1206"), ("47k (beside the fuse)", "1/4 W"),
    ],
)  # fmt: skip
def test_size_and_words_beside_a_value(text: str, style: str) -> None:
    assert chain(text, "47k").chains[0][0].style == style


@pytest.mark.parametrize(
    ("written", "style"),
    [
        ("quarter watt", "1/4 W"), ("1W metal oxide", "1 W"), ("SMD 1206", "1206"),
        ("3216", "1206"), ("2012", "0805"),
    ],
)  # fmt: skip
def test_style_in_words(written: str, style: str) -> None:
    """3216 and 2012: tenths of a millimetre of the sizes 1206 and 0805."""
    assert chain(["68k", "68k"], style=written).chains[0][0].style == style


@pytest.mark.parametrize("style", ["?", "unknown", "through hole", "axial", "carbon film"])
def test_a_style_that_nobody_knows_is_not_written(style: str) -> None:
    assert chain(["68k", "68k"], style=style).chains[0][0].size_assumed


def test_what_was_understood_is_said() -> None:
    board = chain("104", "104", "01D")
    assert read_as_line(board) == (
        'Read as: R1, R2 "104" = 100 kΩ (chip code); R3 "01D" = 100 kΩ (EIA-96 code, ±1 %).'
    )
    assert read_as_line(chain("100k", "100k")) == ""


def test_two_meanings_are_decided_by_what_a_chain_can_have() -> None:
    """154 ohm in a mains chain would burn; 220 ohm and 22 ohm are as unlikely as each other."""
    board = chain("154", "105")
    assert ohms(board) == [150e3, 1e6]
    told = '"154" = 150 kΩ (chip code; if it is 154 Ω, write 154R)'
    assert told in read_as_line(board)
    assert ohms(chain("220", "100k")) == [220.0, 100e3]
    with pytest.raises(InputError, match=r'"22R" for 22 Ω \(chip code\) or "220R" for 220 Ω'):
        chain(["220", "100k"], style="1206")


def test_a_jumper_is_left_out() -> None:
    with pytest.raises(InputError, match="jumper, 0 Ω: leave it out") as caught:
        chain("000", "100k")
    assert len(str(caught.value).splitlines()) == 1


@pytest.mark.parametrize(
    ("plate", "volts", "hertz"),
    [
        ("230V~ 50Hz", (207, 230, 253), (49.5, 50, 50.5)),
        ("AC 230 V 50 Hz 1200 W", (207, 230, 253), (49.5, 50, 50.5)),
        ("~230V", (207, 230, 253), (49.5, 50, 50.5)),
        ("1~ 230 V, 50 Hz", (207, 230, 253), (49.5, 50, 50.5)),
        ("220-240V~ 50/60Hz", (198, 230, 264), (49.5, 50, 60.6)),
        ("220–240 V ~ 50-60 Hz 2000W", (198, 230, 264), (49.5, 50, 60.6)),
        ("100-240V~ 50/60Hz 2.5A", (90, 230, 264), (49.5, 50, 60.6)),
        ("110-127V~ 60Hz", (99, 120, 139.7), (59.4, 60, 60.6)),
        ("110-120V 50/60Hz", (99, 120, 132), (49.5, 60, 60.6)),
        ("120VAC 60Hz", (114, 120, 126), (59.4, 60, 60.6)),
        ("1/N/PE ~ 230 volts 50 hertz", (207, 230, 253), (49.5, 50, 50.5)),
        ("230V 50", (207, 230, 253), (49.5, 50, 50.5)),
        ("120/60", (114, 120, 126), (59.4, 60, 60.6)),
        ("50/60Hz 220-240V", (198, 230, 264), (49.5, 50, 60.6)),
        ("220V-50Hz", (198, 220, 242), (49.5, 50, 50.5)),
        ("220-230-240V 50Hz", (198, 230, 264), (49.5, 50, 50.5)),
        ("220/240 V 50 Hz", (198, 230, 264), (49.5, 50, 50.5)),
    ],
)
def test_rating_plates(plate: str, volts: tuple[float, ...], hertz: tuple[float, ...]) -> None:
    """Limits of 230 V: IEC 60038, 207 V to 253 V; of 120 V: Maryland rule, 114 V to 126 V; a range
    is taken to 10 % beyond each end (common practice, no source)."""
    mains = board_from_dict(edited(mains=plate)).mains
    assert (mains.low_rms_v, mains.rms_v, mains.high_rms_v) == pytest.approx(volts)
    assert (mains.low_hz, mains.frequency_hz, mains.high_hz) == pytest.approx(hertz)


def test_a_plate_in_its_table() -> None:
    short = board_from_dict(edited(mains="220-240V~ 50/60Hz"))
    table = board_from_dict(edited(mains={"voltage": "220-240V~", "frequency": "50/60 Hz"}))
    assert short.mains == table.mains
    assert "checked from 198 V to 264 V" in read_as_line(short)
    assert "checked at 60 Hz too" in read_as_line(short)


def test_two_supplies_are_asked_about() -> None:
    with pytest.raises(InputError, match='the board is set to: "110 V" or "220 V"'):
        board_from_dict(edited(mains="110/220V 50Hz"))


def test_limits_of_the_voltage_belong_to_no_band() -> None:
    wide = board_from_dict(edited(mains={"voltage": 230, "low_voltage": 190}))
    assert (wide.mains.low_rms_v, wide.mains.high_rms_v) == pytest.approx((190.0, 253.0))
    for more, words in (
        ({"band": "EN 50160"}, "low_voltage or band, not both"),
        ({"tolerance": "5 %"}, "low_voltage or tolerance, not both"),
    ):
        with pytest.raises(InputError, match=words):
            board_from_dict(edited(mains={"voltage": 230, "low_voltage": 190, **more}))
    with pytest.raises(InputError, match="at most the mains voltage, 230 V"):
        board_from_dict(edited(mains={"voltage": 230, "low_voltage": 240}))


@pytest.mark.parametrize(
    ("text", "farad"),
    [
        ("104", 100e-9),
        ("2A104J", 100e-9),
        ("0.1uF K 275V~", 100e-9),
        ("100n X2", 100e-9),
        ("0,1", 100e-9),
        (104, 100e-9),
        ("4n7J", 4.7e-9), ("10nF/50V", 10e-9), ("103K 1kV", 10e-9), ("10n ±10 % ceramic", 10e-9),
        ("C5 10n 0603", 10e-9), ("10 000 pF", 10e-9), ("1uF electrolytic 50V", 1e-6),
        ("0.1 MFD", 100e-9), ("100nK63", 100e-9), ("47nJ400V", 47e-9),
    ],
)  # fmt: skip
def test_capacitors(text: Any, farad: float) -> None:
    board = board_from_dict(edited(led={"capacitor": text}))
    assert board.led_capacitor is not None
    assert board.led_capacitor.capacitance_f == pytest.approx(farad, rel=1e-12)


def test_references_before_any_part() -> None:
    """As in a part list; a type of letters and figures is no reference."""
    board = board_from_dict(
        edited(
            rectifier="D5 1N4007",
            optocoupler="U2: PC817 C",
            output={"pull_up": "R9 10k", "supply": "5 V", "pin_capacitor": "C3 104"},
        )
    )
    assert board.rectifier is not None
    parts = board.rectifier, board.optocoupler, board.output.resistor, *board.capacitors
    assert [part.ref for part in parts] == ["D5", "U2", "R9", "C3"]
    assert [part.ref for part in board.with_(C3="222").capacitors] == ["C3"]
    behind = board_from_dict(edited(rectifier="1N4007 (D5)", optocoupler="PC817C (U2)"))
    assert behind.rectifier is not None
    assert (behind.rectifier.ref, behind.optocoupler.ref) == ("D5", "U2")
    plain = board_from_dict(edited(rectifier="M7 1000V", optocoupler="PC817 C"))
    assert plain.rectifier is not None
    assert (plain.rectifier.ref, plain.optocoupler.ref) == ("D1", "OC1")


@pytest.mark.parametrize("written", ["+3V3", "VCC 3.3V", "Vdd = 3.3 V", "+3.3"])
def test_the_supply_by_its_name(written: str) -> None:
    assert board_from_dict(edited(output={"supply": written})).output.supply_v == 3.3


@pytest.mark.parametrize(
    ("written", "kind"),
    [("relay", True), ("behind the load relay", True), ("line", False), ("always live", False)],
)
def test_words_for_where_the_chain_is_fed(written: str, kind: bool) -> None:
    for feed in (written, {"kind": written}):
        board = board_from_dict(edited(feed=feed))
        assert (board.relay is not None) is kind
        assert f'"{written}" = {"switched" if kind else "direct"}' in read_as_line(board)


def test_the_controller_by_its_input() -> None:
    short, table = (
        board_from_dict(edited(controller=written))
        for written in ("ATmega328P", {"input": "ATmega328P"})
    )
    assert short.controller == table.controller


def test_references_as_keys_beside_others() -> None:
    lines = {key: value for key, value in edited().items() if key != "chain"}
    for chain in (
        {"R5": "68k", "R6": "82k", "style": "1206"},
        {"resistors": [{"R5": "68k"}, {"R6": "82k"}], "style": "1206"},
    ):
        (string,) = board_from_dict({**lines, "chain": chain}).chains
        assert [(r.ref, r.resistance_ohm) for r in string] == [("R5", 68e3), ("R6", 82e3)]


def test_a_supply_that_nobody_knows_is_said() -> None:
    board = board_from_dict(edited(output={"supply": "?"}))
    assert board.output.supply_v == 5.0
    assert '"?" = 5 V, the usual one; measure it' in read_as_line(board)


@pytest.mark.parametrize("written", ["400Ω ±10%", "approx 400", "~400R", "ca. 400 ohm"])
def test_what_is_known_of_a_coil(written: str) -> None:
    feed = {"kind": "switched", "coil_supply": "DC12V", "coil_resistance": written}
    relay = board_from_dict(edited(feed=feed)).relay
    assert relay is not None
    assert (relay.coil_supply_v, relay.coil_resistance_ohm) == (12.0, 400.0)


def test_a_reference_as_a_key_of_one_part() -> None:
    chain_of = {"R12": "68K 1%", "R13": "68K 1%"}
    output = {"pull_up": {"R20": "10K"}}
    board = board_from_dict(edited(chain={"resistors": chain_of}, output=output))
    assert [(r.ref, r.tolerance_ratio) for r in board.chains[0]] == [("R12", 0.01), ("R13", 0.01)]
    assert board.output.resistor is not None
    assert board.output.resistor.ref == "R20"


def test_the_other_meaning_of_bands_is_one_that_there_is() -> None:
    """Read from its other end it is brown red black grey blue: 12 GΩ."""
    assert read_as_line(chain("blue grey black red brown", "68k")).count("if it is") == 0


def test_a_capacitor_with_two_meanings_is_asked_about() -> None:
    with pytest.raises(InputError, match=r'"10p" for 10 pF .* or "100p" for 100 pF'):
        board_from_dict(edited(led={"capacitor": "100"}))


def test_a_part_of_a_list_is_changed_alone() -> None:
    board = chain("2 x 104")
    assert ohms(board.with_(R2="82k")) == [100e3, 82e3]


@pytest.mark.parametrize("value", [{}, {"chain": 5}, {"mains": None}, {"led": {"capacitor": []}}])
def test_what_is_no_board_is_left_to_the_schema(value: dict[str, Any]) -> None:
    assert as_printed(spread(value)).problems == []


def test_a_network_has_one_of_two_frequencies() -> None:
    """Nobody's mains has 55 Hz; with 1 % of either, the pulses are even."""
    board = board_from_dict(edited(mains="230V 50/60Hz"))
    (frequency,) = (t for t in tolerances_of(board) if t.name == "mains frequency")
    drawn = draw(board, [frequency], np.linspace(0.0, 1.0, 21)[:, np.newaxis])
    hertz = np.asarray(drawn.circuit.of(MainsSource)[0].frequency_hz)
    near = np.minimum(abs(hertz / 50.0 - 1.0), abs(hertz / 60.0 - 1.0))
    assert near.max() == pytest.approx(0.01)
    assert (hertz.min(), hertz.max()) == pytest.approx((49.5, 60.6))
    uneven = lock_of(drawn.circuit, board).margins[:, RULES.index("period")]
    assert uneven.min() > 0.0


@pytest.mark.parametrize(
    "written",
    [
        ["R4 = 68k", "R5: 82k"],
        ["R4 68k", "R5 82k 1%"],
        {"R4": "68k", "R5": "82k"},
        "R4 68k, R5 82k",
        ["R4 68k (scorched)", "R5 823"],
        ["R4", "683", "R5", "823"],
        "R4 683 R5 823",
        "R4: 68k; R5: 82k",
    ],
)
def test_resistors_by_their_names(written: Any) -> None:
    board = board_from_dict(edited(chain={"resistors": written}))
    assert {r.ref: r.resistance_ohm for r in board.chains[0]} == {"R4": 68e3, "R5": 82e3}


@pytest.mark.parametrize("written", [["R12", "R13"], ["R12 R13"], ["R12 68k", "R13"], ["r470"]])
def test_a_reference_without_a_value_is_asked_about(written: Any) -> None:
    """Never 0.12 ohm, as IEC 60062 would read it: no resistor of this circuit is below one ohm."""
    with pytest.raises(InputError, match=r'its value too: "R1[23] 47k"|"r470 47k"'):
        board_from_dict(edited(chain={"resistors": written}))


def test_power_behind_a_stroke() -> None:
    board = chain("68k/0.5W", "68k 1/4W 5%", "68k±1%", "68k 2 %, 1/2 W")
    assert [part.style for part in board.chains[0]] == ["1/2 W", "1/4 W", "1/4 W", "1/2 W"]
    assert [part.tolerance_ratio for part in board.chains[0]] == [0.05, 0.05, 0.01, 0.02]


def test_tolerance_of_the_mains_behind_its_voltage() -> None:
    mains = board_from_dict(edited(mains="230 V +-15 % 50 Hz")).mains
    assert (mains.low_rms_v, mains.high_rms_v) == pytest.approx((195.5, 264.5))


def test_topology_in_two_words() -> None:
    assert chain(["68k", "68k"], topology="Half wave").topology == "half-wave"


@pytest.mark.parametrize(
    ("parts", "expected"),
    [
        ({"rectifier": "M7"}, "half-wave"),
        ({"clamp": "1N4148"}, "clamped"),
        ({"rectifier": "M7", "clamp": "1N4148"}, "half-wave-clamped"),
        ({"rectifier": "DB107"}, "bridge"),
        ({"optocoupler": "EL814"}, "two-led"),
    ],
)
def test_topology_of_the_parts(parts: dict[str, str], expected: str) -> None:
    """Where none is written, the only one with such diodes and LEDs; the chain is but a list."""
    file = {
        "mains": "230 V 50 Hz", "chain": ["104", "104"], "optocoupler": "817C",
        "output": {"pull_up": "103", "supply": "5 V"},
    }  # fmt: skip
    board = board_from_dict(file | parts)
    assert board.topology == expected
    assert sum(ohms(board)) + sum(r.resistance_ohm for r in board.return_chain) == 200e3
    with pytest.raises(InputError, match="or what there is in its place"):
        board_from_dict(file)


@pytest.mark.parametrize(
    ("plate", "volts", "hertz"),
    [
        ("Rated Voltage 230V~ Rated frequency 50Hz 45W", 230.0, 50.0),
        ("Input voltage: 120V AC 60Hz Power 900W", 120.0, 60.0),
        ("Power supply 230V 50Hz", 230.0, 50.0),
    ],
)
def test_words_of_a_plate(plate: str, volts: float, hertz: float) -> None:
    mains = board_from_dict(edited(mains=plate)).mains
    assert (mains.rms_v, mains.frequency_hz) == (volts, hertz)
