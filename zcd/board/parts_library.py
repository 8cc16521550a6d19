"""Parts from the reference tables: what a style, a part number or a grade stands for.

Where makers differ the lowest limit counts, and the part's `source` says so.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from math import isnan, log, sqrt
from statistics import median

from zcd import refdata
from zcd.board.diode_names import (
    BRIDGE,
    DIODE_IN_WORDS,
    OWN_DIODE,
    RECTIFIER,
    SIGNAL,
    ZENER,
    OwnDiode,
    diode_by_words,
    diode_parts,
    is_one_piece_bridge,
    table_part,
)
from zcd.board.model import Board, Diode, Junction, Resistor
from zcd.board.pins import INTERNAL_PULL_UP
from zcd.board.preferred import is_preferred
from zcd.board.units import find_name, format_si, nearest
from zcd.errors import invalid_value

UNKNOWN_STYLE = "1/4 W"
UNKNOWN_CHIP = "1206"
_CHIPS = ("0603", "0805", "1206", "1210", "2010", "2512")
_LEADED = ("1/8 W", "1/4 W", "1/2 W", "1 W", "2 W")
"""Usual sizes; no resistor of such a chain is larger: common practice, no source."""
OFFERED_DIODES = ("1N4007", "1N4148", "M7", "S1M", "DB107", "MB10S")
"""Of these a replacement is looked for where no drawer says what there is: the common ones."""

# How the forward voltage falls with temperature: gap 1.11 eV plus 3 kT/q, as the saturation
# current goes with T**3; textbook form.
SILICON_GAP_V = 1.19

PUBLIC_MAINS_V = 100.0, 240.0
"""Lowest and highest voltage that plates of appliances name: common practice, no source."""

_LAWS = {RECTIFIER: "1N4007", BRIDGE: "1N4007", SIGNAL: "1N4148", ZENER: "1N4148"}
_SMALLEST_RECTIFIER_A = 0.4
_HOUSE_CODES = {
    "T4": 'often 1N4148W: write "1N4148W" if the body is a SOD-123',
    "T6": 'often 1N4148WS: write "1N4148WS" if the body is a SOD-323',
    **dict.fromkeys(("JS", "KT3"), 'often BAS21: write "BAS21" if the body is a SOT-23'),
    "H3": 'often BAV21W: write "BAV21W" if the body is a SOD-123',
    "W1": 'of several makers: measure it and write "signal diode"',
    "A7": 'with 2 pins the rectifier "SOD4007", with 3 pins the pair "BAV99"',
}
"""Two-letter marks that differ by maker (A7: Zibo Seno SOD-123FL sheet; others: Diodes sheets)."""

_ZENER_TEST_A = 5e-3
"""At which small zeners are specified: common practice, no source."""
_NO_OVERLOAD_GIVEN = 2.0
PULSE_PROOF = "pulse-proof"
"""Of the makes of a style, those that nobody takes for an ordinary one."""
_LED_CURRENT_LIMIT_A = 0.05
_PIN_CURRENT_LIMIT_A = 0.05
"""More than any optocoupler's transistor can pull down: common practice, no source."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ResistorLimits:
    """What a resistor style may stand: power at 70 degC, continuous and overload voltage.

    `usual_power_w`: what most makers rate it for, pulse-proof makes apart.
    """

    style: str
    rated_power_w: float
    usual_power_w: float
    working_v: float
    overload_v: float
    source: str


def styles() -> tuple[str, ...]:
    """Return the known resistor styles."""
    return tuple(dict.fromkeys(str(row["style"]) for row in refdata.table("resistor_styles")))


def resistor_limits(style: str, key: str = "") -> ResistorLimits:
    """Limits of a resistor style: the lowest among the makers read.

    Parameters
    ----------
    style : str
        As the trade prints it, such as ``1206``, ``1/4 W`` or ``MFR-25``.
    key : str, optional
        Where it stood, for the message.

    Returns
    -------
    ResistorLimits

    Raises
    ------
    InputError
        If the style is unknown.

    Examples
    --------
    >>> resistor_limits("2512").working_v
    200.0
    """
    name = find_name(style, styles())
    if name is None:
        raise invalid_value(style, f"one of {', '.join(styles())}{nearest(style, styles())}", key)
    rows = [row for row in refdata.table("resistor_styles") if row["style"] == name]
    makers = [row for row in rows if row["maker"] != "any"]
    lowest = {
        column: min(
            (float(row[column]) for row in rows if not isnan(float(row[column]))), default=0.0
        )
        for column in ("rated_power_w", "working_v", "overload_v")
    }
    ordinary = [
        float(row["rated_power_w"]) for row in makers if PULSE_PROOF not in str(row["kind"])
    ]
    usual_power_w = max(median(ordinary or [0.0]), lowest["rated_power_w"])
    source = "; ".join(f"{row['maker']} [{row['source']}]" for row in makers)
    disagree = any(
        len({float(row[column]) for row in makers if not isnan(float(row[column]))}) > 1
        for column in lowest
    )
    if disagree:
        source = f"lowest of several data sheets: {source}"
    elif not makers:
        source = str(rows[0]["note"])
    if not lowest["overload_v"]:
        lowest["overload_v"] = _NO_OVERLOAD_GIVEN * lowest["working_v"]
        source += "; overload not given: twice the working voltage, common practice, no source"
    return ResistorLimits(style=name, source=source, usual_power_w=usual_power_w, **lowest)


def usual_sizes(style: str) -> tuple[str, ...]:
    """The usual sizes of a make, chip or leaded, the smallest first.

    Examples
    --------
    >>> usual_sizes("1206")[-1], usual_sizes("MFR-25")[-1]
    ('2512', '2 W')
    """
    return _CHIPS if is_chip(style) else _LEADED


def is_chip(style: str) -> bool:
    """Whether a style is the size of a chip."""
    return style.isdecimal() and not style.startswith("02")


def size_that_bears(style: str, power_w: float, working_v: float) -> str | None:
    """The smallest usual size that bears a load.

    Parameters
    ----------
    style : str
        Its make counts, chip or leaded.
    power_w, working_v : float
        Rated power and voltage that are needed.

    Returns
    -------
    style : str or None
        Of the same make; None where none will do.

    Examples
    --------
    >>> size_that_bears("1/4 W", 0.7, 255.0), size_that_bears("0805", 0.7, 255.0)
    ('1 W', None)
    """
    for size in usual_sizes(style):
        able = resistor_limits(size)
        if able.rated_power_w >= power_w and able.working_v >= working_v:
            return size
    return None


def resistor(
    *,
    ref: str,
    resistance_ohm: float,
    tolerance_ratio: float,
    style: str,
    power_w: float | None = None,
    working_v: float | None = None,
    size_assumed: bool = False,
    key: str = "",
) -> Resistor:
    """Make a resistor with the limits of its style, or those that were written.

    Parameters
    ----------
    ref : str
    resistance_ohm : float
        Nominal resistance. [Ω]
    tolerance_ratio : float
    style : str
    power_w, working_v : float, optional
        Written limits, in place of the style's. The overload voltage follows a written working
        voltage in the same proportion.
    size_assumed : bool, optional
        Whether nobody wrote the style.
    key : str, optional
        Where the style stood, for the message.

    Returns
    -------
    Resistor

    Raises
    ------
    InputError
        If the style is unknown.
    """
    limits = resistor_limits(style, key)
    source = limits.source
    overload_v = limits.overload_v
    usual_w = limits.usual_power_w if power_w is None and not size_assumed else 0.0
    if working_v is not None:
        overload_v *= working_v / limits.working_v
    if power_w is not None or working_v is not None:
        source = f"limits as written in the board file, the others: {source}"
    return Resistor(
        ref=ref,
        resistance_ohm=resistance_ohm,
        tolerance_ratio=tolerance_ratio,
        style=limits.style,
        rated_power_w=limits.rated_power_w if power_w is None else power_w,
        working_v=limits.working_v if working_v is None else working_v,
        overload_v=overload_v,
        source=source,
        size_assumed=size_assumed,
        usual_power_w=usual_w if usual_w > limits.rated_power_w else None,
    )


def kind_of_diode(part: Diode) -> str:
    """What a diode is: `ZENER`, `BRIDGE` (four in one piece) or `RECTIFIER`, small ones too.

    Examples
    --------
    >>> [kind_of_diode(diode(name, ref="D1")) for name in ("5V1 zener", "DB107", "1N4148")]
    ['zener', 'bridge', 'rectifier']
    """
    if part.junction.is_zener:
        return ZENER
    return BRIDGE if is_one_piece_bridge(part.part) else RECTIFIER


def zener_v(part: Diode) -> float:
    """Printed voltage of a zener."""
    own = diode_by_words(part.part)
    assert own is not None
    assert own.breakdown_v is not None
    return own.breakdown_v


def own_diode(own: OwnDiode, *, ref: str) -> Diode:
    """Make a diode from its own data; what is not given is that of its class.

    Parameters
    ----------
    own : OwnDiode
    ref : str

    Returns
    -------
    Diode
        Its law is that of the common part of the class.
    """
    small = own.current_a is not None and own.current_a < _SMALLEST_RECTIFIER_A
    kind = SIGNAL if own.kind == RECTIFIER and small else own.kind
    base = diode(_LAWS[kind], ref=ref)
    law = base.junction
    reverse_v = own.reverse_v or own.breakdown_v or law.reverse_rating_v
    is_zener = kind == ZENER and own.breakdown_v is not None
    if is_zener:
        from zcd.physics.diode import thermal_voltage_v  # loads slowly

        # a zener's voltage is that at its test current; breakdown begins below it
        knee_v = law.emission_ratio * float(thermal_voltage_v(refdata.REFERENCE_DEGC))
        reverse_v -= knee_v * log(_ZENER_TEST_A / law.saturation_current_a)
    return replace(
        base,
        part=own.label,
        junction=replace(law, reverse_rating_v=reverse_v, is_zener=is_zener),
        source=f"{own.source or 'data of the board file'}; its law that of the {_LAWS[kind]}, "
        f"{base.source}",
        rated_power_w=own.power_w,
        zero_power_degc=own.zero_power_degc,
        rated_current_a=own.current_a,
    )


def diode(part: str, *, ref: str, key: str = "") -> Diode:
    """Make a rectifier or clamp diode from its part number, or what is known of it in words.

    Parameters
    ----------
    part : str
        Such as ``1N4007`` or ``600 V 1 A bridge``.
    ref : str
    key : str, optional
        Where the part stood, for the message.

    Returns
    -------
    Diode
        Leakage is a typical one, as a resistance: see `typical_leak_ohm`.

    Raises
    ------
    InputError
        If the part is unknown.

    Examples
    --------
    >>> diode("1n4007", ref="D1").junction.reverse_rating_v
    1000.0
    """
    name = table_part(part)
    if name is None and (own := diode_by_words(part)) is not None:
        return own_diode(own, ref=ref)
    if name is None:
        where = key.partition(".")[0]
        other = OWN_DIODE.format(key=where) if where in ("rectifier", "clamp") else DIODE_IN_WORDS
        if (code := _HOUSE_CODES.get(part.strip().upper())) is not None:
            raise invalid_value(part, f"one part, {code}; {other}", key)
        if "zener" in part.casefold():
            raise invalid_value(part, 'its voltage with it, such as "5V1 zener"', key)
        near = nearest(part, OFFERED_DIODES) or nearest(part, diode_parts())
        if re.fullmatch(r"[\d.,]+\s*[^\W\d_]?", part.strip()):  # a value or a size, no name
            near = ""
        raise invalid_value(part, f'a known diode such as "1N4007" or "1N4148"{near}; {other}', key)
    row = next(row for row in refdata.table("diodes") if row["part"] == name)
    model = next(m for m in refdata.table("diode_models") if m["model"] == row["model"])
    current_a = float(row["average_current_a"])
    return Diode(
        ref=ref,
        part=name,
        junction=Junction(
            saturation_current_a=float(model["saturation_current_a"]),
            emission_ratio=float(model["emission_ratio"]),
            series_ohm=float(model["series_ohm"]),
            gap_v=float(model["gap_v"]),
            leak_ohm=typical_leak_ohm(row["reverse_leak_at_v"], row["reverse_leak_a"]),
            reverse_rating_v=float(row["reverse_rating_v"]),
            leak_rise_per_k=log(float(row["reverse_leak_hot_a"]) / float(row["reverse_leak_a"]))
            / (float(row["hot_degc"]) - refdata.REFERENCE_DEGC),
            capacitance_f=float(row["capacitance_f"]),
        ),
        source=f"limits [{row['source']}], law [{model['source']}]",
        rated_current_a=None if isnan(current_a) else current_a,
    )


def typical_leak_ohm(at_v: str | float, maximum_a: str | float) -> float:
    """Reverse leakage of a typical part as a resistance, from the data sheet's maximum.

    Parameters
    ----------
    at_v, maximum_a : float
        Reverse voltage and the largest current that the sheet allows there.

    Returns
    -------
    float
        Ohms; the share of the maximum is `junction.typical_leak_ratio` of the defaults.
    """
    share = refdata.default("junction.typical_leak_ratio").value
    return float(at_v) / float(maximum_a) / share


def odd_values(board: Board) -> tuple[str, ...]:
    """Point out resistors that were perhaps misread.

    Parameters
    ----------
    board : Board

    Returns
    -------
    tuple of str
        One for mains that are none, one for each value in neither E24 nor E96, and one if the
        chain lets more current through the LED than any optocoupler stands.
    """
    by_value: dict[float, list[str]] = {}
    for part in all_resistors(board):
        if part.ref != INTERNAL_PULL_UP and not is_preferred(part.resistance_ohm):
            by_value.setdefault(part.resistance_ohm, []).append(part.ref)
    lines = [
        f"{' and '.join(refs)} = {format_si(ohm, 'Ω')} is no standard value"
        f"{_marking_hint(ohm)}; read the part again."
        for ohm, refs in by_value.items()
    ]
    lines = [*odd_mains(board.mains.rms_v), *lines, *_missing_prefixes(board)]
    if (pull_up := board.output.resistor) is not None:
        through_a = board.output.supply_v / pull_up.resistance_ohm
        if through_a > _PIN_CURRENT_LIMIT_A:
            ohms, through = format_si(pull_up.resistance_ohm, "Ω"), format_si(through_a, "A")
            lines.append(f"the pull-up of {ohms} would pass {through}; read it again.")
    if board.traced is not None:
        return tuple(lines)
    conductance = sum(1 / sum(r.resistance_ohm for r in string) for string in board.chains)
    chain_ohm = 1 / conductance + sum(r.resistance_ohm for r in board.return_chain)
    peak_a = sqrt(2) * board.mains.high_rms_v / chain_ohm
    if peak_a > _LED_CURRENT_LIMIT_A:
        lines.append(
            f"the chain of {format_si(chain_ohm, 'Ω')} would pass {format_si(peak_a, 'A')} "
            f"at the peak of high mains; read its resistors and the mains voltage again."
        )
    return tuple(lines)


def odd_mains(rms_v: float) -> list[str]:
    """A voltage that no public mains has: a figure left out or doubled, or another part's."""
    low_v, high_v = PUBLIC_MAINS_V
    if low_v * 0.8 <= rms_v <= high_v * 1.2:
        return []
    meant = [rms_v * factor for factor in (10.0, 0.1) if low_v <= rms_v * factor <= high_v]
    near = f", {format_si(meant[0], 'V')}?" if meant else "."
    public = f"{format_si(low_v, 'V')} to {format_si(high_v, 'V')}"
    return [
        f"mains = {format_si(rms_v, 'V')} is no public mains ({public}){near} Read the rating "
        "plate again."
    ]


def _missing_prefixes(board: Board) -> list[str]:
    """Resistors of a chain that would be like a neighbour with a k behind their value.

    Of a traced circuit each string is a chain of its own: a resistor across a capacitor is none.
    """
    strings = (*board.chains, board.return_chain)
    chains = strings if board.traced is not None else [[r for string in strings for r in string]]
    lines = []
    for chain in filter(None, chains):
        largest = max(chain, key=lambda other: other.resistance_ohm)
        lines += [
            f"{part.ref} = {format_si(part.resistance_ohm, 'Ω')}: is a k missing? "
            f"{largest.ref} is {format_si(largest.resistance_ohm, 'Ω')}."
            for part in chain
            if 1.0 / 3.0 < 1e3 * part.resistance_ohm / largest.resistance_ohm < 3.0
            and is_preferred(part.resistance_ohm)
        ]
    return lines


def all_resistors(board: Board) -> tuple[Resistor, ...]:
    """Return every resistor of a board: chains, neutral leg, LED, output."""
    chains = tuple(part for string in board.chains for part in string)
    others = (board.led_resistor, board.output.resistor)
    return (*chains, *board.return_chain, *(part for part in others if part is not None))


def _marking_hint(resistance_ohm: float) -> str:
    """Say what a three- or four-figure chip marking of these figures would mean."""
    figures = f"{resistance_ohm:.0f}"
    if resistance_ohm != int(resistance_ohm) or len(figures) not in {3, 4}:
        return ""
    marked_ohm = int(figures[:-1]) * 10.0 ** int(figures[-1])
    return f" (a chip marked {figures} is {format_si(marked_ohm, 'Ω')})"
