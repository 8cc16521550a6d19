"""Optocouplers from the reference tables: what is printed on the part to limits and LED law."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cache, lru_cache
from math import isnan, sqrt

from zcd import refdata
from zcd.board.model import Junction, Optocoupler
from zcd.board.parts_library import typical_leak_ohm
from zcd.board.units import format_si, nearest
from zcd.errors import InputError, invalid_value

TWO_LED_FAMILIES = (
    *("814", "214", "180", "H11AA1", "H11AA2", "H11AA3", "H11AA4", "280", "290", "TLP620"),
    *("2505", "SFH620A", "354", "3H4", "AC coupler"),
)
OFFERED_FAMILIES = ("817", "785", "291", "615", "617", "814", "214", "180", "H11AA1")
"""Of these a replacement is looked for where no drawer says what there is: the common ones."""
UNRANKED = "any"
OWN_DATA = "own data"
"""Grade of a part of which the board file gives the limits."""
FOUR_PIN, SIX_PIN, AC_INPUT = "four-pin coupler", "six-pin coupler", "AC coupler"
CLASSES = (FOUR_PIN, SIX_PIN, AC_INPUT)
"""What an optocoupler may be called of which only the body is known."""
NO_COUPLER = "none"
"""In its place: the board has none."""
SIX_PIN_FAMILIES = (
    *("4N25", "4N26", "4N27", "4N28", "4N35", "4N36", "4N37", "CNY17", "MCT2E"),
    *("H11A1", "H11A2", "H11A3", "H11A4", "H11A5", "TIL111", "TIL117", "IL74", "731"),
)
OWN = (
    'for any other part its own data: optocoupler = {ctr = "50..600 % at 5 mA"}, '
    f"or its class: {', '.join(CLASSES)}"
)
"""What to write for a part that is in no table."""

# How the forward voltage falls with temperature, as the junction law's gap voltage: least
# squares to the EL-817 curves at 110 and -55 degC, 0.1 to 20 mA.
LED_GAP_V = 1.53
# Without a maker's maximum: the spread of the unranked 814 part, 20 % to 300 %, up to the highest
# maximum of any rank read.
_UNLIMITED_SPREAD = 15.0
_HIGHEST_CTR_RATIO = 6.0

_ABOVE, _MAKERS_DIFFER = 1.1, 2.0
"""A measured CTR may be above its grade by the error of a bench; makers of one family print other
limits for the LED. Common practice, no source."""

_CLASS_TEST_A = {FOUR_PIN: 0.005, SIX_PIN: 0.01, AC_INPUT: 0.005}
_CLASS_WORDS = (
    (AC_INPUT, r"ac|acinput|twoleds?|2leds?|bidirectional"),
    (SIX_PIN, r"(?:smd)?(?:six|6)pins?(?:smd|dip)?|dip-?6"),
    (FOUR_PIN, r"(?:smd)?(?:four|4)pins?(?:smd|dip)?|dip-?4|generic|unknown|\?"),
)

_MAKERS = "(?:SHARP|EVERLIGHT|LITE-?ON|TOSHIBA|VISHAY|FAIRCHILD|NEC|RENESAS|COSMO|ONSEMI)-"
# From the makers' type lists, remembered: no reference for a test.
_OTHER_KINDS = (
    (r"^(MOC3\d\d\d|IL42\d|BRT\d)", "this one drives a triac: see zcd help stories"),
    (r"^(6N13\d|HCPL-?\d|H11L1)", "this one has a logic output"),
    (
        r"^(4N(29|3[0-3])|TIL113|H11B|PS2506|TLP(127|187|527|627)|(PC|LTV)-?8[1245]5)",
        "this one has a Darlington output",
    ),
)
# Lead forms, reels, safety options and parts a package, as makers print and order them; a mark
# that is a grade of the family is read as a grade first.
_ATTACHED = (
    r"[CN][SI][ZP]\d[A-Z]|S[12M]?|SMD|SD|M|W|T[ABPUDR]?[1L]?|R2|V|VDE|D4|V4|N|P|3|300W?|X00\d"
)
_LONE = rf"{_ATTACHED}|E|F|G|H|SE|LF|TL|SJ|[EF][34]|[0356]\d0E"
# Makers whose names say how many couplers the package holds, or have a letter behind the number.
_COUNTED = (
    *("521", "621", "421", "781", "281", "280", "290", "291", "3H4", "TLP620"),
    *("2501", "2505", "2561", "2561A", "2561F", "2701"),
)
_OWN_MARKS = ("PC817X", "ORPC817SC")
"""Names behind which the letters of the family's grades mean nothing."""
_LETTERED = ("615", "617")
_LED_FORM, _LOT_LINE = r"L(?=-?[124])", r"([A-Z])[A-Z]?\d{3,4}"
"""NEC's: lead form right behind the number; first letter of the line of the lot, the rank."""


def families() -> tuple[str, ...]:
    """Return the known optocoupler families."""
    return tuple(dict.fromkeys(str(row["family"]) for row in refdata.table("ctr_grades")))


def grades(family: str) -> tuple[str, ...]:
    """Return the grades of a family; empty where the family is unknown."""
    rows = refdata.table("ctr_grades")
    return tuple(str(row["grade"]) for row in rows if row["family"] == family)


def sold_as(family: str) -> str:
    """A type of a family to buy it by.

    Examples
    --------
    >>> sold_as("785"), sold_as("817")
    ('TLP785', '817')
    """
    rows = refdata.table("optocoupler_limits")
    return next((str(row["type"]) for row in rows if row["family"] == family), "") or family


def package_of(family: str) -> str:
    """Package of a family, such as ``DIP-4``; empty where it is not in the tables.

    Examples
    --------
    >>> package_of("817"), package_of("291"), package_of("4N25")
    ('DIP-4', 'SO4', 'DIP-6')
    """
    rows = {
        str(row["family"]): str(row["package"]) for row in refdata.table("optocoupler_packages")
    }
    return rows.get(family, "DIP-6" if family in SIX_PIN_FAMILIES else "")


@lru_cache(maxsize=256)
def optocoupler_name(
    family: str, grade: str | None = None, *, key: str = ""
) -> tuple[str, str | None]:
    """Split what is printed on an optocoupler into family and grade.

    Parameters
    ----------
    family : str
        Such as ``817``, ``817C``, ``PC817 C`` or ``H11AA1``; a maker's letters are ignored.
    grade : str, optional
        The grade, where written apart.
    key : str, optional
        The table where both stood, for the message.

    Returns
    -------
    family : str
    grade : str or None
        None where no grade was written.

    Raises
    ------
    InputError
        If family or grade is unknown, or two grades were written.

    Examples
    --------
    >>> optocoupler_name("EL817 C"), optocoupler_name("817")
    (('817', 'C'), ('817', None))
    """
    prefix = f"{key}." if key else ""
    if (of_class := class_of(family)) is not None:
        if grade is not None:
            raise invalid_value(grade, f"no grade, as {of_class} is a class", f"{prefix}grade")
        return of_class, None
    plain = re.sub(r"\b(?:grade|rank|opto-?(?:coupler|isolator)?)\b|\?$", " ", family, flags=re.I)
    text = re.sub(r"[\s(),._/-]+", "-", plain).strip("-").upper()
    for name, of_family in _names():
        spaced = re.sub(r"(?<=[A-Z])(?=\d)", "-?", name)
        behind = rf"(?!\d)(?:{_LED_FORM})?" if of_family in _COUNTED else ""
        match = re.fullmatch(rf"(?:{_MAKERS})?[A-Z]{{0,5}}?-?{spaced}{behind}(?P<rest>.*)", text)
        if match is None:
            continue
        printed = _printed_grade(match["rest"], name, of_family, family, f"{prefix}family")
        written = None
        if grade is not None:
            written = _printed_grade(grade.upper(), name, of_family, grade, f"{prefix}grade")
        if printed and written and printed != written:
            raise invalid_value(grade, f'"{printed}", the grade in family', f"{prefix}grade")
        return of_family, written or printed
    for pattern, what in _OTHER_KINDS:
        if re.search(pattern, text):
            wanted = f"an optocoupler with a phototransistor, as {what}"
            raise invalid_value(family, wanted, f"{prefix}family")
    near = nearest(family, OFFERED_FAMILIES) or nearest(family, families())
    shown = f'a known optocoupler such as "817C", "814" or "4N25"{near}; {OWN}'
    raise invalid_value(family, shown, f"{prefix}family")


def in_no_table(text: str) -> bool:
    """Whether a text is no optocoupler of the tables, nor known as another kind of part.

    Examples
    --------
    >>> in_no_table("QX9017"), in_no_table("PC817"), in_no_table("MOC3021")
    (True, False, False)
    """
    if any(re.search(pattern, text.strip().upper()) for pattern, _ in _OTHER_KINDS):
        return False
    try:
        optocoupler_name(text)
    except InputError:
        return True
    return False


def class_of(text: str) -> str | None:
    """The class that a text names, such as ``6-pin`` or ``AC coupler``; None: it names none."""
    words = re.sub(r"[\s_,()-]|opto(coupler|isolator)?|coupler|input$", "", text.casefold())
    for name, pattern in _CLASS_WORDS:
        if words and re.fullmatch(pattern, words):
            return name
    return None


@cache
def _class_row(name: str) -> tuple[float, float, float]:
    """Lowest and highest CTR of a class and the lowest of its LED limits, out of its families."""
    members = {
        FOUR_PIN: set(families()) - set(SIX_PIN_FAMILIES) - set(TWO_LED_FAMILIES),
        SIX_PIN: set(SIX_PIN_FAMILIES),
        AC_INPUT: set(TWO_LED_FAMILIES),
    }[name]
    rows = [
        row
        for row in refdata.table("ctr_grades")
        if row["family"] in members and row["test_current_a"] == _CLASS_TEST_A[name]
    ]
    known = {str(row["family"]) for row in rows}
    limits = [
        float(row["led_current_max_a"])
        for row in refdata.table("optocoupler_limits")
        if row["family"] in known and not isnan(float(row["led_current_max_a"]))
    ]
    low = min(float(row["min_ctr_ratio"]) for row in rows)
    highs = [float(row["max_ctr_ratio"]) for row in rows]
    high = max(_HIGHEST_CTR_RATIO if isnan(value) else value for value in highs)
    return low, high, min(limits)


@cache
def _names() -> tuple[tuple[str, str], ...]:
    """What a part's name may hold, the longest first, and the family that it means."""
    names = {family: family for family in families()}
    names |= {str(row["name"]): str(row["family"]) for row in refdata.table("optocoupler_names")}
    return tuple(sorted(names.items(), key=lambda pair: len(pair[0]), reverse=True))


@cache
def _marks(name: str, family: str) -> dict[str, str]:
    """Grades of a family by what may be printed for them."""
    marks = {} if name in _OWN_MARKS else {grade.upper(): grade for grade in grades(family)}
    rows = refdata.table("optocoupler_marks")
    marks |= {str(r["mark"]): str(r["grade"]) for r in rows if r["name"] in {name, family}}
    return marks


def _printed_grade(rest: str, name: str, family: str, value: object, key: str) -> str | None:
    """Read the grade among the options behind a part's name; None where there is none."""
    marks = _marks(name, family)
    result: str | None = None
    for number, token in enumerate(re.split(r"[\s(),._/-]+", rest)):
        grade = marks.get(token) or _among_options(token, marks, family)
        known = _ATTACHED if number == 0 else _LONE
        if grade is None and not re.fullmatch(rf"(?:{known}|{_family_options(family)})*", token):
            shown = f"a grade of {family}: {', '.join(grades(family))} (without date and lot)"
            raise invalid_value(value, shown, key)
        result = grade or result
    if name == "PC817X" and result is None:
        raise invalid_value(value, "the name with the digit of its rank, such as PC817X3", key)
    return result


def _among_options(token: str, marks: Mapping[str, str], family: str) -> str | None:
    """A grade with options before or behind it: ``SC``, ``C3SD``, ``V4GR``, ``00CE``, ``1GB``."""
    if re.fullmatch(rf"(?:{_ATTACHED})+", token) and token[0] not in marks:
        return None
    if family in _COUNTED and (lot := re.fullmatch(_LOT_LINE, token)):
        return marks.get(lot[1])
    before = rf"(?:{_ATTACHED}|[0356]\d|{_family_options(family)})*"
    for mark in sorted(marks, key=len, reverse=True):
        if re.fullmatch(rf"{before}{re.escape(mark)}(?:{_ATTACHED}|E)*", token):
            return marks[mark]
    return None


def _family_options(family: str) -> str:
    if family in _COUNTED:
        return "[124]"
    if family == "PC123":
        return r"[FY\d]"
    return "A" if family in _LETTERED else "F"


@dataclass(frozen=True, slots=True, kw_only=True)
class OwnData:
    """What a board file gives of an optocoupler's data sheet; None: as the tables have it."""

    ctr_min_ratio: float | None = None
    ctr_max_ratio: float | None = None
    test_current_a: float | None = None
    led_current_max_a: float | None = None
    led_reverse_v: float | None = None


def optocoupler(
    family: str,
    grade: str | None = None,
    *,
    ref: str = "OC1",
    ctr_ratio: float | None = None,
    remaining_ratio: float = 1.0,
    own: OwnData | None = None,
    key: str = "",
) -> Optocoupler:
    """Make an optocoupler from family and grade.

    Parameters
    ----------
    family : str
        Family, with or without the grade.
    grade : str, optional
        Without one, the part is taken as unranked.
    ref : str
    ctr_ratio : float, optional
        A measured CTR at the grade's test current, in place of the grade's limits.
    remaining_ratio : float
        What age has left of the CTR.
    own : OwnData, optional
        Data of the part itself, in place of those of its family or class.
    key : str, optional
        The table where family and grade stood, for the message.

    Returns
    -------
    Optocoupler
        `ctr_ratio` is the geometric mean of the grade's limits unless measured.

    Raises
    ------
    InputError
        If family or grade is unknown, or rules out a figure written.
    """
    family, printed_grade = optocoupler_name(family, grade, key=key)
    own = own or OwnData()
    led_limit_a = own.led_current_max_a
    if family in CLASSES:
        grade, test_a = UNRANKED, _CLASS_TEST_A[family]
        low, high, class_limit_a = _class_row(family)
        published = False
        led_limit_a = led_limit_a or class_limit_a
        source = f"CTR limits as wide as those of every {family} in the tables"
    else:
        grade = printed_grade or UNRANKED
        low, high, test_a, source, published = _grade_limits(family, grade)
        if wrong := _against_the_name(family, printed_grade, own, ctr_ratio):
            name, found, allowed = wrong
            where = f"{key}.{name}" if key else name
            raise invalid_value(found, f"{allowed}; or the figures without a name", where)
    if own.ctr_min_ratio is not None or own.ctr_max_ratio is not None:
        low, high = _own_limits(own, low, high)
        published = own.ctr_max_ratio is not None
        grade, source = OWN_DATA, "CTR limits as written in the board file"
    if ctr_ratio is not None:
        low = high = ctr_ratio
        published, source = True, "CTR as written in the board file"
    led, led_source = _led(family)
    if own.led_reverse_v is not None:
        led = replace(led, reverse_rating_v=own.led_reverse_v)
        led_source += "; its reverse limit as written in the board file"
    return Optocoupler(
        ref=ref,
        family=family,
        grade=grade,
        ctr_ratio=sqrt(low * high),
        ctr_min_ratio=low,
        ctr_max_ratio=high,
        test_current_a=own.test_current_a or test_a,
        remaining_ratio=remaining_ratio,
        led=led,
        source=f"{source}; {led_source}",
        led_current_max_a=led_limit_a,
        ctr_max_published=published,
    )


def as_new(part: Optocoupler) -> Optocoupler:
    """The part as it comes out of the bag: with the limits of its grade, not a measured CTR."""
    if part.grade == OWN_DATA or part.family in CLASSES:
        return replace(part, remaining_ratio=1.0)
    return optocoupler(part.family, part.grade, ref=part.ref)


def _against_the_name(
    family: str, grade: str | None, own: OwnData, ctr_ratio: float | None
) -> tuple[str, str, str] | None:
    """Key, figure and what is allowed, of a figure that a part's name rules out.

    Age may have left less of a CTR than the grade had, never more. What the tables have from
    memory rules nothing out.
    """
    row = _grade_row(family, grade or UNRANKED)
    low, high, test_a = (
        float(row[name]) for name in ("min_ctr_ratio", "max_ctr_ratio", "test_current_a")
    )
    if refdata.sources()[str(row["source"])]["confidence"] == "memory":
        return None
    name = f"{family} grade {grade}" if grade else family
    if own.test_current_a in (None, test_a) and not isnan(high):
        if ctr_ratio is not None and ctr_ratio > _ABOVE * high:
            return "ctr", format_si(ctr_ratio, "%"), f"at most {format_si(high, '%')} of {name}"
        least = low if own.ctr_min_ratio is None else own.ctr_min_ratio
        most = high if own.ctr_max_ratio is None else own.ctr_max_ratio
        agrees = low <= least <= most <= high or least <= low <= high <= most
        if not agrees and (least <= most or own.ctr_min_ratio is None or own.ctr_max_ratio is None):
            key, found = ("ctr_max", most) if own.ctr_min_ratio is None else ("ctr_min", least)
            limits = f"{format_si(low, '%')} to {format_si(high, '%')}"
            return key, format_si(found, "%"), f"{limits}, the CTR of {name}"
    of_led: refdata.Row = next(
        (row for row in refdata.table("optocoupler_limits") if row["family"] == family), {}
    )
    for key, unit, written, column in (
        ("led_current", "A", own.led_current_max_a, "led_current_max_a"),
        ("led_reverse_voltage", "V", own.led_reverse_v, "led_reverse_v"),
    ):
        limit = float(of_led.get(column, "nan"))
        if written is not None and written > _MAKERS_DIFFER * limit:
            return key, format_si(written, unit), f"{format_si(limit, unit)} or near, of {family}"
    return None


def _grade_row(family: str, grade: str) -> refdata.Row:
    return next(
        row
        for row in refdata.table("ctr_grades")
        if row["family"] == family and row["grade"] == grade
    )


def _grade_limits(family: str, grade: str) -> tuple[float, float, float, str, bool]:
    """Lowest and highest CTR of a grade, the LED current of the test, the source, and whether that
    gives the highest."""
    row = _grade_row(family, grade)
    low, high = float(row["min_ctr_ratio"]), float(row["max_ctr_ratio"])
    source = f"CTR limits [{row['source']}]"
    published = not isnan(high)
    if not published:
        high = min(low * _UNLIMITED_SPREAD, _HIGHEST_CTR_RATIO)
        source += f"; no maximum: {high / low:g} times the minimum, as wide as other parts are"
    return low, high, float(row["test_current_a"]), source, published


def _own_limits(own: OwnData, low: float, high: float) -> tuple[float, float]:
    """Limits written, and where only one is, the other as wide as parts are."""
    if own.ctr_min_ratio is None:
        highest = own.ctr_max_ratio or high
        return min(low, highest), highest
    if own.ctr_max_ratio is None:
        wide = min(own.ctr_min_ratio * _UNLIMITED_SPREAD, _HIGHEST_CTR_RATIO)
        return own.ctr_min_ratio, max(wide, own.ctr_min_ratio)
    return own.ctr_min_ratio, own.ctr_max_ratio


def ctr_symmetry(family: str) -> tuple[float, float, str]:
    """Limits of the CTR of one LED over that of the other, in a part that has two.

    Parameters
    ----------
    family : str

    Returns
    -------
    low, high : float
        As its data sheet prints them, else the widest that any prints. [1]
    source : str
    """
    rows = {str(row["family"]): row for row in refdata.table("ctr_symmetry")}
    if (row := rows.get(family)) is not None:
        return float(row["low_ratio"]), float(row["high_ratio"]), refdata.cite(str(row["source"]))
    taken = refdata.default("spread.ctr_symmetry")
    return 1.0 / taken.value, taken.value, taken.why


def _led(family: str) -> tuple[Junction, str]:
    """Junction law of the LED; the only published curve down to 0.1 mA stands for all families."""
    fit = next(row for row in refdata.table("led_fit") if row["name"] == "EL-817")
    limits = {str(row["family"]): row for row in refdata.table("optocoupler_limits")}
    leaky = limits["817"]
    reverse_v = float(limits[family]["led_reverse_v"]) if family in limits else float("nan")
    source = f"LED law [{fit['curve']}]"
    if family == "817":
        source += "; LED reverse limit the lowest of the makers read [FAIRCHILD-H11A817]"
    if isnan(reverse_v):
        reverse_v = float(leaky["led_reverse_v"])
        source += f"; LED reverse limit {reverse_v:g} V, that of the 817 class"
    known_f = [float(row["led_capacitance_f"]) for row in limits.values()]
    capacitance_f = float(limits[family]["led_capacitance_f"]) if family in limits else float("nan")
    junction = Junction(
        saturation_current_a=float(fit["saturation_current_a"]),
        emission_ratio=float(fit["emission_ratio"]),
        series_ohm=float(fit["series_ohm"]),
        gap_v=LED_GAP_V,
        leak_ohm=typical_leak_ohm(leaky["led_leak_at_v"], leaky["led_leak_a"]),
        reverse_rating_v=reverse_v,
        capacitance_f=min(value for value in known_f if not isnan(value))
        if isnan(capacitance_f)
        else capacitance_f,
    )
    return junction, f"{source}; LED leakage 1 % of the maximum, common practice, no source"
