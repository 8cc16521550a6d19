"""Optocouplers from the reference tables: what is printed on the part to limits and LED law."""

from __future__ import annotations

import re
from math import isnan, sqrt

from zcd import refdata
from zcd.board.model import Junction, Optocoupler
from zcd.board.parts_library import typical_leak_ohm
from zcd.board.units import find_name, nearest
from zcd.errors import invalid_value

TWO_LED_FAMILIES = ("814", "214", "180", "H11AA1")
UNRANKED = "any"

# How the forward voltage falls with temperature, as the junction law's gap voltage: least
# squares to the EL-817 curves at 110 and -55 degC, 0.1 to 20 mA.
LED_GAP_V = 1.53
# Without a maker's maximum: the spread of the unranked 814 part, 20 % to 300 %.
_UNLIMITED_SPREAD = 15.0


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
    text = re.sub(r"[\s()_-]", "", family).upper()
    for name in sorted(families(), key=len, reverse=True):
        # PC817X is a Sharp series name, and X alone is another maker's grade: not the same part.
        match = re.fullmatch(rf"(?!PC817X)[A-Z]{{0,5}}?{name}(?P<grade>[A-Z]{{0,3}}\d?)", text)
        if match is None:
            continue
        printed = _grade(match["grade"], name, family, f"{prefix}family")
        written = _grade(re.sub(r"[\s-]", "", grade or ""), name, grade, f"{prefix}grade")
        if printed and written and printed != written:
            raise invalid_value(grade, f'"{printed}", the grade in family', f"{prefix}grade")
        return name, written or printed
    shown = f'{", ".join(families())}, with or without a grade such as "817C"'
    raise invalid_value(family, f"one of {shown}{nearest(family, families())}", f"{prefix}family")


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
    if isnan(high):
        high = low * _UNLIMITED_SPREAD
        source += f"; no maximum: {_UNLIMITED_SPREAD:g} times the minimum, as the unranked 814"
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
    )


def _grade(text: str, family: str, value: object, key: str) -> str | None:
    """Match a grade of this family; SFH617A-2 and 617-2 are both grade 2."""
    known = grades(family)
    bare = text.removeprefix("A") if family == "617" else text
    name = find_name(bare, known)
    if name is not None or not bare:
        return name
    raise invalid_value(value, f"a grade of {family}: {', '.join(known)}", key)


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
