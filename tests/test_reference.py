"""Every table names its source and units, every source is used, and the numbers hold together."""

from __future__ import annotations

import csv
import math
import re
from collections import defaultdict
from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.constants import elementary_charge, k, zero_Celsius
from scipy.optimize import least_squares
from scipy.special import lambertw

from zcd.board.parts_library import diode
from zcd.physics.diode import forward_voltage_v
from zcd.refdata import columns, default, is_number, table

from .conftest import REFERENCE, SOURCES

TABLES = sorted(REFERENCE.glob("*.csv"))
TEXT = {
    *("band", "confidence", "controller", "curve", "family", "given", "grade", "id", "key", "kind"),
    *("maker", "mark", "measured", "meter", "mode", "model", "name", "note"),
    *("package", "part", "relay", "series", "source", "style", "test", "type", "unit"),
    *("usable", "wave", "what", "why"),
}
each_table = pytest.mark.parametrize("path", TABLES, ids=lambda path: path.stem)


def header_sources(path: Path) -> set[str]:
    text = path.read_text(encoding="utf-8")
    return set(re.findall(r"^# source: (\S+)$", text, flags=re.MULTILINE))


def content(path: Path) -> list[list[str]]:
    lines = path.read_text(encoding="utf-8").splitlines()
    return list(csv.reader(line for line in lines if not line.startswith("#")))


# ------------------------------------------------------------------ form


@each_table
def test_table_names_known_sources(path):
    named = header_sources(path)
    assert named
    assert named <= set(SOURCES)


@each_table
def test_sources_of_the_rows_stand_in_the_header(path):
    for row in table(path.stem):
        used = {str(row["source"])} if "source" in row else set()
        used |= set(re.findall(r"\[(\S+)\]", str(row.get("note", ""))))
        assert used <= header_sources(path)


@each_table
def test_number_columns_say_their_unit(path):
    header, *rows = content(path)
    assert [column for column in header if not is_number(column)] == [
        c for c in header if c in TEXT
    ]
    assert len(set(header)) == len(header)
    assert {len(row) for row in rows} == {len(header)}


@each_table
def test_rows_are_not_repeated(path):
    _, *rows = content(path)
    assert len({tuple(row) for row in rows}) == len(rows)


@each_table
def test_ratios_are_not_percentages(path):
    limits = {"ctr_ageing_examples": 5e4, "fault_modes": 1.0, "failure_rates": 20.0}
    for row in table(path.stem):
        for column, value in row.items():
            if column.endswith("_ratio") and not re.search("emission|knee|gain", column):
                assert math.isnan(value) or abs(value) <= limits.get(path.stem, 6.0), column


def test_sources_are_complete():
    known = {"title", "by", "year", "where", "url", "read_on", "how", "confidence"}
    for key, source in SOURCES.items():
        assert {"title", "read_on", "how", "confidence"} <= set(source) <= known, key
        assert source["how"] in {"typed", "digitised", "computed", "memory"}, key
        assert source["confidence"] in {"read", "secondary", "computed", "memory"}, key
        assert (source["how"] == "memory") == (source["confidence"] == "memory"), key
        if source["confidence"] == "memory":
            assert re.search("from memory|no source", source["title"]), key
        else:
            assert source["where"], key


def test_every_source_is_used():
    used = set().union(*(header_sources(path) for path in TABLES))
    tests = "".join(f.read_text(encoding="utf-8") for f in Path(__file__).parent.rglob("test_*.py"))
    cited = {key for key in SOURCES if f'"{key}"' in tests}
    assert [key for key in SOURCES if key not in used | cited] == []


# ------------------------------------------------------------------ optocoupler


@pytest.mark.parametrize("row", table("led_fit"), ids=lambda row: row["name"])
def test_led_fit_is_the_least_squares_fit_of_its_curve(row):
    """Own fit, repeated: four or five digits are kept, and the minimum is flat."""
    curve = columns("led_forward", curve=row["curve"], temperature_degc=row["temperature_degc"])
    inside = curve["current_a"] <= row["max_current_a"]
    current_a, forward_v = curve["current_a"][inside], curve["forward_v"][inside]
    thermal_v = k * (row["temperature_degc"] + zero_Celsius) / elementary_charge

    def miss_v(fit):
        log_saturation, emission, series = fit
        law_v = emission * thermal_v * np.log1p(current_a / np.exp(log_saturation))
        return law_v + series * current_a - forward_v

    start = (math.log(row["saturation_current_a"]) - 1.0, 1.6, 3.0)
    tight = {"xtol": 1e-14, "ftol": 1e-14, "gtol": 1e-14}
    best = least_squares(miss_v, start, x_scale=(1.0, 0.1, 1.0), **tight)
    assert_allclose(math.exp(best.x[0]), row["saturation_current_a"], rtol=2e-3)
    assert_allclose(best.x[1:], [row["emission_ratio"], row["series_ohm"]], rtol=1e-3)
    assert_allclose(np.abs(best.fun).max(), row["max_error_v"], rtol=0.05)


@pytest.mark.parametrize("row", table("led_fit"), ids=lambda row: row["name"])
def test_led_fit_as_written_keeps_within_its_stated_error(row):
    """The rounded parameters may cost a tenth of the stated error, not more."""
    curve = columns("led_forward", curve=row["curve"], temperature_degc=row["temperature_degc"])
    inside = curve["current_a"] <= row["max_current_a"]
    current_a = curve["current_a"][inside]
    emission_v = row["emission_ratio"] * k / elementary_charge
    emission_v *= row["temperature_degc"] + zero_Celsius
    law_v = emission_v * np.log1p(current_a / row["saturation_current_a"])
    law_v += row["series_ohm"] * current_a
    assert np.abs(law_v - curve["forward_v"][inside]).max() <= 1.1 * row["max_error_v"]


@pytest.mark.parametrize(("curve", "reading_a"), [("EL-817", 19.9e-3), ("SHARP-817", 20e-3)])
def test_digitised_led_keeps_the_printed_maximum(curve, reading_a):
    """[EL-817] and [SHARP-817] both print 1.4 V at most for 20 mA and 25 degC."""
    rows = columns("led_forward", curve=curve, temperature_degc=25)
    (forward_v,) = rows["forward_v"][rows["current_a"] == reading_a]
    assert forward_v <= 1.4


@pytest.mark.parametrize(
    ("curve", "at_a"),
    [
        ("EL-817", 5e-3),
        ("SHARP-817", 5e-3),
        ("SHARP-817-B", 4.95e-3),
        ("4N35", 5e-3),
        ("H11AA1", 5e-3),
        ("PS2561F", 5e-3),
    ],
)
def test_ctr_shape_is_one_at_its_own_anchor(curve, at_a):
    """2 %: the reading error of the coarsest (scanned) curve."""
    shape = columns("ctr_shape", curve=curve)
    assert_allclose(np.interp(at_a, shape["current_a"], shape["relative_ratio"]), 1.0, rtol=0.02)


def test_ctr_temperature_is_one_at_25_degc():
    for row in table("ctr_temperature"):
        if row["temperature_degc"] == 25:
            assert row["relative_ratio"] == 1.0


def test_saturated_ctr_is_below_the_active_one():
    active, saturated = (columns("ctr_shape", curve=c) for c in ("H11AA1", "H11AA1-saturated"))
    assert np.all(saturated["current_a"] == active["current_a"])
    assert np.all(saturated["relative_ratio"] < active["relative_ratio"])


def test_ps2561f_shape_follows_the_polynomial_of_its_source():
    """Coefficients as in the model text; 1 %: the check values were rounded to 1 % CTR."""
    shape = columns("ctr_shape", curve="PS2561F")
    i = shape["current_a"]
    low = 1.04 * np.polyval([-8e10, 8e8, -3e6, 5177.2, 0.2453, -5e-5], i)
    high = 0.945 * np.polyval([9e6, -998113, 42174, -861.32, 9.0836, -0.0078], i)
    ctr = np.where(i <= 3e-3, low, high) / i
    assert_allclose(shape["relative_ratio"], ctr / ctr[i == 5e-3], atol=0.005, rtol=0.005)


@pytest.mark.parametrize("curve", ["H11AA1", "EL-817"])
def test_turn_off_grows_with_the_pull_up(curve):
    rows = columns("turn_off", curve=curve)
    assert np.all(np.diff(rows["pull_up_ohm"]) > 0)
    assert np.all(np.diff(rows["turn_off_s"]) > 0)


@pytest.mark.fitted(
    "SHARP-817", where="figure 11", why="reading error of a vector curve over 3 decades", rtol=0.05
)
def test_dark_current_is_a_decade_in_24_6_degc(published):
    dark = columns("dark_current", curve="SHARP-817")
    line = 10.0 ** ((dark["temperature_degc"] - 25.0) / 24.6)
    assert_allclose(dark["dark_current_a"] / 1.65e-9, line, rtol=published.rtol)


def test_grades_are_in_order_and_have_limits():
    limited = {row["family"] for row in table("optocoupler_limits")}
    for row in table("ctr_grades"):
        assert math.isnan(row["max_ctr_ratio"]) or row["min_ctr_ratio"] < row["max_ctr_ratio"]
        assert row["family"] in limited


def test_grades_are_unique():
    names = [(row["family"], row["grade"]) for row in table("ctr_grades")]
    assert len(set(names)) == len(names)


def test_no_grade_is_wider_than_the_unranked_part():
    unranked = {row["family"]: row for row in table("ctr_grades") if row["grade"] == "any"}
    for row in table("ctr_grades"):
        wide = unranked.get(row["family"], {})
        # ranks stated at another LED current may end elsewhere
        if row["grade"] != "any" and wide.get("test_current_a") == row["test_current_a"]:
            assert row["min_ctr_ratio"] >= wide["min_ctr_ratio"]
            assert not row["max_ctr_ratio"] > wide["max_ctr_ratio"]  # nan: no maximum


@pytest.mark.fitted(
    "AV02-3401EN", where="worked example", why="half of the last printed digit", atol=0.05
)
def test_ageing_constants_give_the_printed_acceleration(published):
    c = {row["name"]: row["value"] for row in table("ctr_ageing")}
    use_k, stress_k = (c[f"{x}_temperature"] + c["zero_celsius"] for x in ("use", "stress"))
    ratio = (c["stress_current"] / c["use_current"]) ** c["current_exponent"]
    ratio *= math.exp(c["activation_energy"] / c["boltzmann"] * (1 / use_k - 1 / stress_k))
    # The source cuts 184.7678 off after one digit, so the printed value may be low by 0.1.
    assert c["acceleration"] - published.atol <= ratio < c["acceleration"] + 0.1
    assert_allclose(ratio * c["stress_time"], c["use_time"], rtol=1e-5)


# ------------------------------------------------------------------ other parts


@pytest.mark.transcribed(
    "IEC-60063", where="E96: three significant digits of 10^(k/96)", why="exact integers", atol=0
)
def test_e96_follows_its_rule(published):
    rule = np.round(100.0 * 10.0 ** (np.arange(96) / 96))
    assert_allclose(columns("preferred_numbers", series="E96")["value"], rule, atol=published.atol)


@pytest.mark.transcribed(
    "IEC-60063",
    where="E24: 10^(k/24) in two digits but for eight older values; E12 every other one of it",
    why="exact integers",
    atol=0,
)
def test_e24_and_e12_follow_their_rule(published):
    rule = np.round(10.0 * 10.0 ** (np.arange(24) / 24))
    older = {26: 27, 29: 30, 32: 33, 35: 36, 38: 39, 42: 43, 46: 47, 83: 82}
    e24 = [older.get(int(value), int(value)) for value in rule]
    assert_allclose(columns("preferred_numbers", series="E24")["value"], e24, atol=published.atol)
    assert_allclose(
        columns("preferred_numbers", series="E12")["value"], e24[::2], atol=published.atol
    )


def test_first_row_of_a_resistor_style_is_the_lowest():
    """An empty limit was not given, so it is no lower."""
    styles = defaultdict(list)
    for row in table("resistor_styles"):
        styles[row["style"]].append(row)
    for style, rows in styles.items():
        for limit in ("rated_power_w", "working_v", "overload_v"):
            known = [row[limit] for row in rows if not math.isnan(row[limit])]
            assert not known or rows[0][limit] == min(known), (style, limit)


@pytest.mark.parametrize(
    ("style", "power_w"), [("1/8 W", 1 / 8), ("1/6 W", 1 / 6), ("1/4 W", 1 / 4), ("1/2 W", 1 / 2)]
)
def test_generic_leaded_style_has_the_lowest_limits_of_its_power(style, power_w):
    rows = [r for r in table("resistor_styles") if r["kind"] in {"metal film", "leaded film"}]
    rows = [r for r in rows if math.isclose(r["rated_power_w"], power_w, rel_tol=1e-4)]
    (generic,) = (row for row in rows if row["style"] == style)
    assert len(rows) > 1
    assert generic["working_v"] == min(row["working_v"] for row in rows)
    assert generic["overload_v"] == min(row["overload_v"] for row in rows)


def test_a_small_diode_has_the_law_of_its_kind():
    silicon = {
        row["part"]: row["model"] for row in table("diodes") if not row["part"].startswith("BAT")
    }
    small = {part for part in silicon if re.search(r"4[14]48|914|BA[SVW]", part)}
    assert {part for part, model in silicon.items() if model == "1N4148"} == small
    assert set(silicon.values()) == {"1N4148", "1N4007-A"}


@pytest.mark.parametrize(
    ("part", "milliamperes", "least_v", "most_v"),
    [
        ("BAT54", 0.1, 0.0, 0.24), ("BAT54", 1.0, 0.0, 0.32), ("BAT54", 10.0, 0.0, 0.40),
        ("BAT42", 10.0, 0.0, 0.40), ("BAT42", 50.0, 0.0, 0.65),
        ("BAT43", 2.0, 0.26, 0.33), ("BAT43", 15.0, 0.0, 0.45), ("BAV99", 1.0, 0.0, 0.715),
    ],
)  # fmt: skip
def test_law_of_a_clamp_diode_keeps_the_printed_limits(part, milliamperes, least_v, most_v):
    """[BAT54-SHEETS], [BAT42-SHEETS], [BAV99-SHEETS]: limits at 25 degC."""
    law = diode(part, ref="D1").junction
    emission_v = law.emission_ratio * k * (25.0 + zero_Celsius) / elementary_charge
    drop_v = forward_voltage_v(
        milliamperes / 1e3, law.saturation_current_a, emission_v, law.series_ohm
    )
    assert least_v < drop_v < most_v


@pytest.mark.law(
    "BOOST-LAMBERTW", where="printed run", why="half of the last printed digit", rtol=5e-6
)
def test_diode_example_agrees_with_lambert_w(published):
    (row,) = table("diode_examples")
    emission_v = row["emission_ratio"] * row["thermal_v"]
    scale = row["saturation_current_a"] * row["resistance_ohm"] / emission_v
    drive = row["supply_v"] / emission_v + scale
    current_a = emission_v / row["resistance_ohm"] * lambertw(scale * math.exp(drive)).real
    current_a -= row["saturation_current_a"]
    assert_allclose(current_a, row["current_a"], rtol=published.rtol)


def test_fault_shares_of_a_part_add_up():
    """The electrolytic capacitor's source lists 80 % only."""
    total = defaultdict(float)
    for row in table("fault_modes"):
        total[row["part"]] += row["share_ratio"]
    assert_allclose(total.pop("electrolytic capacitor"), 0.8)
    assert_allclose(list(total.values()), 1.0)


def test_relay_coil_current_follows_from_its_resistance():
    """0.5 %: the printed current and resistance have three digits each."""
    for row in table("relay_coils"):
        if not math.isnan(row["coil_a"]):
            assert_allclose(row["coil_v"] / row["coil_ohm"], row["coil_a"], rtol=5e-3)


# ------------------------------------------------------------------ mains, meters, examples


def test_mains_bands_in_volts_and_in_ratios_agree():
    for row in table("mains_bands"):
        assert row["low_v"] < row["nominal_v"] < row["high_v"]
        assert_allclose(row["low_ratio"] * row["nominal_v"], row["low_v"], rtol=1e-5)
        assert_allclose(row["high_ratio"] * row["nominal_v"], row["high_v"], rtol=1e-5)


@pytest.mark.parametrize(
    ("band", "low_ratio", "high_ratio"),
    [
        ("230 +-10 %", 0.90, 1.10),
        ("230 +6/-10 %", 0.90, 1.06),
        ("230 +10/-6 %", 0.94, 1.10),
        ("240 +-6 %", 0.94, 1.06),
        ("EN 50160", 0.85, 1.10),
        ("EN 50160 outlet", 0.80, 1.10),
        ("120 extreme", 0.87, 1.06),
    ],
)
def test_mains_bands_agree_with_the_percentages_of_their_sources(band, low_ratio, high_ratio):
    """The sources print volts and per cent; the volts are exact."""
    (row,) = (row for row in table("mains_bands") if row["band"] == band)
    assert_allclose([row["low_ratio"], row["high_ratio"]], [low_ratio, high_ratio], rtol=1e-6)


@pytest.mark.transcribed(
    "ISO-8528-BOOK", where="table 1.1, page 15", rtol=1e-9, why="printed values are exact"
)
@pytest.mark.parametrize(
    ("kind", "voltage_band", "droop", "steady"),
    [("G1", 0.05, 0.08, 0.025), ("G2", 0.025, 0.05, 0.015), ("G3", 0.01, 0.03, 0.005)],
)
def test_generator_bands_follow_from_the_classes(kind, voltage_band, droop, steady, published):
    """Frequency: from no load down by the droop, and half of the steady band both ways."""
    rows = [row for row in table("mains_bands") if str(row["band"]).endswith(f"generator {kind}")]
    assert len(rows) == 2
    for row in rows:
        result = [row[f"{end}_ratio"] for end in ("low", "high", "frequency_low", "frequency_high")]
        expected = [1 - voltage_band, 1 + voltage_band, 1 - droop - steady / 2, 1 + steady / 2]
        assert_allclose(result, expected, rtol=published.rtol)


def wave_v(name: str, phase_rad: np.ndarray) -> np.ndarray:
    """One period of a wave of peak 1."""
    sine = np.sin(phase_rad)
    return {
        "sine": sine,
        "full-wave sine": np.abs(sine),
        "half-wave sine": np.maximum(sine, 0.0),
        "square": np.sign(sine),
        "rectified square": (sine > 0) * 1.0,
        "50 % pulse": (sine > 0) * 1.0,
        "triangle": np.arcsin(sine) / (np.pi / 2),
    }[name]


# What each grade of the `usable` column means: half of the last printed digit, or two digits.
PRECISION = {"yes": 0.0005, "loose": 0.002}


@pytest.mark.parametrize(
    "row", table("waveform_readings"), ids=lambda row: f"{row['wave']} {row['source']}"
)
def test_printed_readings_agree_with_the_wave(row):
    """Exact averages by quadrature; the row marked `no` is really wrong."""
    phase_rad = 2 * np.pi * (np.arange(100_000) + 0.5) / 100_000
    v = wave_v(row["wave"], phase_rad)
    v *= row["total_rms_ratio"] / np.sqrt(np.mean(v**2))
    ac = v - v.mean()
    average = np.mean(np.abs(ac)) * np.pi / (2 * np.sqrt(2))
    if row["usable"] == "no":
        assert abs(average - row["average_reading_ratio"]) > 0.01
        return
    # 1.414 and 0.707 stand for numbers that are not round.
    atol = PRECISION[row["usable"]] + 5e-5
    assert_allclose(row["average_reading_ratio"], average, atol=atol)
    assert_allclose(row["ac_rms_ratio"], np.std(v), atol=atol)
    assert_allclose(row["peak_ratio"], np.abs(v).max(), atol=5e-4)
    if not math.isnan(row["dc_ratio"]):
        assert_allclose(row["dc_ratio"], v.mean(), atol=atol)


def test_meter_loading_stays_within_the_printed_error():
    """The sources print an upper limit, rounded to one digit."""
    for row in table("meter_loading"):
        error = row["source_ohm"] / (row["source_ohm"] + row["meter_ohm"])
        assert 0.8 * row["error_ratio"] < error <= row["error_ratio"]


def given(row: dict[str, str | float]) -> dict[str, float]:
    return {name: float(text) for name, text in re.findall(r"(\w+)=([\d.e-]+)", str(row["given"]))}


def late_s(g: dict[str, float]) -> float:
    angle_rad = math.asin(g["threshold_v"] / (math.sqrt(2) * g["rms_v"]))
    return angle_rad / (2 * math.pi * g["frequency_hz"])


def conduction_power_ratio(g: dict[str, float]) -> float:
    firing_rad = math.radians(180.0 - g["conduction_deg"])
    return 1.0 - firing_rad / math.pi + math.sin(2 * firing_rad) / (2 * math.pi)


def series_rc(g: dict[str, float]) -> tuple[float, float, float]:
    """Peak current, peak capacitor voltage, time by which the current leads."""
    omega = 2 * math.pi * g["frequency_hz"]
    reactance_ohm = 1 / (omega * g["capacitance_f"])
    peak_a = math.sqrt(2) * g["rms_v"] / math.hypot(g["resistance_ohm"], reactance_ohm)
    lead_s = math.atan(reactance_ohm / g["resistance_ohm"]) / omega
    return peak_a, peak_a * reactance_ohm, lead_s


CLOSED_FORMS = {
    "T1": late_s,
    "T2": lambda g: math.sqrt(2) * g["rms_v"] / g["resistance_ohm"],
    "T3a": lambda g: series_rc(g)[0],
    "T3b": lambda g: series_rc(g)[1],
    "T3c": lambda g: series_rc(g)[2],
    "T4": lambda g: g["peak_v"] / g["resistance_ohm"],
    "T5": lambda g: g["peak_v"] * 2 * math.pi * g["frequency_hz"],
    "T6": late_s,
    "T7": lambda g: math.sqrt(2) * g["rms_a"],
    "T8a": conduction_power_ratio,
    "T8b": conduction_power_ratio,
    "T9": lambda g: math.sqrt(2) * g["power_w"] / g["rms_v"],
    "T10a": late_s,
    "T11a": lambda g: math.sqrt(2) * g["rms_v"] / g["resistance_ohm"],
    "T11b": lambda g: g["rms_v"] ** 2 / (2 * g["resistance_ohm"]),
    "T12": lambda g: (g["pulse_s"] - g["period_s"] / 2) / 2,
    "T13": late_s,
    "T14": lambda g: (g["rms_v"] - g["led_v"]) / g["resistance_ohm"],
}


@pytest.mark.parametrize("name", CLOSED_FORMS)
def test_worked_example_was_copied_right(name):
    """Each published result follows from its own inputs within its own digits."""
    (row,) = (row for row in table("zero_crossing_examples") if row["id"] == name)
    assert_allclose(CLOSED_FORMS[name](given(row)), row["expected_si"], atol=row["tolerance_si"])


# ------------------------------------------------------------------ defaults


@pytest.mark.parametrize("row", table("defaults"), ids=lambda row: row["key"])
def test_default_says_where_it_comes_from(row):
    practice = str(row["why"]).startswith("common practice, no source")
    assert practice == (row["source"] == "COMMON-PRACTICE")


@pytest.mark.parametrize(
    ("key", "name", "column", "row"),
    [
        ("relay.coil_resistance", "relay_coils", "coil_ohm", "G5LE 12 V"),
        ("relay.coil_supply", "relay_coils", "coil_v", "G5LE 12 V"),
        ("feed.contact_resistance", "relay_coils", "contact_ohm", "G5LE 12 V"),
        ("meter.dc_input", "meters", "dc_input_ohm", "Fluke 114-117"),
        ("meter.ac_input", "meters", "ac_input_ohm", "Fluke 114-117"),
        ("meter.low_impedance", "meters", "low_impedance_ohm", "Fluke 114-117"),
        ("meter.diode_open", "meters", "diode_open_v", "Fluke 114-117"),
        ("meter.ohms_open", "meters", "ohms_open_v", "Fluke 114-117"),
    ],
)
def test_default_is_the_value_of_its_table(key, name, column, row):
    (result,) = (r[column] for r in table(name) if row in r.values())
    assert default(key).value == result


def test_default_thresholds_are_the_widest_guaranteed_band():
    pins = columns("pin_thresholds")
    assert default("controller.low_threshold_ratio").value == np.nanmin(pins["low_max_ratio"])
    assert default("controller.high_threshold_ratio").value == np.nanmax(pins["high_min_ratio"])
