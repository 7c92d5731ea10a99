"""The closed table of units. Pint builds it once, from the expressions below; text from a user never reaches Pint.

(Pint would not come back from ``9**9**9``, reads ``1,5`` as 15 and takes ``kV`` for kilovolt.)
"""

from __future__ import annotations

import functools
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

import numpy as np
import pint

from gramwatt.declare import Array, DeclarationError

# dimension: {spelling: expression for Pint}. A spelling stands in one dimension only; the first is the plain one.
SPELLINGS: Final[Mapping[str, Mapping[str, str]]] = {
    "number": {"1": "1"},
    "share": {"%": "percent", "fraction": "1", "‰": "permille"},
    "mass": {"g": "gram", "kg": "kilogram", "mg": "milligram", "oz": "ounce", "lb": "pound", "lbs": "pound"},
    "length": {"mm": "mm", "cm": "cm", "m": "m", "in": "inch", "inch": "inch", '"': "inch", "ft": "foot"},
    "time": {
        "min": "minute",
        "s": "second",
        "ms": "millisecond",
        "us": "microsecond",
        "µs": "microsecond",
        "h": "hour",
    },
    "charge": {"mAh": "mA*hour", "Ah": "A*hour", "As": "A*second"},
    "energy": {"Wh": "watt*hour", "kWh": "kW*hour", "mWh": "mW*hour", "J": "joule", "kJ": "kJ"},
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
    "power loading": {"g/W": "gram/watt", "kg/kW": "kg/kW", "lb/hp": "pound/horsepower"},
    "disk loading": {"N/m2": "N/m^2", "N/m²": "N/m^2", "kgf/m2": "kilogram_force/m^2", "lbf/ft2": "pound_force/foot^2"},
    "density": {"kg/m3": "kg/m^3", "kg/m³": "kg/m^3", "g/L": "g/L", "lb/ft3": "pound/foot^3"},
    "pressure": {"hPa": "hPa", "mbar": "mbar", "Pa": "pascal", "kPa": "kPa", "inHg": "inch_Hg", "psi": "psi"},
}


@dataclass(frozen=True, slots=True)
class Unit:
    """A spelling of the table: value in SI = value * scale + offset."""

    spelling: str
    dimension: str
    scale: float
    offset: float

    def to_si(self, value: float) -> float:
        """A value in this unit, in SI."""
        return value * self.scale + self.offset

    def from_si(self, values: Array) -> Array:
        """Values in SI, in this unit."""
        return (values - self.offset) / self.scale


def _build() -> Mapping[str, Mapping[str, Unit]]:
    registry: pint.UnitRegistry[float] = pint.UnitRegistry(autoconvert_offset_to_baseunit=True)
    table: dict[str, Mapping[str, Unit]] = {}
    for dimension, spellings in SPELLINGS.items():
        units = {}
        for spelling, expression in spellings.items():
            zero, one, thousand = (
                float(registry.Quantity(value, expression).to_base_units().magnitude) for value in (0.0, 1.0, 1000.0)
            )
            # Without an offset the product is exact; with one, a wide base loses fewest digits.
            scale = one if zero == 0 else (thousand - zero) / 1000
            units[spelling] = Unit(spelling, dimension, _tidy(scale), _tidy(zero))
        table[dimension] = MappingProxyType(units)
    return MappingProxyType(table)


def _tidy(value: float) -> float:
    """Drop the last bits that Pint's chain of products leaves: 0.009999999999999998 is 0.01."""
    return float(f"{value:.15g}")


TABLE: Final = _build()
_DIMENSION: Final = {spelling: dimension for dimension, units in TABLE.items() for spelling in units}


def unit(spelling: str) -> Unit:
    """The unit of a declaration. Raises DeclarationError where the table has none of that spelling."""
    if spelling not in _DIMENSION:
        raise DeclarationError(f"unit {spelling!r} is not in the table of units")
    return TABLE[_DIMENSION[spelling]][spelling]


@functools.cache
def alternatives(spelling: str) -> Mapping[str, Unit]:
    """Every unit of the same dimension by its spelling, the declared one first."""
    declared = unit(spelling)
    return MappingProxyType({spelling: declared, **TABLE[declared.dimension]})


def convert(values: Array, to: str) -> Array:
    """SI values of any shape, in a unit of the table."""
    return np.asarray(unit(to).from_si(values), dtype=np.float64)
