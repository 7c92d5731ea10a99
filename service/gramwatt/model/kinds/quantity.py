"""A number with a unit, its bounds, and how it is read."""

from __future__ import annotations

import math
import numbers
import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import KW_ONLY, dataclass, field
from typing import TYPE_CHECKING, Any, ClassVar, Final, NamedTuple, TypeVar

import numpy as np
from numpy.typing import NDArray

from gramwatt.arrays import Array, BoolArray
from gramwatt.model import units
from gramwatt.model.kinds._base import BaseKind
from gramwatt.model.messages import format_number, format_quantity
from gramwatt.model.parsing import (
    MAX_NUMBER_LENGTH,
    MAX_UNCERTAINTY,
    ValueParseError,
    describe_type,
    is_plain_number,
    match_quantity,
    replace_lookalikes,
)

if TYPE_CHECKING:
    from gramwatt.model.kinds import Kind

_REAL: Final = (float, int, numbers.Real)
"""The usual types first: the last is found by a registry."""

Number = TypeVar("Number", float, NDArray[np.float64])


class Display(NamedTuple):
    """The display that a quantity is read from: a reading may be half a step off, either way alike."""

    step: str
    """The input of the calculator that is the step of the display."""
    applies: Callable[[Any], BoolArray] | None = None
    """Whether (N,) it was read by itself, from complete inputs; None for always."""

    def get_step(self, inputs: Any) -> Array:
        """Return the step (N,) in SI units; 0 where the quantity was not read by itself, or the step is no input."""
        step = getattr(inputs, self.step, 0.0)
        return np.asarray(step if self.applies is None else np.where(self.applies(inputs), step, 0.0))


@dataclass(frozen=True, slots=True)
class Quantity(BaseKind):
    """A number with a unit. Bounds and default are in that unit; the formula gets SI values."""

    unit: str
    description: str
    _: KW_ONLY
    above: float | None = None
    at_least: float | None = None
    below: float | None = None
    at_most: float | None = None
    default: float | None = None
    default_u: float | None = None
    """Standard uncertainty of the default, which counts wherever the default is assumed."""
    default_factor: float | None = None
    """Of a positive default known to a factor, x/÷ 1.5: one standard deviation of its logarithm (log-normal)."""
    display: Display | None = None
    """Of a reading: the display, whose step makes it uncertain."""
    plausible: tuple[float, float] | None = None
    """Of an input: what is usual, in its unit. A value beyond is questioned, as the unit may be wrong; 0 is not."""
    signed: bool = False
    """Of a result: it may be negative, without a limit."""
    exact: bool = False
    """It has no uncertainty: an input, since no result would have one; a result, since it is one, or a probability."""
    _bounds: Bounds | None = field(default=None, init=False, repr=False, compare=False)

    kind_name: ClassVar[str] = "quantity"
    is_numeric: ClassVar[bool] = True
    is_difference: ClassVar[bool] = False
    """Whether it is a difference of two values, without the offset that a temperature has."""

    @property
    def quantity(self) -> Quantity:
        """The quantity itself."""
        return self

    @property
    def possible_range(self) -> tuple[float, float]:
        """Of a result: the lowest and the highest value that is possible, in its unit. If not declared, 0 and up."""
        low = -math.inf if self.signed else self.at_least or 0.0
        return low, math.inf if self.at_most is None else self.at_most

    @property
    def is_probability(self) -> bool:
        """Whether a result is a probability in per cent: exact itself, up to 100."""
        return self.exact and self.unit == "%" and self.at_most == 100

    @property
    def has_uncertain_default(self) -> bool:
        """Whether its default has an uncertainty, which counts wherever the default is assumed."""
        return self.default_u is not None or self.default_factor is not None

    @property
    def bounds(self) -> Bounds:
        """The bounds, prepared on first use."""
        if self._bounds is None:
            object.__setattr__(self, "_bounds", Bounds(self))
        return self._bounds  # type: ignore[return-value]

    def describe_bounds(self) -> str:
        """Return the bounds in words, in the declared unit: ``above 0 and at most 24``."""
        bounds = {"above": self.above, "at least": self.at_least, "below": self.below, "at most": self.at_most}
        return " and ".join(f"{word} {format_number(bound)}" for word, bound in bounds.items() if bound is not None)

    def describe_accepted(self) -> str:
        """Return what an input accepts, in words."""
        if self.unit == "1":
            return f"a number {self.describe_bounds()}"
        spellings = ", ".join(units.compatible_units(self.unit))
        return f"{self.describe_bounds()} {self.unit}: a number in {self.unit}, or text with a unit ({spellings})"

    def parse(self, cell: object, *, text: bool, bare: units.Unit | None = None) -> tuple[float, float | None]:
        """Return the SI value of a cell, and its standard uncertainty if it has one."""
        bounds = self.bounds
        unit = bounds.unit if bare is None else bare
        uncertainty: float | None = None
        if isinstance(cell, str):
            head, space, spelling = cell.partition(" ")
            plain = is_plain_number(head) and len(cell) <= MAX_NUMBER_LENGTH
            if plain and not space and text:
                number = float(head)
            elif plain and self.unit != "1" and (known := bounds.units.get(spelling)) is not None:
                number, unit = float(head), known
            else:
                number, plus_minus, unit = self.parse_text(cell, unit, text=text)
                uncertainty = None if plus_minus is None else bounds.scale_uncertainty(plus_minus, unit)
                if uncertainty is not None and not 0 <= uncertainty <= MAX_UNCERTAINTY * unit.scale:
                    raise self._error(f"The standard uncertainty after +/- must be from 0 to {MAX_UNCERTAINTY:g}")
        elif isinstance(cell, _REAL) and not isinstance(cell, bool):
            try:
                number = float(cell)
            except OverflowError:
                number = math.inf
        else:
            raise self._error(f"Enter a number, not {describe_type(cell)}")
        if not math.isfinite(number):
            raise self._error("Enter a finite number")
        value = bounds.to_si(number, unit)
        if not bounds.contain(number, value, unit):
            raise self._error(f"Must be {self.describe_bounds()}" + ("" if self.unit == "1" else f" {self.unit}"))
        return value if unit is bounds.unit else bounds.round_to_declared(value), uncertainty

    def parse_text(self, cell: str, bare: units.Unit, *, text: bool) -> tuple[float, float | None, units.Unit]:
        """Return number, uncertainty if any, and unit of a text, whatever the bounds. Raises ValueParseError."""
        if len(cell) > MAX_NUMBER_LENGTH:
            raise self._error(f"Text of {len(cell)} characters is too long for a number with a unit")
        cell = replace_lookalikes(cell)
        if not cell.strip():
            raise self._error("Enter a value, or leave the name out")
        match = match_quantity(cell)
        if match is None:
            if re.fullmatch(r" *+[+-]?[0-9]+,[0-9]+[^0-9]*+", cell):
                raise self._error("Write a decimal point, not a comma")
            raise self._error("Enter a number, or a number with a unit")
        number, plus_minus, spelling = match.groups()
        if plus_minus is not None and self.exact:
            raise self._error("Leave out the uncertainty: this calculator does not propagate it")
        known = self.bounds.units
        if spelling is None and not text and plus_minus is None:
            hint = "" if self.unit == "1" else ", or with a unit"
            raise self._error(f"Send {number} without quotes{hint}")
        if spelling is not None and spelling not in known:
            detail = f'Unknown unit "{spelling}"; the units are {", ".join(known)}'
            raise ValueParseError(detail, self.describe_accepted(), (spelling, known, units.get_words(known)))
        unit = bare if spelling is None else known[spelling]
        return float(number), None if plus_minus is None else float(plus_minus), unit

    def _error(self, detail: str) -> ValueParseError:
        return ValueParseError(detail, self.describe_accepted())

    def convert_numbers(self, numbers: Any, unit: units.Unit | None) -> tuple[Any, BoolArray]:
        """Return the SI values of numbers (N,) in a unit, and which of them are within the bounds."""
        unit = self.bounds.unit if unit is None else unit
        values = self.bounds.to_si(numbers, unit)
        valid = self.bounds.contain(numbers, values, unit)
        return values if unit is self.bounds.unit else self.bounds.round_to_declared(values), valid

    def to_internal(self, value: Any) -> Any:
        """Return a declared value in SI units."""
        return units.get_unit(self.unit).to_si(value)

    def get_units(self, name: str) -> dict[str, str]:
        """Return the declared unit, by name."""
        return {name: self.unit}

    def format_text(self, value: Any, digits: int, *, absolute: bool = False) -> str:
        """Return one value with its unit for a sentence."""
        unit = "K" if absolute and units.get_unit(self.unit).dimension == "temperature" else self.unit
        return format_quantity(float(units.convert_from_si(value, unit)), unit, digits)

    def find_input_problems(self, siblings: Mapping[str, Kind]) -> Iterator[str]:
        """Yield what is wrong with bounds, default and texts."""
        lows = [bound for bound in (self.above, self.at_least) if bound is not None]
        highs = [bound for bound in (self.below, self.at_most) if bound is not None]
        if len(lows) != 1 or len(highs) != 1 or lows[0] >= highs[0]:
            yield "an input needs one lower and one upper bound (above or at_least, below or at_most)"
        elif self.default is not None and (
            not lows[0] <= self.default <= highs[0] or self.default in (self.above, self.below)
        ):
            yield f"default {self.default} outside its bounds"
        if self.default_u is not None and self.default is None:
            yield "default_u needs a default"
        if self.default_factor is not None:
            if self.default is None or self.default_u is not None:
                yield "default_factor needs a default, without default_u"
            elif not (self.default > 0 and self.default_factor > 1):
                yield "default_factor must be above 1, of a default above 0"
        if self.plausible is not None and self.plausible[0] >= self.plausible[1]:
            yield "plausible is a low and a high value"
        if self.formula or self.method:
            yield "an input has no formula"
        if self.signed:
            yield "an input has bounds, it is not signed"
        yield from BaseKind.find_input_problems(self, siblings)

    def find_result_problems(self, inputs: Mapping[str, Kind]) -> Iterator[str]:
        """Yield what is wrong with the bounds and texts of a result."""
        yield from self.find_bound_problems()
        if self.plausible is not None:
            yield "plausible is for inputs only"
        yield from BaseKind.find_result_problems(self, inputs)

    def find_bound_problems(self) -> Iterator[str]:
        """Yield what is wrong with the bounds of a result."""
        if self.above is not None or self.below is not None:
            yield "the bounds of a result are at_least and at_most"
        low, high = self.possible_range
        if low >= high or (self.signed and self.at_least is not None):
            yield "the bounds of the result contradict each other"


class QuantityDifference(Quantity):
    """A difference of two quantities, read without the offset that a temperature has."""

    is_difference: ClassVar[bool] = True


class Bounds:
    """The unit and bounds of a quantity, prepared to check one number or an array of them.

    A number in the declared unit is compared as it is, any other by its SI value; a closed bound given in another unit
    may be a last bit off.
    """

    __slots__ = ("_high", "_high_open", "_high_si", "_is_difference", "_low", "_low_open", "_low_si", "unit", "units")

    def __init__(self, kind: Quantity) -> None:
        self.unit = unit = units.get_unit(kind.unit)
        self.units = units.compatible_units(kind.unit)
        self._is_difference = kind.is_difference
        self._low_open, self._high_open = kind.above is not None, kind.below is not None
        self._low = next((bound for bound in (kind.above, kind.at_least) if bound is not None), -math.inf)
        self._high = next((bound for bound in (kind.below, kind.at_most) if bound is not None), math.inf)
        self._low_si, self._high_si = (
            self.to_si(bound, unit) + sign * (0.0 if is_open else 1e-13 * (abs(unit.to_si(bound)) + abs(unit.offset)))
            for bound, is_open, sign in ((self._low, self._low_open, -1), (self._high, self._high_open, 1))
        )

    def to_si(self, number: Number, unit: units.Unit) -> Number:
        """Return a number in a unit in SI units. The offset does not apply to a difference."""
        if self._is_difference or unit.offset == 0:
            return number * unit.scale
        return number * unit.scale + unit.offset

    def round_to_declared(self, value: Number) -> Number:
        """Return the SI value of the number in the declared unit that is nearest to an SI value, within closed bounds.

        So a value in another unit is that of a number in the declared one, which gives it again, bit for bit.
        """
        unit, offset = self.unit, 0.0 if self._is_difference else self.unit.offset
        number: Any = (value - offset) / unit.scale
        bounded: Any
        if isinstance(number, float):
            bounded = min(max(number, self._low), self._high)
        else:
            bounded = np.clip(number, self._low, self._high)
        return self.to_si(bounded, unit)  # type: ignore[no-any-return]

    def scale_uncertainty(self, number: float, unit: units.Unit) -> float:
        """Return a standard uncertainty in a unit in SI units, also that of a number in the declared unit."""
        return number * unit.scale if unit is self.unit else number * unit.scale / self.unit.scale * self.unit.scale

    def list_ends(self) -> tuple[float, float]:
        """Return the lowest and the highest number in the declared unit that are within the bounds."""
        return (
            math.nextafter(self._low, math.inf) if self._low_open else self._low,
            math.nextafter(self._high, -math.inf) if self._high_open else self._high,
        )

    def contain(self, number: Number, value: Number, unit: units.Unit) -> Any:
        """Return whether numbers in a unit, with their SI values, are within the bounds; False for nan."""
        if unit == self.unit:
            compared, low, high = number, self._low, self._high
        else:
            compared, low, high = value, self._low_si, self._high_si
        above = compared > low if self._low_open else compared >= low
        below = compared < high if self._high_open else compared <= high
        return above & below
