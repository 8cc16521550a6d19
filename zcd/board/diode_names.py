"""What is printed or said of a diode, zener or bridge: a part of the tables, or its own data."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache, lru_cache
from math import isnan

from zcd import refdata
from zcd.board.units import ALIKE, find_name, format_si

OWN_DIODE = (
    'for any other part its own data: {key} = {{reverse_voltage = "600 V", current = "1 A"}}, '
    '{{breakdown_voltage = "5.1 V"}} for a zener, or its class: "1 A rectifier", "bridge", '
    '"signal diode"'
)
"""What to write for a diode that is in no table."""
DIODE_IN_WORDS = (
    'or what it is in words: "600 V 1 A rectifier", "signal diode", "bridge", "5V1 zener"'
)
"""The same where there is one text only."""
RECTIFIER, SIGNAL, BRIDGE, ZENER = "rectifier", "signal diode", "bridge", "zener"
CLASS_RATING_V = {RECTIFIER: (50.0, 1000.0), BRIDGE: (50.0, 1000.0), SIGNAL: (75.0, 250.0)}
"""Lowest and highest rated voltage of a class in the table of diodes."""
PAIRS = ("BAV99", "BAV70", "BAW56", "BAV199")
"""Two diodes in one body, of which one counts."""
LEADS = ("~1+", "~2+", "-~1", "-~2")
"""The four diodes of a bridge in one piece, each from anode to cathode."""
ZENER_ZERO_DEGC = 175.0
"""Where a zener may bear nothing any more; most series."""

_AMPERES = r"(?<!\d)(\d*[.,]?\d+)\s*(m?)A(?:mps?)?\b"
_VOLTS = r"(?<!\d)(\d+(?:[.,]\d+)?)\s*V(?:olts?)?\b"
_WATTS = re.compile(
    r"[\s,/]*(?<![\d/.])(?:1/([248])|(\d*[.,]?\d+))\s*(m?)(?:W|watts?)\b", re.IGNORECASE
)
_ZENER_WORD = re.compile(r"\b(?:zener(?:\s*diode)?|z-?\s*diode)\b", re.IGNORECASE)
_ZENER_V = re.compile(
    r"(?P<tolerance>[A-F]?)(?P<whole>\d{1,4})(?:V(?P<tenth>\d?)|[.,](?P<decimal>\d{1,2})V?)?",
    re.IGNORECASE,
)
_SAME_PART = (
    (r"^[DL]L400(?=[1-7]$)", "1N400"), (r"^(1N400[1-7])W$", r"\1"),
    (r"^BAV16(?=WS?$)", "1N4148"), (r"^BAS(19|20|21)W$", r"BAS\1"), (r"^(FR10[3-7])SG$", r"\1"),
    (r"^RS?1([ABDGJKM])[LB]?$", r"RS1\1"), (r"^S05(?=[ABDGJKM]$)", "DSR05"),
    (r"^(BAV199|BAV99|BAV70|BAW56|BAT54)[ACSW]$", r"\1"),
    (r"^(?:LL|BAT)(4[23])(?:WS?)?$", r"BAT\1"),
    *((rf"^E{number}$", f"ER07{letter}") for number, letter in enumerate("ABCDFGHJ", 1)),
)  # fmt: skip
"""Other names and marks of a part, from the sheets named in `reference/diodes.csv`."""
_ON_REEL = re.compile(r"(?<=\d)(?:S|W|-?[VW][A-Z]?|-TR|-TAP|-\d+-F|RL|T)$", re.IGNORECASE)
_SMALLEST_RATING_V = CLASS_RATING_V[RECTIFIER][0]
_MADE_FOR_RMS = re.compile(r"B(?:40|80|125|250|380|500)\s*/?C(\d{3,4})\w?", re.IGNORECASE)
_IN_HUNDREDS = re.compile(
    r"(?:KB(?:P|L|U|PC)|GB[PLUJ])(\d\d?)(005|0[12468]|10)G?|([1-3])W(005|0[12468]|10)M?"
)
_BRIDGE_PART = re.compile(r"(?:MB|DB|DF|KBP|ABS|W)\d+\w?")
_FOUR = r"\s*[x×*]\s*4$|^\s*(?:4|four)\s*(?:[x×*]\s*)?(?=1N|IN|M7|S1M)"
_BESIDE = re.compile(
    rf"\s*\([^()]*\)$|\b(?:diode|rectifier|bridge)s?\b|{_FOUR}"
    r"|(?<=\w)[\s,/]+\d+(?:\.\d+)?\s*[km]?[VA]\b",
    re.IGNORECASE,
)
"""What people write beside a part's name."""
_FIGURE = re.compile(
    r"(?<=\w)(?:[\s/]|,(?!\d{1,2}\s*V))[\s,/]*(\d+(?:[.,]\d+)?)\s*([km]?)([VA])\b", re.IGNORECASE
)
_MORE_VOLTS, _OTHER_AMPERES, _ZENER_SPREAD = 1.5, 2.0, 0.1
"""How far makers' sheets differ for one name: they may print a voltage for single peaks, or a
current on a larger board; a zener is measured at its own current. Common practice, no source."""
_KINDS: Mapping[str, str] = {
    "rectifier": RECTIFIER, "bridge": BRIDGE, "graetz": BRIDGE, "signal": SIGNAL,
    "small signal": SIGNAL, "small-signal": SIGNAL, "glass": SIGNAL, "?": RECTIFIER,
    "unknown": RECTIFIER, "": RECTIFIER,
}  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class OwnDiode:
    """What is known of a diode that is in no table; None: not known."""

    kind: str
    reverse_v: float | None = None
    current_a: float | None = None
    breakdown_v: float | None = None
    power_w: float | None = None
    zero_power_degc: float = ZENER_ZERO_DEGC
    source: str = ""

    @property
    def label(self) -> str:
        """What it is called."""
        if self.kind == ZENER and self.breakdown_v is not None:
            watts = "" if self.power_w is None else f" {format_si(self.power_w, 'W')}"
            return f"zener {format_si(self.breakdown_v, 'V')}{watts}"
        known = [(self.reverse_v, "V"), (self.current_a, "A")]
        figures = [format_si(value, unit) for value, unit in known if value is not None]
        return " ".join([*figures, self.kind])

    def contradiction(self, beside: OwnDiode) -> tuple[str, str, str] | None:
        """What is written beside a name that the name rules out.

        Parameters
        ----------
        beside : OwnDiode
            The figures written.

        Returns
        -------
        key, found, said : str
            Of the board file, the figure, and what the name says; None: they agree.
        """
        is_zener = self.kind == ZENER
        said_v = self.breakdown_v if is_zener else self.reverse_v
        low, high = (1 - _ZENER_SPREAD, 1 + _ZENER_SPREAD) if is_zener else (1.0, _MORE_VOLTS)
        limits = [
            ("reverse_voltage", "V", said_v, beside.reverse_v, low, high),
            ("current", "A", self.current_a, beside.current_a, 1 / _OTHER_AMPERES, _OTHER_AMPERES),
        ]
        if is_zener:
            limits.append(("breakdown_voltage", "V", said_v, beside.breakdown_v, low, high))
        for key, unit, said, found, least, most in limits:
            if said and found and not 0.999 * least <= found / said <= 1.001 * most:
                return key, format_si(found, unit), format_si(said, unit)
        return None


def diode_parts() -> tuple[str, ...]:
    """Return the known diodes."""
    return tuple(str(row["part"]) for row in refdata.table("diodes"))


@lru_cache(maxsize=256)
def table_part(text: str) -> str | None:
    """The diode of the tables that a marking stands for; None: there is none.

    Parameters
    ----------
    text : str
        As printed, with a maker's letters and the reel behind the number, and what it is.

    Examples
    --------
    >>> table_part("IN4007"), table_part("1N4148-TR"), table_part("SM4007"), table_part("4x1N4007")
    ('1N4007', '1N4148', 'M7', '1N4007')
    >>> table_part("BAV16W"), table_part("R1M"), table_part("E8")
    ('1N4148W', 'RS1M', 'ER07J')
    """
    known = diode_parts()
    text = _BESIDE.sub("", text).strip()
    shown = re.sub(r"^SMD(?=[^D])|\s+", "", text.upper())
    shown = re.sub(r"^(?:IN|LN|1\s*N)(?=\d)", "1N", shown)
    shown = re.sub(r"^(?=4\d{3}$|414[58]$|539\d$)", "1N", shown)
    shown = re.sub(r"^(?:SM|SOD)400(?=[1-7]$)|^A(?=[1-6]$)", "M", shown)
    for pattern, part in _SAME_PART:
        shown = re.sub(pattern, part, shown)
    first, *others = re.split(r"[-/,]", shown)
    if any(find_name(other, known) for other in filter(None, others)):
        return None  # two parts
    tries = (text, shown, first, re.sub(r"(?:RLG|RL|TR|TA|[GTMS])$", "", shown))
    found = (find_name(each, known) for each in tries)
    return next((name for name in found if name is not None), None)


def figures_beside(text: str) -> OwnDiode:
    """Volts and amperes written beside a part's name.

    Examples
    --------
    >>> figures_beside("1N4007 600 V, 1 A").label
    '600 V 1 A rectifier'
    """
    found = {
        unit.upper(): float(number.replace(",", ".")) * {"k": 1e3, "m": 1e-3}.get(prefix, 1.0)
        for number, prefix, unit in _FIGURE.findall(text)
    }
    return OwnDiode(kind=RECTIFIER, reverse_v=found.get("V"), current_a=found.get("A"))


def said_by_name(text: str) -> OwnDiode | None:
    """What the name of a diode says, or words in its place; None: it is no diode.

    Examples
    --------
    >>> said_by_name("1N4007 600 V").label, said_by_name("BZX84C5V1 6.2 V").label
    ('1 kV 1 A rectifier', 'zener 5.1 V 250 mW')
    """
    name = table_part(text)
    if name is None:
        return diode_by_words(text)
    row = next(row for row in refdata.table("diodes") if row["part"] == name)
    amps = float(row["average_current_a"])
    return OwnDiode(
        kind=RECTIFIER,
        reverse_v=float(row["reverse_rating_v"]),
        current_a=None if isnan(amps) else amps,
    )


def says_four(text: str) -> bool:
    """Whether a text such as ``4 x 1N4007`` tells of the four diodes of a bridge.

    Examples
    --------
    >>> says_four("4x 1N4007"), says_four("1N4007 (x4)"), says_four("1N4007")
    (True, True, False)
    """
    return re.search(rf"{_FOUR}|\(\s*(?:[x×*]\s*4|4\s*[x×*]|four)\s*\)$", text, re.I) is not None


def diode_by_words(text: str) -> OwnDiode | None:
    """What a description in words, or the name of a series, says of a diode.

    Parameters
    ----------
    text : str
        Such as ``600 V 1 A bridge``, ``5V1 zener`` or ``BZX85C5V1``.

    Returns
    -------
    OwnDiode or None
        None where it describes none.

    Examples
    --------
    >>> diode_by_words("1 A rectifier").label, diode_by_words("BZX85C5V1").label
    ('1 A rectifier', 'zener 5.1 V 1.3 W')
    >>> diode_by_words("1N4733A").label, diode_by_words("KBL406").label
    ('zener 5.1 V 1 W', '600 V 4 A bridge')
    """
    shown = text.strip().translate(ALIKE)
    name = _FIGURE.sub("", shown)
    if (own := _zener(name) or _zener(shown)) is not None:
        return own
    plain = name.replace(" ", "").upper()
    if rms := _MADE_FOR_RMS.fullmatch(plain):
        return OwnDiode(kind=BRIDGE, current_a=float(rms[1]) / 1e3)
    if match := _IN_HUNDREDS.fullmatch(plain):
        amps, hundreds = match[1] or match[3], match[2] or match[4]
        volts = 50.0 if hundreds == "005" else 100.0 * float(hundreds)
        return OwnDiode(kind=BRIDGE, reverse_v=volts, current_a=float(amps))
    return _by_ratings(shown)


def _by_ratings(shown: str) -> OwnDiode | None:
    """Volts, amperes and a class."""
    volts, amps = (re.search(each, shown, re.IGNORECASE) for each in (_VOLTS, _AMPERES))
    filler = rf"{_VOLTS}|{_AMPERES}|[,/]|\b(?:and|diode|smd|piv|vrrm)\b"
    rest = re.sub(filler, " ", shown, flags=re.I)
    words = " ".join(rest.casefold().split()).removesuffix(" rectifier")
    named = re.fullmatch(r"(?:smd )?diode", shown.casefold())
    if words not in _KINDS or not (words or volts or amps or named):
        return None
    return OwnDiode(
        kind=_KINDS[words],
        reverse_v=float(volts[1].replace(",", ".")) if volts else None,
        current_a=float(amps[1].replace(",", ".")) / (1e3 if amps[2] else 1.0) if amps else None,
    )


def _zener(shown: str) -> OwnDiode | None:
    """A zener: by its number, by its series with the voltage behind, or in words."""
    watts = _WATTS.search(shown)
    rest = _WATTS.sub("", shown, count=1) if watts else shown
    plain = re.sub(r"\b(?:smd|glass)\b", "", _ZENER_WORD.sub("", rest), flags=re.I)
    bare = re.sub(r"\s+|volts?(?=\W|$)", lambda m: "V" if m[0].strip() else "", plain, flags=re.I)
    name = re.sub(r"^(?:IN|LN)(?=\d)", "1N", bare.upper())
    row = _zener_rows().get(re.sub(r"(?<=\d)[A-D]?(?:-T(?:R|AP)?|-1|G|T)?$", "", name), {})
    volts = float(row.get("breakdown_v", "nan"))
    if not row:
        series = next((each for each in _zener_rows() if name.startswith(each)), "")
        row = _zener_rows().get(series, {})
        name = _ON_REEL.sub("", name[len(series) :].lstrip("-")) if series else name
    if isnan(volts):
        match = _ZENER_V.fullmatch(name)
        if match is None:
            return None
        volts = float(f"{match['whole']}.{match['tenth'] or match['decimal'] or 0}")
        said = bool(row) or _ZENER_WORD.search(shown) is not None or bool(match["tenth"])
        small = match["whole"] != name and not match["tolerance"] and volts < _SMALLEST_RATING_V
        if not (said or (small and "V" in name)):
            return None
    return OwnDiode(
        kind=ZENER,
        breakdown_v=volts,
        power_w=_watts(watts) if watts else float(row["rated_power_w"]) if row else None,
        zero_power_degc=float(row["zero_power_degc"]) if row else ZENER_ZERO_DEGC,
        source=f"limits [{row['source']}]" if row else "",
    )


@cache
def _zener_rows() -> dict[str, dict[str, str | float]]:
    """Rows of the table by number or by what a series begins with, the longest first."""
    rows = {str(row["name"]): row for row in refdata.table("zeners")}
    return dict(sorted(rows.items(), key=lambda item: -len(item[0])))


def _watts(found: re.Match[str]) -> float:
    part, whole, milli = found.groups()
    watts = 1.0 / int(part) if part else float(whole.replace(",", "."))
    return watts / 1e3 if milli else watts


@cache
def leg_refs(ref: str, part: str) -> tuple[str, ...]:
    """References of the four diodes of a bridge: by their leads where it is one piece.

    Examples
    --------
    >>> leg_refs("BR1", "MB6S"), leg_refs("D1", "1N4007")
    (('BR1~1+', 'BR1~2+', 'BR1-~1', 'BR1-~2'), ('D1a', 'D1b', 'D1c', 'D1d'))
    """
    one_piece = re.match(r"(?:BR|DB|BD)\d", ref) or is_one_piece_bridge(part)
    return tuple(f"{ref}{leads}" for leads in (LEADS if one_piece else "abcd"))


def is_one_piece_bridge(part: str) -> bool:
    """Whether a part is four diodes in one package."""
    own = None if table_part(part) else diode_by_words(part)
    return own.kind == BRIDGE if own is not None else _BRIDGE_PART.fullmatch(part) is not None
