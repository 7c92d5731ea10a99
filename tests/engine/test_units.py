"""The closed table of units against published factors, and the promise that Pint never sees a user's text."""

import math
import re
from collections.abc import Mapping
from typing import Any, Final, Literal

import numpy as np
import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import constants

from gramwatt.engine import nested, unit_expressions
from gramwatt.model import DeclarationError, Quantity, units

SPELLINGS: Final = [spelling for table in units.UNITS.values() for spelling in table]

COMPUTED: Final = {
    spelling: pair for table in unit_expressions.compute_factors().values() for spelling, pair in table.items()
}


@pytest.mark.parametrize("spelling", COMPUTED)
def test_committed_factors_are_those_of_pint(spelling: str) -> None:
    """To the last bit: Pint is the authority, `unit_table.py` only spares its start."""
    unit = units.get_unit(spelling)
    assert (unit.scale, unit.offset) == COMPUTED[spelling]


def test_committed_table_is_up_to_date() -> None:
    """Every spelling in its dimension and order; run `make contract` where this fails."""
    assert unit_expressions.MODULE.read_text(encoding="utf-8") == unit_expressions.build_module_source()


# SI values of single units, from `scipy.constants` (CODATA 2022 and NIST SP 811), or by definition where it has none.
# A spelling such as lbf/ft2 or rad/(s V) is composed of these.
OUTSIDE: Final[Mapping[str, float]] = {
    "1": 1.0, "fraction": 1.0, "%": constants.centi, "‰": constants.milli,
    "g": constants.gram, "kg": 1.0, "mg": constants.milli * constants.gram, "oz": constants.oz,
    "lb": constants.pound, "lbs": constants.pound,
    "m": 1.0, "mm": constants.milli, "cm": constants.centi, "km": constants.kilo,
    "in": constants.inch, "inch": constants.inch, '"': constants.inch, "ft": constants.foot,
    "mm2": constants.milli**2, "mm²": constants.milli**2, "cm2": constants.centi**2, "cm²": constants.centi**2,
    "in2": constants.inch**2, "in²": constants.inch**2,
    "s": 1.0, "ms": constants.milli, "us": constants.micro, "µs": constants.micro,
    "min": constants.minute, "h": constants.hour, "Hz": 1.0, "kHz": constants.kilo,
    "A": 1.0, "mA": constants.milli, "V": 1.0, "mV": constants.milli,
    "ohm": 1.0, "Ω": 1.0, "mohm": constants.milli, "mΩ": constants.milli,
    "As": 1.0, "Ah": constants.hour, "mAh": constants.milli * constants.hour, "C": 1 / constants.hour,
    "W": 1.0, "kW": constants.kilo, "mW": constants.milli, "hp": constants.hp,
    "per kWh": 1 / (constants.kilo * constants.hour),
    "J": 1.0, "kJ": constants.kilo, "kcal": constants.kilo * constants.calorie,
    "Wh": constants.hour, "kWh": constants.kilo * constants.hour, "mWh": constants.milli * constants.hour,
    "K": 1.0, "degC": 1.0, "°C": 1.0, "degF": constants.degree_Fahrenheit, "°F": constants.degree_Fahrenheit,
    "mol": 1.0, "L": constants.liter,
    "rad": 1.0, "deg": constants.degree, "°": constants.degree,
    "rev": 2 * constants.pi, "rpm": 2 * constants.pi / constants.minute,
    "mph": constants.mph, "kn": constants.knot,
    "N": 1.0, "mN": constants.milli, "kgf": constants.kgf, "gf": constants.milli * constants.kgf,
    "lbf": constants.lbf, "ozf": constants.lbf / 16,
    "Pa": 1.0, "hPa": constants.hecto, "kPa": constants.kilo, "mbar": constants.milli * constants.bar,
    "psi": constants.psi, "inHg": constants.inch * 13595.1 * constants.g,
}  # fmt: skip


SCALES: Final[Mapping[str, Literal["Celsius", "Fahrenheit", "Kelvin"]]] = {
    "C": "Celsius",
    "F": "Fahrenheit",
    "K": "Kelvin",
}


def _outside(spelling: str) -> float:
    """Compose the SI value of a spelling from single units, without the table under test and without Pint."""
    if spelling in OUTSIDE:
        return OUTSIDE[spelling]
    numerator, slash, denominator = spelling.partition("/")
    parts = re.findall(r"([^\d²³ ()]+)([23²³]?)", denominator)
    assert slash, f"add the SI value of {spelling} to OUTSIDE, with its source"
    powers = {"": 1, "2": 2, "²": 2, "3": 3, "³": 3}
    return OUTSIDE[numerator] / math.prod(OUTSIDE[unit] ** powers[power] for unit, power in parts)


@pytest.mark.parametrize("spelling", SPELLINGS)
def test_every_factor_agrees_with_an_outside_source(spelling: str) -> None:
    """SciPy's constants; 13595.1 kg/m3 is the conventional density of mercury (NIST SP 811, appendix B.8, note 12)."""
    assert units.get_unit(spelling).scale == pytest.approx(_outside(spelling), rel=1e-12)


@pytest.mark.parametrize("spelling", [name for name in SPELLINGS if name not in units.UNITS["temperature"]])
def test_only_temperatures_have_an_offset(spelling: str) -> None:
    assert units.get_unit(spelling).offset == 0


@pytest.mark.parametrize("spelling", units.UNITS["temperature"])
def test_temperatures_agree_with_an_outside_source(spelling: str) -> None:
    values = np.array([-40.0, 0.0, 32.0, 451.0])
    kelvin = constants.convert_temperature(values, SCALES[spelling[-1]], "Kelvin")
    assert [units.get_unit(spelling).to_si(value) for value in values] == pytest.approx(kelvin, rel=1e-12)


@pytest.mark.parametrize(
    ("spelling", "printed", "half_a_unit"),
    [
        # Derived: 1 lb = 16 oz = 0.45359237 kg, 1 in = 0.0254 m = 1/12 ft, 9.80665 m/s2, 1 kn = 1852 m/h; 1 hp is
        # 550 ft lbf/s, and 1 inHg an inch of 13595.1 kg/m3. By hand to seven digits.
        pytest.param("lb", 4.535924e-01, 0.5e-7, id="pound"),
        pytest.param("oz", 2.834952e-02, 0.5e-8, id="ounce"),
        pytest.param("lbf", 4.448222e00, 0.5e-6, id="pound-force"),
        pytest.param("ozf", 2.780139e-01, 0.5e-7, id="ounce-force"),
        pytest.param("hp", 7.456999e02, 0.5e-4, id="horsepower-of-550-foot-pounds-a-second"),
        pytest.param("kn", 5.144444e-01, 0.5e-7, id="knot"),
        pytest.param("inHg", 3.386389e03, 0.5e-3, id="inch-of-mercury-conventional"),
        pytest.param("psi", 6.894757e03, 0.5e-3, id="pound-force-per-square-inch"),
        pytest.param("lb/ft3", 1.601846e01, 0.5e-5, id="pound-per-cubic-foot"),
        pytest.param("lbf/ft2", 4.788026e01, 0.5e-5, id="pound-force-per-square-foot"),
        pytest.param("rpm", 1.047198e-01, 0.5e-7, id="revolution-per-minute"),
    ],
)
def test_printed_factors(spelling: str, printed: float, half_a_unit: float) -> None:
    """Half a unit of the last printed digit."""
    assert units.get_unit(spelling).scale == pytest.approx(printed, abs=half_a_unit * (1 + 1e-9), rel=0)


@pytest.mark.parametrize(
    ("text", "kelvin"),
    [
        # By definition of the scales: ice point, steam point, absolute zero, and where the two cross.
        pytest.param("0 degC", 273.15, id="ice-point-celsius"),
        pytest.param("32 degF", 273.15, id="ice-point-fahrenheit"),
        pytest.param("100 °C", 373.15, id="steam-point-celsius"),
        pytest.param("212 °F", 373.15, id="steam-point-fahrenheit"),
        pytest.param("-40 degF", 233.15, id="minus-forty-fahrenheit"),
        pytest.param("-40 degC", 233.15, id="minus-forty-celsius"),
        pytest.param("273.15 K", 273.15, id="kelvin"),
    ],
)
def test_fixed_points_of_temperature(text: str, kelvin: float) -> None:
    kind = Quantity("degC", "Temperature.", at_least=-273.15, at_most=1e4)
    assert nested.read_column(kind, [text], text=False).values[0] == pytest.approx(kelvin, rel=1e-12)


def test_absolute_zero_in_fahrenheit() -> None:
    """By hand: -459.67 degF; what is left of it in kelvin is rounding of 255.4."""
    assert units.get_unit("degF").to_si(-459.67) == pytest.approx(0.0, abs=1e-11)


def test_every_spelling_stands_in_one_dimension() -> None:
    """A spelling in two dimensions would be read by whichever was built last."""
    assert len(SPELLINGS) == len(set(SPELLINGS))
    assert all(units.get_unit(spelling).spelling == spelling for spelling in SPELLINGS)


@pytest.mark.parametrize("spelling", [spelling for spelling in SPELLINGS if spelling != "1"])
def test_every_spelling_that_is_offered_is_understood(spelling: str) -> None:
    """The table is what refusals list as accepted, so each of its words must be readable behind a number."""
    kind = Quantity(spelling, "Anything.", at_least=-1e12, at_most=1e12)
    # Without a space, 51/min would be anybody's guess.
    for text in (f"5 {spelling}", f"5 ± 1 {spelling}", *([] if spelling[0].isdigit() else [f"5{spelling}"])):
        column = nested.read_column(kind, [text], text=False)
        assert not column.errors
        assert column.values[0] == pytest.approx(units.get_unit(spelling).to_si(5.0), rel=1e-12)


def test_case_tells_spellings_apart() -> None:
    """MAh and MAh, mW and MW differ by a thousand million: nothing is folded."""
    kind = Quantity("mW", "Power.", at_least=0, at_most=1e12)
    assert nested.read_column(kind, ["5 MW"], text=False).errors


@given(st.sampled_from(SPELLINGS), st.floats(-1e6, 1e6))
def test_round_trip(spelling: str, value: float) -> None:
    """There and back; with an offset, to what a sum of some hundreds of kelvin carries."""
    unit = units.get_unit(spelling)
    back = float(unit.from_si(np.array([unit.to_si(value)]))[0])
    assert back == pytest.approx(value, rel=1e-12, abs=1e-12 if unit.offset == 0 else 1e-9)


@given(st.sampled_from(SPELLINGS), st.floats(0.001, 1e6))
def test_conversion_between_any_two_units_of_a_dimension(spelling: str, value: float) -> None:
    """Through another spelling and back changes nothing; the declared spelling comes first."""
    si = units.get_unit(spelling).to_si(value)
    for other, unit in units.compatible_units(spelling).items():
        assert unit.to_si(float(units.convert_from_si(np.array([si]), other)[0])) == pytest.approx(si, rel=1e-12)
    assert next(iter(units.compatible_units(spelling))) == spelling


def test_an_unknown_spelling_in_a_declaration_raises() -> None:
    with pytest.raises(DeclarationError, match="'furlong'"):
        units.get_unit("furlong")


@pytest.mark.parametrize(
    "text",
    [
        pytest.param("1 9**9**9", id="an-expression-that-never-ends"),
        pytest.param("1 m*9**9**9", id="the-same-behind-a-unit"),
        pytest.param("1 furlong", id="a-unit-that-pint-knows"),
        pytest.param("1 kV", id="a-prefix-that-pint-would-take"),
        pytest.param("1 __import__('os')", id="code"),
        pytest.param("1 " + "x" * 60, id="a-long-name"),
        pytest.param("1 " + "x" * 32000, id="a-very-long-name"),
        pytest.param("1 meter", id="a-long-spelling-of-a-known-unit"),
    ],
)
def test_text_of_users_never_reaches_pint(monkeypatch: pytest.MonkeyPatch, text: str) -> None:
    """With Pint's parser disabled, the text is still an error: the parser is never called."""

    def fail(*_: Any, **__: Any) -> Any:
        raise AssertionError("user text reached Pint")

    for name in ("parse_expression", "parse_units", "parse_units_as_container", "get_name", "Quantity", "Unit"):
        monkeypatch.setattr(pint.UnitRegistry, name, fail)
    for name in ("UnitRegistry", "Quantity", "Unit"):
        monkeypatch.setattr(pint, name, fail)
    column = nested.read_column(Quantity("mm", "Length.", above=0, at_most=1e6), [text], text=False)
    assert len(column.errors[0]) == 1
