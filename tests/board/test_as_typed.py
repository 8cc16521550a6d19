"""Thirty boards as people type them who have read the README only: plates, codes, half-known parts.

Of each the test tells what its writer meant. A board counts as understood if it is read so, or if
the one line of the error tells what to write instead.
"""

from __future__ import annotations

from dataclasses import dataclass

import pytest

from zcd.board.files import parse_board
from zcd.board.model import Board
from zcd.errors import InputError
from zcd.report.of_board import read_as_line
from zcd.report.of_check_answer import assumed_text

LEAST_UNDERSTOOD = 28
OUTPUT = 'output = {pull_up = "10k", supply = "5 V"}'


@dataclass(frozen=True, kw_only=True)
class Typed:
    """A board file as typed, and what was meant.

    Parameters
    ----------
    text : str
    ohms : tuple of float
        The chain.
    mains_v : tuple of float
        Lowest, nominal and highest voltage; empty: 230 V within 10 %.
    coupler : str
        Family and grade.
    said : tuple of str
        What must be echoed.
    asked : str
        What the error must tell; empty: the board is read.
    """

    text: str
    ohms: tuple[float, ...] = ()
    mains_v: tuple[float, ...] = (207.0, 230.0, 253.0)
    coupler: str = "817 any"
    said: tuple[str, ...] = ()
    asked: str = ""


BOARDS = {
    "chip codes": Typed(
        text="""
            mains = "230 V 50 Hz"
            rectifier = "M7"
            optocoupler = "EL817(C)"
            chain = {resistors = ["683", "683"], style = "1206"}
            output = {pull_up = "103", supply = "5 V"}
        """,
        ohms=(68e3, 68e3), coupler="817 C",
        said=('R1, R2 "683" = 68 kΩ', 'pull-up "103" = 10 kΩ', '"EL817(C)" = 817 grade C'),
    ),
    "a plate with ranges": Typed(
        text="""
            mains = "220-240V~ 50/60Hz 1800W"
            rectifier = "1N4007"
            optocoupler = "PC817"
            chain = {resistors = ["47k", "47k", "47k"], style = "1/2 W"}
            output = {pull_up = "10k", supply = "5V"}
        """,
        ohms=(47e3,) * 3, mains_v=(198.0, 230.0, 264.0),
        said=("230 V nominal, checked from 198 V to 264 V", "checked at 60 Hz too"),
    ),
    "colour bands": Typed(
        text="""
            mains = "AC 230 V 50 Hz"
            rectifier = "IN4007"
            optocoupler = "LTV-817S-C"
            chain.resistors = ["blue grey orange gold", "blue grey orange gold"]
            output = {pull_up = "brown black orange gold", supply = "5 V"}
        """,
        ohms=(68e3, 68e3), coupler="817 C", said=("68 kΩ (colour bands, ±5 %)",),
    ),
    "five bands": Typed(
        text="""
            mains = "230V"
            rectifier = "1N4007"
            optocoupler = "817B"
            chain = {resistors = ["grey red black red brown", "grey red black red brown"]}
            output = {pull_up = "4k7", supply = "5 V"}
        """,
        ohms=(82e3, 82e3), coupler="817 B",
    ),
    "decimal commas": Typed(
        text="""
            mains = "230,0 V 50 Hz"
            rectifier = "1N4007"
            optocoupler = "817C"
            chain = {resistors = "68k, 68k", style = "0,25 W"}
            output = {pull_up = "4,7k", supply = "3,3 V"}
        """,
        ohms=(68e3, 68e3), coupler="817 C",
    ),
    "one text for the chain": Typed(
        text="""
            mains = "230 V"
            rectifier = "1N4007"
            optocoupler = "817C"
            chain = "68k,68k"
            output = {pull_up = "10k", supply = "5 V"}
        """,
        ohms=(68e3, 68e3), coupler="817 C",
    ),
    "three of a kind": Typed(
        text="""
            mains = "~230V 50Hz"
            rectifier = "1N4007"
            optocoupler = "PC817X3"
            chain = {resistors = "3 x 39k", style = "1/2 watt"}
            output = {pull_up = "10K", supply = "5V"}
        """,
        ohms=(39e3,) * 3, coupler="817 C",
    ),
    "four figures": Typed(
        text="""
            mains = "120 V 60 Hz"
            rectifier = "S1M"
            optocoupler = "817D"
            chain = {resistors = ["2702", "2702"], style = "1206"}
            output = {pull_up = "1002", supply = "3.3 V"}
        """,
        ohms=(27e3, 27e3), mains_v=(114.0, 120.0, 126.0), coupler="817 D",
    ),
    "EIA-96": Typed(
        text="""
            mains = "120VAC 60Hz"
            rectifier = "M7"
            optocoupler = "TLP521-1GB"
            chain = {resistors = ["47C", "47C"], style = "1206"}
            output = {pull_up = "01C", supply = "5 V"}
        """,
        ohms=(30.1e3, 30.1e3), mains_v=(114.0, 120.0, 126.0), coupler="521 GB",
        said=("EIA-96 code",),
    ),
    "a burnt resistor": Typed(
        text="""
            mains = "230 V 50 Hz"
            rectifier = "1N4007"
            optocoupler = "817C"
            chain = {resistors = ["56k", "?", "56k"], style = "1/4 W"}
            output = {pull_up = "10k", supply = "5 V"}
        """,
        ohms=(56e3,) * 3, coupler="817 C", said=('R2 "?" = 56 kΩ, like its neighbour',),
    ),
    "about": Typed(
        text="""
            mains = "230 V 50 Hz"
            rectifier = "1N4007"
            optocoupler = "817C"
            chain = {resistors = ["82k", "about 82k"], style = "1/2 W"}
            output = {pull_up = "about 10k", supply = "5 V"}
        """,
        ohms=(82e3, 82e3), coupler="817 C",
    ),
    "a coupler by its sheet": Typed(
        text="""
            mains = "230 V 50 Hz"
            rectifier = {reverse_voltage = "600 V", current = "1 A"}
            optocoupler = {ctr = "50..600 % at 5 mA"}
            chain = {resistors = ["68k", "68k"], style = "1/2 W"}
            output = {pull_up = "10k", supply = "5 V"}
        """,
        ohms=(68e3, 68e3), coupler="four-pin coupler own data",
    ),
    "six pins, no name": Typed(
        text="""
            mains = "230 V 50 Hz"
            rectifier = "1 A rectifier"
            optocoupler = "six-pin coupler"
            chain = {resistors = ["22k", "22k"], style = "2 W"}
            output = {pull_up = "22k", supply = "5 V"}
        """,
        ohms=(22e3, 22e3), coupler="six-pin coupler any",
    ),
    "two LEDs, no name": Typed(
        text="""
            mains = "230V~ 50Hz"
            optocoupler = "?"
            chain = {topology = "two-led", resistors = ["33k", "33k"], style = "1 W"}
            led = {resistor = "2k2"}
            output = {pull_up = "10k", supply = "5 V"}
        """,
        ohms=(33e3, 33e3), coupler="AC coupler any",
    ),
    "a bridge in four pins": Typed(
        text="""
            mains = "230 V 50 Hz"
            rectifier = "MB6S"
            optocoupler = "TLP621"
            chain = {topology = "bridge", resistors = ["33k", "33k"], style = "1/2 W"}
            led = {resistor = "4k7"}
            output = {pull_up = "10k", supply = "5 V"}
        """,
        ohms=(33e3,), coupler="621 any",
    ),
    "a zener across the LED": Typed(
        text="""
            mains = "230 V 50 Hz"
            rectifier = "1N4005"
            clamp = "5V1 zener"
            optocoupler = "CNY17-3"
            chain = {topology = "half-wave-clamped", resistors = ["68k", "68k"], style = "1/2 W"}
            output = {pull_up = "10k", supply = "5 V"}
        """,
        ohms=(68e3, 68e3), coupler="CNY17 3",
    ),
    "capacitor codes": Typed(
        text="""
            mains = "230 V 50 Hz"
            rectifier = "1N4007"
            optocoupler = "817C"
            chain = {resistors = ["68k", "68k"], style = "1/2 W"}
            led = {capacitor = "2A103J"}
            output = {pull_up = "10k", supply = "5 V", pin_capacitor = "102"}
        """,
        ohms=(68e3, 68e3), coupler="817 C", said=("10 nF", "1 nF (capacitor code in pF)"),
    ),
    "tolerance and power beside the value": Typed(
        text="""
            mains = "230 V 50 Hz"
            rectifier = "DB107"
            optocoupler = "4N35"
            chain = {topology = "bridge", resistors = ["27k 5% 1W", "27k 5% 1W"]}
            led = {resistor = "3k3"}
            output = {pull_up = "10k", supply = "5 V"}
        """,
        ohms=(27e3,), coupler="4N35 any",
    ),
    "a US plate": Typed(
        text="""
            mains = "110-120V 60Hz"
            rectifier = "1N4004"
            optocoupler = "MCT2E"
            chain = {resistors = ["12k", "12k"], style = "1/2W"}
            output = {pull_up = "22k", supply = "5 volts"}
        """,
        ohms=(12e3, 12e3), mains_v=(99.0, 120.0, 132.0), coupler="MCT2E any",
    ),
    "an SMD rectifier's code": Typed(
        text="""
            mains = "230 V 50 Hz"
            rectifier = "A7"
            optocoupler = "EL357N(C)"
            chain = {resistors = ["473", "473", "473"], style = "1206"}
            output = {pull_up = "472", supply = "3V3"}
        """,
        ohms=(47e3,) * 3, coupler="357 C", said=('"A7" = M7',),
    ),
    "tolerance letters": Typed(
        text="""
            mains = "230V~"
            rectifier = "1N4007G"
            optocoupler = "CNY17"
            chain = {resistors = ["33KJ", "33KJ"], style = "1 W"}
            output = {pull_up = "10KF", supply = "5 V"}
        """,
        ohms=(33e3, 33e3), coupler="CNY17 any", said=("33K ±5 %",),
    ),
    "no quotes": Typed(
        text="mains = 230 V\n",
        asked='line 1: found a value without quotes; allowed: mains = "230 V"',
    ),
    "curly quotes": Typed(
        text="mains = \u201c230 V 50 Hz\u201d\nrectifier = \u201c1N4007\u201d\n",
        asked='curly quotes; allowed: mains = "230 V 50 Hz"',
    ),
    "a colon": Typed(text="mains: 230 V\n", asked='allowed: mains = "230 V"'),
    "two voltages on the plate": Typed(
        text="""
            mains = "110/220V 50Hz"
            rectifier = "1N4007"
            optocoupler = "817C"
            chain.resistors = ["68k", "68k"]
            output = {pull_up = "10k", supply = "5 V"}
        """,
        asked='the voltage that the board is set to: "110 V" or "220 V"',
    ),
    "an unknown coupler": Typed(
        text="""
            mains = "230 V 50 Hz"
            rectifier = "1N4007"
            optocoupler = "QX9017"
            chain.resistors = ["68k", "68k"]
            output = {pull_up = "10k", supply = "5 V"}
        """,
        asked='optocoupler = {ctr = "50..600 % at 5 mA"}',
    ),
    "an unknown diode": Typed(
        text="""
            mains = "230 V 50 Hz"
            rectifier = "ZZ11"
            optocoupler = "817C"
            chain.resistors = ["68k", "68k"]
            output = {pull_up = "10k", supply = "5 V"}
        """,
        asked='rectifier = {reverse_voltage = "600 V", current = "1 A"}',
    ),
    "a misspelt key": Typed(
        text="""
            mains = "230 V 50 Hz"
            rectifier = "1N4007"
            optocoupler = "817C"
            chain.resistors = ["68k", "68k"]
            output = {pullup = "10k", supply = "5 V"}
        """,
        asked='"pullup" is not known; write "pull_up"',
    ),
    "a code that may be a value": Typed(
        text="""
            mains = "230 V 50 Hz"
            rectifier = "1N4007"
            optocoupler = "817C"
            chain = {resistors = ["68k", "68k"], style = "1206"}
            led = {resistor = {value = "470", style = "0805"}}
            output = {pull_up = "10k", supply = "5 V"}
        """,
        asked='"47R" for 47 Ω (chip code) or "470R" for 470 Ω (in ohms)',
    ),
    "the README's table with a code and a rank": Typed(
        text="""
            mains = "220V 50Hz"
            optocoupler = "PC814A"
            chain = {topology = "two-led", resistors = ["333", "333"], style = "2512"}
            led = {resistor = "3k9"}
            output = {pull_up = "5k6", supply = "5 V"}
            feed = {kind = "switched", coil_supply = "24 V", coil_resistance = "1k44"}
        """,
        ohms=(33e3, 33e3), mains_v=(198.0, 220.0, 242.0), coupler="814 A",
        said=('"PC814A" = 814 grade A',),
    ),
}  # fmt: skip


COMMON = 'mains = "230 V 50 Hz"\nrectifier = "1N4007"\noptocoupler = "817C"\n' + OUTPUT
CHAIN = 'chain = {resistors = ["47k", "47k"]}'
NO_COUPLER = f'mains = "230 V 50 Hz"\n{OUTPUT}'
NO_CHAIN = f'{NO_COUPLER}\noptocoupler = "817C"'
ONCE_MISSED = {
    "all of a bridge on one side": Typed(
        text=f'''{COMMON.replace("1N4007", "MB6S")}
            chain = {{resistors = ["4702", "4702", "4702"], topology = "bridge"}}''',
        ohms=(47e3,) * 3, coupler="817 C",
    ),
    "both legs": Typed(
        text=f'{COMMON}\nchain = {{resistors = ["47k", "47k"], return_resistors = ["47k"]}}',
        ohms=(47e3, 47e3), coupler="817 C",
    ),
    "references with more than a value": Typed(
        text=f'{COMMON}\nchain = {{resistors = {{R12 = "68K 1%", R13 = "68K 1%"}}}}',
        ohms=(68e3, 68e3), coupler="817 C",
    ),
    "a sentence": Typed(
        text=COMMON.replace("817C", "unreadable, 4 pin DIP, transistor output") + f"\n{CHAIN}",
        ohms=(47e3, 47e3), coupler="four-pin coupler any", said=("= any four-pin coupler",),
    ),
    "a capacitor in the chain": Typed(
        text=f'{COMMON}\nchain = {{capacitor = "104 X2", resistors = ["1k"]}}',
        asked='write the circuit as you trace it',
    ),
    "a zener": Typed(text=f'{COMMON}\n{CHAIN}\nzener = "BZX55C5V1"', asked="circuit = [\"feed -"),
    "paths": Typed(text=f'paths = ["L", "R1 47k"]\n{COMMON}', asked="circuit = [\"feed -"),
    "a diode across": Typed(
        text=f'{COMMON}\n{CHAIN}\nantiparallel_diode = "T4"', asked='write "clamp"'
    ),
    "no pull-up": Typed(
        text=COMMON.replace("817C", "none").replace("10k", "none") + f"\n{CHAIN}",
        asked="nothing is isolated",
    ),
    "a contact on the path": Typed(
        text=f'{COMMON}\ncircuit = ["L - K1 contact - R1 68k - OC1 led+", "OC1 led- - N"]',
        asked='"K1 contact"; allowed: feed',
    ),
    "a chip size with its rating": Typed(
        text=f'{COMMON}\nchain = {{resistors = ["R1 4702", "R2 4702"], style = "1206 1/4 W"}}',
        ohms=(47e3, 47e3), coupler="817 C",
    ),
    "a class before the capacitor's value": Typed(
        text=f'''{NO_CHAIN}
            circuit = ["feed - C1 X2 0.047uF 275VAC - R1 2k2 - led+", "led- - neutral",
                       "led+ - D1 LL4148 < - neutral"]''',
        ohms=(2.2e3,), coupler="817 C",
    ),
    "two couplers like diodes": Typed(
        text=f'''{NO_COUPLER}
            circuit = ["feed - R1 47k 1/2W - R2 47k 1/2W - x", "x - OC1 PC817B > - neutral",
                       "x - OC2 PC817B < - neutral"]''',
        ohms=(47e3, 47e3), coupler="817 B",
    ),
    "two couplers of different types": Typed(
        text=f'''{NO_COUPLER}
            circuit = ["feed - R1 47k - x", "x - OC1 PC817B > - neutral",
                       "x - OC2 TLP785 < - neutral"]''',
        asked="one optocoupler, or two of the same type",
    ),
    "a transistor as a key": Typed(
        text=f'''{NO_COUPLER}
            transistor = "S8050 J3Y"
            circuit = ["feed - R1 224 - R2 224 - base", "emitter - neutral", "collector - pin"]''',
        asked='a line of its own in circuit: "Q1 S8050 J3Y"',
    ),
    "no coupler beside a chain": Typed(
        text='''mains = "230 V 50 Hz"
            optocoupler = "none"
            chain = {resistors = ["R1 1M", "R2 1M", "R3 1M"], style = "1206"}
            output = {supply = "3.3 V"}''',
        asked='circuit = ["feed - R1 1M - R2 1M - R3 1M - pin", "neutral - logic0"]',
    ),
    "a coil and its supply that nobody knows": Typed(
        text=f'''{COMMON.replace("817C", "SHARP PC123 FY2")}\n{CHAIN}
            feed = {{kind = "switched", coil_supply = "?", coil_resistance = "?"}}''',
        ohms=(47e3, 47e3), coupler="PC123 any",
        said=('coil supply "?" = 12 V, the usual one', '"SHARP PC123 FY2" = PC123'),
    ),
    "channels in a name": Typed(
        text=f'''{NO_COUPLER}\noptocoupler = "TLP620-1 (GB)"
            chain = {{topology = "two-led", resistors = ["R1 223", "R2 223"]}}''',
        ohms=(22e3, 22e3), coupler="TLP620 GB",
    ),
    "a point like a part": Typed(
        text=f'{NO_CHAIN}\ncircuit = ["feed - R2 1M - R2x", "R2x - led+", "led- - neutral"]',
        asked='a point needs a name unlike a part\'s, such as "x2x"',
    ),
    "into the pin, no optocoupler named": Typed(
        text=f'''{NO_COUPLER.replace('pull_up = "10k", ', "")}
            circuit = ["feed - R1 1M - R2 1M - pin", "pin - R3 1M - logic0", "logic0 - neutral"]''',
        ohms=(1e6, 1e6), coupler="none",
    ),
    "power of the chain in place of its style, a plate without spaces": Typed(
        text=f'''{COMMON.replace("230 V 50 Hz", "230V~50Hz 600W")}
            chain = {{resistors = ["47k", "47k"], power = "1/2 W"}}''',
        ohms=(47e3, 47e3), coupler="817 C",
    ),
    "a class with a comma": Typed(
        text=f'{COMMON.replace("817C", "optocoupler, 4 pin")}\n{CHAIN}',
        ohms=(47e3, 47e3), coupler="four-pin coupler any",
    ),
}  # fmt: skip
"""What another hand typed after the README alone, and what was then misread or refused without
the words to write instead."""


@pytest.mark.parametrize("name", ONCE_MISSED)
def test_what_was_missed_once(name: str) -> None:
    assert misread(ONCE_MISSED[name]) == ""


def misread(typed: Typed) -> str:
    """What was not understood as meant; empty: all of it."""
    try:
        board = parse_board(typed.text, "typed.toml")
    except InputError as error:
        return "" if typed.asked and typed.asked in str(error) else f"refused: {error}"
    if typed.asked:
        return "read without asking"
    return "; ".join(differences(board, typed))


def differences(board: Board, typed: Typed) -> list[str]:
    part, mains = board.optocoupler, board.mains
    result = []
    if [r.resistance_ohm for r in board.chains[0]] != pytest.approx(list(typed.ohms)):
        result.append(f"chain {board.chains[0]}")
    if (mains.low_rms_v, mains.rms_v, mains.high_rms_v) != pytest.approx(typed.mains_v):
        result.append(f"mains {mains}")
    named = "none" if part is None else f"{part.family} {part.grade}"
    if named != typed.coupler:
        result.append(f"coupler {named}")
    said = read_as_line(board)
    return result + [f"{words!r} not in {said!r}" for words in typed.said if words not in said]


def test_thirty_boards_are_understood() -> None:
    wrong = {name: said for name, typed in BOARDS.items() if (said := misread(typed))}
    assert len(BOARDS) == 30
    assert len(BOARDS) - len(wrong) >= LEAST_UNDERSTOOD, wrong


@pytest.mark.parametrize("name", [name for name, typed in BOARDS.items() if typed.asked])
def test_what_is_asked_is_one_line(name: str) -> None:
    with pytest.raises(InputError) as caught:
        parse_board(BOARDS[name].text, "typed.toml")
    assert len(str(caught.value).splitlines()) == 1


@pytest.mark.parametrize("style", ["1206 1/4 W", "1/4W 1206", "1206 (0.25 W)"])
def test_a_chip_size_with_its_rating(style: str) -> None:
    """The rating is the one written, the working voltage that of the size (by construction)."""
    chip = parse_board(f'{COMMON}\nchain = {{resistors = ["47k"], style = "1206"}}').chains[0][0]
    whole = parse_board(f'{COMMON}\nchain = {{resistors = ["47k"], style = "{style}"}}')
    one = parse_board(f'{COMMON}\nchain = {{resistors = ["47k {style}"]}}')
    for board in (whole, one):
        part = board.chains[0][0]
        assert (part.rated_power_w, part.working_v) == (0.25, chip.working_v)


@pytest.mark.parametrize("printed", ["X2 0.047uF 275VAC", "MKP X2 47n", "Y1 473", "275V~ X2 47nF"])
def test_a_class_before_a_capacitors_value(printed: str) -> None:
    lines = f'["feed - C1 {printed} - R1 2k2 - led+", "led+ - D1 M7 < - led-", "led- - neutral"]'
    board = parse_board(f"{NO_CHAIN}\ncircuit = {lines}")
    assert board.traced is not None
    assert [c.capacitance_f for c in board.traced.capacitors] == pytest.approx([47e-9])


def test_couplers_like_diodes_are_the_points_of_their_leds() -> None:
    like_diodes = '"x - U3 PC817C > - neutral", "x - U4 PC817C < - neutral"'
    points = '"x - led+", "led- - neutral", "x - led2-", "led2+ - neutral"'
    first, second = (
        parse_board(f'{NO_COUPLER}\n{key}\ncircuit = ["feed - R1 47k - x", {lines}]')
        for key, lines in (
            ("", like_diodes),
            ('optocoupler = {family = "PC817C", ref = "U3"}', points),
        )
    )
    assert first == second
    assert first.lit_twice


@pytest.mark.parametrize("key", ['"TLP785"', '{family = "817", grade = "C"}'])
def test_a_coupler_on_a_path_and_another_as_the_key(key: str) -> None:
    circuit = 'circuit = ["feed - R1 47k - OC1 PC817C > - neutral", "feed - R2 1M - neutral"]'
    with pytest.raises(InputError, match="no key optocoupler beside them"):
        parse_board(f"{NO_COUPLER}\noptocoupler = {key}\n{circuit}")


@pytest.mark.parametrize(
    ("parts", "topology"),
    [
        ('rectifier = "MB6S"\noptocoupler = "PC817C"', "bridge"),
        ('rectifier = "bridge"\noptocoupler = "PC817C"', "bridge"),
        ('rectifier = "1N4007"\noptocoupler = "PC817C"', "half-wave"),
        ('rectifier = "4 x 1N4007"\noptocoupler = "PC817C"', "bridge"),
        ('rectifier = "1N4007 (x4)"\noptocoupler = "PC817C"', "bridge"),
        ('clamp = "1N4148"\noptocoupler = "PC817C"', "clamped"),
        ('rectifier = "M7"\nclamp = "1N4148"\noptocoupler = "PC817C"', "half-wave-clamped"),
        ('optocoupler = "EL814A"', "two-led"),
    ],
)
def test_the_parts_tell_the_topology(parts: str, topology: str) -> None:
    """A package of four diodes is no single one, and two LEDs need none (by construction)."""
    text = f'mains = "230 V 50 Hz"\nchain.resistors = ["62k", "62k"]\n{parts}\n{OUTPUT}'
    board = parse_board(text)
    assert board.topology == topology
    said = read_as_line(board) + assumed_text(board)
    assert f"topology {topology}" in said or "1N4007, a bridge" in said


@pytest.mark.parametrize(
    ("mains", "frequency_hz"), [("110 V", 60.0), ("127V~", 60.0), ("115", 60.0), ("220 V", 50.0)]
)
def test_a_plate_without_hertz(mains: str, frequency_hz: float) -> None:
    """Networks of 105 to 130 V run at 60 Hz (common practice, no source), and it is said."""
    parts = 'rectifier = "1N4007"\noptocoupler = "PC817C"\nchain.resistors = ["62k", "62k"]'
    board = parse_board(f'mains = "{mains}"\n{parts}\n{OUTPUT}')
    assert board.mains.frequency_hz == frequency_hz
    assert f"mains frequency {frequency_hz:g} Hz" in assumed_text(board)


def test_a_package_of_four_diodes_is_no_half_wave() -> None:
    text = (
        'mains = "230 V 50 Hz"\nchain = {topology = "half-wave", resistors = ["62k", "62k"]}\n'
        f'rectifier = "MB6S"\noptocoupler = "817 C"\n{OUTPUT}'
    )
    with pytest.raises(InputError, match="a bridge goes with topology bridge"):
        parse_board(text)


@pytest.mark.parametrize(
    "coupler", ['{part = "PC817", grade = "C"}', '{type = "PC817C"}', '{part = "817", grade = "C"}']
)
def test_a_marking_is_a_part_or_a_type_of_any_table(coupler: str) -> None:
    """Who wrote rectifier = {part = ...} writes the same of the optocoupler."""
    board = parse_board(
        f'mains = "230 V"\nrectifier = {{type = "M7", ref = "D4"}}\noptocoupler = {coupler}\n'
        f'chain = ["68k", "68k"]\n{OUTPUT}\n'
    )
    assert board.optocoupler is not None
    assert board.rectifier is not None
    assert (board.optocoupler.family, board.optocoupler.grade) == ("817", "C")
    assert (board.rectifier.part, board.rectifier.ref) == ("M7", "D4")


def test_a_name_of_the_load_relay_is_not_asked_for() -> None:
    with pytest.raises(InputError, match="leave it out: the load relay is K1 here"):
        parse_board(
            'mains = "230 V"\nrectifier = "M7"\noptocoupler = "817C"\nchain = ["68k", "68k"]\n'
            f'{OUTPUT}\nfeed = {{kind = "switched", ref = "K2"}}\n'
        )
