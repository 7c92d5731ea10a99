"""The closed table of units: every spelling that a quantity may carry, with its scale and offset to SI.

The numbers come from `unit_table.py`, which Pint computed (`unit_expressions.py`). Text from a user never reaches Pint:
it would not come back from ``9**9**9``, reads ``1,5`` as 15 and takes ``kV`` for kilovolt.
"""

from __future__ import annotations

import functools
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final, TypeVar

import numpy as np

from gramwatt.arrays import Array
from gramwatt.model.errors import DeclarationError
from gramwatt.model.unit_table import FACTORS, WORDS

FloatOrArray = TypeVar("FloatOrArray", float, Array)


@dataclass(frozen=True, slots=True)
class Unit:
    """A spelling of the table: value in SI = value * scale + offset."""

    spelling: str
    dimension: str
    scale: float
    offset: float

    def to_si(self, value: FloatOrArray) -> FloatOrArray:
        """Return a value or an array in this unit, in SI."""
        return value * self.scale + self.offset

    def from_si(self, values: Array) -> Array:
        """Values in SI, in this unit."""
        return (values - self.offset) / self.scale


UNITS: Final[Mapping[str, Mapping[str, Unit]]] = MappingProxyType(
    {
        dimension: MappingProxyType(
            {spelling: Unit(spelling, dimension, scale, offset) for spelling, (scale, offset) in factors.items()}
        )
        for dimension, factors in FACTORS.items()
    }
)
"""The units by dimension and spelling. A spelling belongs to one dimension only; the first is the plain one."""
_DIMENSION: Final = {spelling: dimension for dimension, units in UNITS.items() for spelling in units}


def get_unit(spelling: str) -> Unit:
    """Return the unit of a declaration. Raises DeclarationError where the table has none of that spelling."""
    if spelling not in _DIMENSION:
        raise DeclarationError(
            f"unit {spelling!r} is not in the table of units; add it to EXPRESSIONS in engine/unit_expressions.py and "
            "run `make contract`"
        )
    return UNITS[_DIMENSION[spelling]][spelling]


def get_difference_unit(spelling: str) -> str:
    """Return the unit of differences of values in a unit: K for °C; for others the same."""
    unit = get_unit(spelling)
    return "K" if unit.offset and unit.scale == 1 else spelling


@functools.cache
def compatible_units(spelling: str) -> Mapping[str, Unit]:
    """Every unit of the same dimension by its spelling, the declared one first."""
    declared = get_unit(spelling)
    return MappingProxyType({spelling: declared, **UNITS[declared.dimension]})


def get_words(known: Collection[str]) -> dict[str, str]:
    """Return the words for some units, such as ``gram``, each with its spelling."""
    return {word: spelling for word, spelling in WORDS.items() if spelling in known}


def convert_from_si(values: Array, to: str) -> Array:
    """SI values of any shape, in a unit of the table."""
    return np.asarray(get_unit(to).from_si(values), dtype=np.float64)
