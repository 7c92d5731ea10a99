"""The units as expressions for Pint, and the table that Pint computes from them.

To add a unit, add its spelling here and run `make contract`, which writes `unit_table.py`. Only that command, `gramwatt
check` and the tests import Pint: building its registry takes longer than everything else at start together.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from pathlib import Path
from typing import Final

import pint

from gramwatt.model import unit_table

# dimension: {spelling: expression for Pint}. A spelling belongs to one dimension only; the first is the plain one.
UNIT_EXPRESSIONS: Final[Mapping[str, Mapping[str, str]]] = {
    "number": {"1": "1"},
    "share": {"%": "percent", "fraction": "1", "‰": "permille"},
    "mass": {"g": "gram", "kg": "kilogram", "mg": "milligram", "oz": "ounce", "lb": "pound", "lbs": "pound"},
    "length": {
        "mm": "millimeter",
        "cm": "centimeter",
        "m": "meter",
        "in": "inch",
        "inch": "inch",
        '"': "inch",
        "ft": "foot",
    },
    "angle": {"deg": "deg", "°": "deg", "rad": "radian"},
    "time": {
        "min": "minute",
        "s": "second",
        "ms": "millisecond",
        "us": "microsecond",
        "µs": "microsecond",
        "h": "hour",
    },
    "charge": {"mAh": "mA*hour", "Ah": "A*hour", "As": "A*second"},
    "energy": {"Wh": "watt*hour", "kWh": "kW*hour", "mWh": "mW*hour", "J": "joule", "kJ": "kilojoule"},
    "price of energy": {"per kWh": "1/(kW*hour)"},
    "power": {"W": "watt", "kW": "kilowatt", "mW": "milliwatt", "hp": "horsepower"},
    "voltage": {"V": "volt", "mV": "millivolt"},
    "current": {"A": "ampere", "mA": "milliampere"},
    "resistance": {"mohm": "milliohm", "mΩ": "milliohm", "ohm": "ohm", "Ω": "ohm"},
    "frequency": {"Hz": "1/second", "kHz": "1/millisecond"},
    "discharge rate": {"C": "1/hour"},
    "temperature": {"degC": "degC", "°C": "degC", "K": "kelvin", "degF": "degF", "°F": "degF"},
    "molar energy": {"kJ/mol": "kJ/mol", "J/mol": "J/mol", "kcal/mol": "kcal/mol"},
    "specific energy": {"Wh/kg": "watt*hour/kg", "kJ/kg": "kJ/kg", "Wh/lb": "watt*hour/pound"},
    "specific power": {"W/kg": "watt/kg", "W/lb": "watt/pound"},
    "rotor speed": {"rpm": "rpm", "rev/s": "revolution/second", "rad/s": "radian/second"},
    "speed constant": {"rpm/V": "rpm/volt", "rad/(s V)": "radian/second/volt"},
    "speed": {"m/s": "m/s", "km/h": "km/hour", "mph": "mile/hour", "kn": "knot", "ft/s": "foot/second"},
    "force": {"gf": "gram_force", "N": "newton", "kgf": "kilogram_force", "ozf": "ounce_force", "lbf": "pound_force"},
    "thrust per power": {"gf/W": "gram_force/watt", "N/W": "newton/watt", "mN/W": "mN/watt"},
    "mass per time": {"g/min": "gram/minute", "g/s": "gram/second", "kg/s": "kg/second"},
    "mass per force": {"g/gf": "gram/gram_force", "g/N": "gram/newton", "kg/N": "kg/newton"},
    "power loading": {"g/W": "gram/watt", "kg/kW": "kg/kW", "lb/hp": "pound/horsepower"},
    "disk loading": {"N/m2": "N/m^2", "N/m²": "N/m^2", "kgf/m2": "kilogram_force/m^2", "lbf/ft2": "pound_force/foot^2"},
    "area": {"mm2": "mm^2", "mm²": "mm^2", "cm2": "cm^2", "cm²": "cm^2", "in2": "inch^2", "in²": "inch^2"},
    "current density": {"A/mm2": "A/mm^2", "A/mm²": "A/mm^2", "A/in2": "A/inch^2", "A/in²": "A/inch^2"},
    "heat transfer coefficient": {"W/(m2 K)": "W/(m^2*K)", "W/(m² K)": "W/(m^2*K)"},
    "density": {"kg/m3": "kg/m^3", "kg/m³": "kg/m^3", "g/L": "g/L", "lb/ft3": "pound/foot^3"},
    "pressure": {
        "hPa": "hectopascal",
        "mbar": "millibar",
        "Pa": "pascal",
        "kPa": "kilopascal",
        "inHg": "inch_Hg",
        "psi": "psi",
    },
}

MODULE: Final = Path(unit_table.__file__)
_HEAD: Final = '''\
"""Scale and offset of every unit to SI: value * scale + offset, and words for units. `make contract` writes it."""

from collections.abc import Mapping
from typing import Final

FACTORS: Final[Mapping[str, Mapping[str, tuple[float, float]]]] = {
'''


def compute_factors() -> dict[str, dict[str, tuple[float, float]]]:
    """Compute scale and offset of every spelling, by dimension, with Pint."""
    registry: pint.UnitRegistry[float] = pint.UnitRegistry(autoconvert_offset_to_baseunit=True)
    table: dict[str, dict[str, tuple[float, float]]] = {}
    for dimension, spellings in UNIT_EXPRESSIONS.items():
        table[dimension] = {}
        for spelling, expression in spellings.items():
            zero, one, thousand = (
                float(registry.Quantity(value, expression).to_base_units().magnitude) for value in (0.0, 1.0, 1000.0)
            )
            # Without an offset the product is exact; with one, a wide base loses fewest digits.
            scale = one if zero == 0 else (thousand - zero) / 1000
            table[dimension][spelling] = _tidy(scale), _tidy(zero)
    return table


def _tidy(value: float) -> float:
    """Drop the last bits that Pint's chain of products leaves: 0.009999999999999998 is 0.01."""
    return float(f"{value:.15g}")


def build_module_source() -> str:
    """Return the source of `unit_table.py` as it must be, formatted."""
    lines = []
    for dimension, factors in compute_factors().items():
        lines.append(f'    "{dimension}": {{')
        lines += [f"        {_quoted(spelling)}: {pair}," for spelling, pair in factors.items()]
        lines.append("    },")
    lines += ["}", "WORDS: Final[Mapping[str, str]] = {"]
    lines += [f'    "{word}": "{spelling}",' for word, spelling in list_words().items()]
    return _HEAD + "\n".join(lines) + "\n}\n"


def list_words() -> dict[str, str]:
    """Return the words that are the whole expression of a unit, with its first spelling."""
    words: dict[str, str] = {}
    for spellings in UNIT_EXPRESSIONS.values():
        for spelling, expression in spellings.items():
            if re.fullmatch("[a-z_]{3,}", expression) and expression not in spellings:
                words.setdefault(expression.replace("_", " "), spelling)
    return words


def _quoted(spelling: str) -> str:
    return repr(spelling) if '"' in spelling else f'"{spelling}"'


if __name__ == "__main__":
    MODULE.write_text(build_module_source(), encoding="utf-8")
