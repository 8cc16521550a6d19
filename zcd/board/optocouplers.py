"""Optocouplers from the reference tables: what is printed on the part to limits and LED law."""

from __future__ import annotations

import re
from collections.abc import Mapping
from functools import cache
from math import isnan, sqrt

from zcd import refdata
from zcd.board.model import Junction, Optocoupler
from zcd.board.parts_library import typical_leak_ohm
from zcd.board.units import nearest
from zcd.errors import invalid_value

TWO_LED_FAMILIES = (
    *("814", "214", "180", "H11AA1", "H11AA2", "H11AA3", "H11AA4", "280", "290", "TLP620"),
    *("2505", "SFH620A", "354", "3H4"),
)
OFFERED_FAMILIES = ("817", "785", "291", "615", "617", "814", "214", "180", "H11AA1")
"""Of these a replacement is looked for where no drawer says what there is: the common ones."""
UNRANKED = "any"

# How the forward voltage falls with temperature, as the junction law's gap voltage: least
# squares to the EL-817 curves at 110 and -55 degC, 0.1 to 20 mA.
LED_GAP_V = 1.53
# Without a maker's maximum: the spread of the unranked 814 part, 20 % to 300 %, up to the highest
# maximum of any rank read.
_UNLIMITED_SPREAD = 15.0
_HIGHEST_CTR_RATIO = 6.0

# Lead forms, reels, safety options and parts a package, as makers print and order them; a mark
# that is a grade of the family is read as a grade first.
_ATTACHED = r"S[12M]?|SMD|SD|M|W|T[ABPUDR]?[1L]?|R2|V|VDE|D4|V4|N|P|3|300W?|X00\d"
_LONE = rf"{_ATTACHED}|E|F|G|H|SE|LF|TL"
# Makers whose names say how many couplers the package holds, or have a letter behind the number.
_COUNTED = ("521", "621", "421", "781", "281", "280", "290", "2501", "2505", "2561", "2701")
_LETTERED = ("615", "617")


def families() -> tuple[str, ...]:
    """Return the known optocoupler families."""
    return tuple(dict.fromkeys(str(row["family"]) for row in refdata.table("ctr_grades")))


def grades(family: str) -> tuple[str, ...]:
    """Return the grades of a family; empty where the family is unknown."""
    rows = refdata.table("ctr_grades")
    return tuple(str(row["grade"]) for row in rows if row["family"] == family)


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
    text = re.sub(r"[\s(),._/-]+", "-", family).strip("-").upper()
    for name, of_family in _names():
        match = re.fullmatch(rf"[A-Z]{{0,5}}?-?{name}(?P<rest>.*)", text)
        if match is None:
            continue
        printed = _printed_grade(match["rest"], name, of_family, family, f"{prefix}family")
        written = None
        if grade is not None:
            written = _printed_grade(grade.upper(), name, of_family, grade, f"{prefix}grade")
        if printed and written and printed != written:
            raise invalid_value(grade, f'"{printed}", the grade in family', f"{prefix}grade")
        return of_family, written or printed
    shown = f'{", ".join(families())}, with or without a grade such as "817C"'
    shown += nearest(family, OFFERED_FAMILIES) or nearest(family, families())
    shown += (
        "; for any other part write the family nearest to it and its CTR from the data sheet: "
        'optocoupler = {family = "817", ctr = "120 %"}'
    )
    raise invalid_value(family, f"one of {shown}", f"{prefix}family")


@cache
def _names() -> tuple[tuple[str, str], ...]:
    """What a part's name may hold, the longest first, and the family that it means."""
    names = {family: family for family in families()}
    names |= {str(row["name"]): str(row["family"]) for row in refdata.table("optocoupler_names")}
    return tuple(sorted(names.items(), key=lambda pair: len(pair[0]), reverse=True))


@cache
def _marks(name: str, family: str) -> dict[str, str]:
    """Grades of a family by what may be printed for them."""
    marks = {} if name == "PC817X" else {grade.upper(): grade for grade in grades(family)}
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
            raise invalid_value(value, f"a grade of {family}: {', '.join(grades(family))}", key)
        result = grade or result
    if name == "PC817X" and result is None:
        raise invalid_value(value, "the name with the digit of its rank, such as PC817X3", key)
    return result


def _among_options(token: str, marks: Mapping[str, str], family: str) -> str | None:
    """A grade with options before or behind it: ``SC``, ``C3SD``, ``V4GR``, ``00CE``, ``1GB``."""
    if re.fullmatch(rf"(?:{_ATTACHED})+", token) and token[0] not in marks:
        return None
    before = rf"(?:{_ATTACHED}|0\d|{_family_options(family)})*"
    for mark in sorted(marks, key=len, reverse=True):
        if re.fullmatch(rf"{before}{re.escape(mark)}(?:{_ATTACHED}|E)*", token):
            return marks[mark]
    return None


def _family_options(family: str) -> str:
    if family in _COUNTED:
        return "[124]"
    return "A" if family in _LETTERED else "F"


def optocoupler(
    family: str,
    grade: str | None = None,
    *,
    ref: str = "OC1",
    ctr_ratio: float | None = None,
    remaining_ratio: float = 1.0,
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
    key : str, optional
        The table where family and grade stood, for the message.

    Returns
    -------
    Optocoupler
        `ctr_ratio` is the geometric mean of the grade's limits unless measured.

    Raises
    ------
    InputError
        If family or grade is unknown.
    """
    family, grade = optocoupler_name(family, grade, key=key)
    grade = grade or _default_grade(family, key)
    row = next(
        row
        for row in refdata.table("ctr_grades")
        if row["family"] == family and row["grade"] == grade
    )
    low, high = float(row["min_ctr_ratio"]), float(row["max_ctr_ratio"])
    source = f"CTR limits [{row['source']}]"
    published = ctr_ratio is not None or not isnan(high)
    if isnan(high):
        high = min(low * _UNLIMITED_SPREAD, _HIGHEST_CTR_RATIO)
        source += f"; no maximum: {high / low:g} times the minimum, as wide as other parts are"
    if ctr_ratio is not None:
        low = high = ctr_ratio
        source = "CTR as written in the board file"
    led, led_source = _led(family)
    return Optocoupler(
        ref=ref,
        family=family,
        grade=grade,
        ctr_ratio=sqrt(low * high),
        ctr_min_ratio=low,
        ctr_max_ratio=high,
        test_current_a=float(row["test_current_a"]),
        remaining_ratio=remaining_ratio,
        led=led,
        source=f"{source}; {led_source}",
        ctr_max_published=published,
    )


def _default_grade(family: str, key: str) -> str:
    known = grades(family)
    if UNRANKED in known or len(known) == 1:
        return UNRANKED if UNRANKED in known else known[0]
    where = f"{key}.grade" if key else ""
    raise invalid_value(None, f"a grade of {family}: {', '.join(known)}", where)


def _led(family: str) -> tuple[Junction, str]:
    """Junction law of the LED; the only published curve down to 0.1 mA stands for all families."""
    fit = next(row for row in refdata.table("led_fit") if row["name"] == "EL-817")
    limits = {str(row["family"]): row for row in refdata.table("optocoupler_limits")}
    leaky = limits["817"]
    known_v = [float(row["led_reverse_v"]) for row in limits.values()]
    lowest_v = min(value for value in known_v if not isnan(value))
    reverse_v = float(limits[family]["led_reverse_v"]) if family in limits else float("nan")
    source = f"LED law [{fit['curve']}]"
    if family == "817":
        source += "; LED reverse limit the lowest of the makers read [FAIRCHILD-H11A817]"
    if isnan(reverse_v):
        reverse_v = lowest_v
        source += f"; LED reverse limit {lowest_v:g} V, the lowest of the families read"
    junction = Junction(
        saturation_current_a=float(fit["saturation_current_a"]),
        emission_ratio=float(fit["emission_ratio"]),
        series_ohm=float(fit["series_ohm"]),
        gap_v=LED_GAP_V,
        leak_ohm=typical_leak_ohm(leaky["led_leak_at_v"], leaky["led_leak_a"]),
        reverse_rating_v=reverse_v,
    )
    return junction, f"{source}; LED leakage 1 % of the maximum, common practice, no source"
