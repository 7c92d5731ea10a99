"""Reading one cell: a number with its unit, a count, a word, a flag, a text; or what is wrong with it.

``text`` says whether the cell is a word of a query, a command line or a CSV file (``"6"`` is then the number six) or a
value of a JSON document (where it is refused).
"""

from __future__ import annotations

import math
import numbers
import re
from collections.abc import Iterable
from typing import Any, Final, TypeVar

import numpy as np
from numpy.typing import NDArray

from gramwatt.engine.messages import describe_accepted, describe_bounds, suggest
from gramwatt.model import Choice, Count, Flag, Kind, Quantity, Text, units

MAX_NUMBER_LENGTH: Final = 64
MAX_UNCERTAINTY: Final = 1e9
MAX_RANGE_END: Final = 1e12
"""Of a range; its points are judged one by one."""
NUMBER: Final = r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]+)?"
QUANTITY: Final = re.compile(
    rf" *+({NUMBER})(?: *+(?:±|\+?/-|\+-) *+({NUMBER}))? *+([^0-9 .,+±-](?:.*[^ \n])?)? *+", re.ASCII
)
_ALIKE: Final = str.maketrans({"\u00a0": " ", "\u2009": " ", "\u202f": " ", "\u2126": "Ω", "\u2212": "-"})
"""What looks like a space, an ohm or a minus and comes with copied text."""
_REAL: Final = (float, int, numbers.Real)
"""The usual ones first: the last is found by a registry."""
_PRINTABLE: Final = re.compile(r"[^\x00-\x1f\x7f-\x9f\u2028\u2029\ud800-\udfff]+")


class ValueParseError(ValueError):
    """A cell that is no value of its kind: what is wrong, and what is accepted."""

    def __init__(self, detail: str, accepted: str, misspelt: tuple[str, Iterable[str]] | None = None) -> None:
        super().__init__(detail)
        self.detail, self.accepted, self._misspelt = detail, accepted, misspelt

    def with_hint(self) -> str:
        """What is wrong, and which known words are near one that is not known. Comparing words is costly."""
        return self.detail if self._misspelt is None else self.detail + suggest(*self._misspelt)


class QuantityDifference(Quantity):
    """A difference of quantities: read without the offset that a temperature has."""


def read_cell(kind: Kind, cell: object, *, text: bool, bare: units.Unit | None = None) -> tuple[Any, float | None]:
    """A cell as the formula has it, and its standard uncertainty where it carries one. Raises Refused.

    ``bare`` is the unit of a number without one, where that is not the declared unit.
    """
    match kind:
        case Quantity():
            return _quantity(kind, cell, text=text, bare=bare)
        case Count():
            return _count(kind, cell, text=text), None
        case Choice():
            return _choice(kind, cell), None
        case Flag():
            return _flag(kind, cell, text=text), None
        case Text():
            return _text(kind, cell), None
        case _:
            raise TypeError(kind)


def _quantity(
    kind: Quantity, cell: object, *, text: bool, bare: units.Unit | None = None
) -> tuple[float, float | None]:
    limits = get_bounds(kind)
    unit = limits.unit if bare is None else bare
    spread: float | None = None
    if isinstance(cell, str):
        head, space, spelling = cell.partition(" ")
        plain = is_plain_number(head) and len(cell) <= MAX_NUMBER_LENGTH
        if plain and not space and text:
            number = float(head)
        elif plain and (known := limits.units.get(spelling)) is not None:
            number, unit = float(head), known
        else:
            number, plus_minus, unit = _parse(kind, cell, unit, text=text)
            spread = None if plus_minus is None else plus_minus * unit.scale
            if spread is not None and not 0 <= spread <= MAX_UNCERTAINTY * unit.scale:
                raise ValueParseError(
                    f"the standard uncertainty after +/- must be from 0 to {MAX_UNCERTAINTY:g}", describe_accepted(kind)
                )
    elif isinstance(cell, _REAL) and not isinstance(cell, bool):
        try:
            number = float(cell)
        except OverflowError:
            number = math.inf
    else:
        raise ValueParseError(f"{describe_type(cell)} is not a number", describe_accepted(kind))
    if not math.isfinite(number):
        raise ValueParseError("the number is not finite", describe_accepted(kind))
    value = limits.to_si(number, unit)
    if not limits.hold(number, value, unit):
        raise ValueParseError(
            f"must be {describe_bounds(kind)}" + ("" if kind.unit == "1" else f" {kind.unit}"), describe_accepted(kind)
        )
    return value, spread


def is_plain_number(word: str) -> bool:
    """Whether a word is digits with at most one point among them: the most common number, told without a pattern."""
    return word.replace(".", "", 1).isdigit() and word.isascii()


def parse_range_end(kind: Quantity | Count, cell: object, *, text: bool) -> tuple[float, units.Unit | None]:
    """A number with its unit, whatever the bounds; for a count without one. Raises Refused."""
    if isinstance(cell, str) and isinstance(kind, Quantity):
        number, plus_minus, unit = _parse(kind, cell, get_bounds(kind).unit, text=text)
        if plus_minus is not None:
            raise ValueParseError("an end of a range carries no uncertainty", describe_accepted(kind))
        return number, unit
    if text and isinstance(cell, str) and re.fullmatch(NUMBER, cell.strip(" "), re.ASCII):
        cell = float(cell)
    if isinstance(cell, bool) or not isinstance(cell, float | int):
        raise ValueParseError(f"{describe_type(cell)} is not a number", describe_accepted(kind))
    if not -MAX_RANGE_END <= cell <= MAX_RANGE_END:
        raise ValueParseError(f"a range ends between {-MAX_RANGE_END:g} and {MAX_RANGE_END:g}", describe_accepted(kind))
    return float(cell), None


Number = TypeVar("Number", float, NDArray[np.float64])


class Bounds:
    """The unit and bounds of a quantity, made ready to judge one number or an array of them.

    A number is judged as it stands in the declared unit, else by its SI value; a closed bound told in another unit may
    be a last bit off.
    """

    __slots__ = ("_high", "_high_open", "_high_si", "_low", "_low_open", "_low_si", "_width", "unit", "units")

    def __init__(self, kind: Quantity) -> None:
        self.unit = unit = units.get_unit(kind.unit)
        self.units = units.compatible_units(kind.unit)
        self._width = isinstance(kind, QuantityDifference)
        self._low_open, self._high_open = kind.above is not None, kind.below is not None
        self._low = next((bound for bound in (kind.above, kind.at_least) if bound is not None), -math.inf)
        self._high = next((bound for bound in (kind.below, kind.at_most) if bound is not None), math.inf)
        self._low_si, self._high_si = (
            self.to_si(bound, unit) + sign * (0.0 if is_open else 1e-13 * (abs(unit.to_si(bound)) + abs(unit.offset)))
            for bound, is_open, sign in ((self._low, self._low_open, -1), (self._high, self._high_open, 1))
        )

    def to_si(self, number: Number, unit: units.Unit) -> Number:
        """A number in a unit, in SI; of a width without the offset that a temperature has."""
        if self._width or unit.offset == 0:
            return number * unit.scale
        return number * unit.scale + unit.offset

    def hold(self, number: Number, value: Number, unit: units.Unit) -> Any:
        """Whether numbers in a unit, whose SI values are given too, lie within the bounds; not where they are nan."""
        if unit == self.unit:
            tell, low, high = number, self._low, self._high
        else:
            tell, low, high = value, self._low_si, self._high_si
        above = tell > low if self._low_open else tell >= low
        below = tell < high if self._high_open else tell <= high
        return above & below


def get_bounds(kind: Quantity) -> Bounds:
    """The limits of a declared quantity; made once."""
    found = _LIMITS.get(id(kind))
    if found is None or found[0] is not kind:
        found = _LIMITS[id(kind)] = (kind, Bounds(kind))
    return found[1]


_LIMITS: Final[dict[int, tuple[Quantity, Bounds]]] = {}
"""By identity, which is quicker than the hash of a dozen fields; the kind is kept, so that its id stays its own."""


def _parse(kind: Quantity, cell: str, bare: units.Unit, *, text: bool) -> tuple[float, float | None, units.Unit]:
    if len(cell) > MAX_NUMBER_LENGTH:
        raise ValueParseError(
            f"text of {len(cell)} characters is too long for a number with a unit", describe_accepted(kind)
        )
    cell = cell.translate(_ALIKE)
    if not cell.strip():
        raise ValueParseError("empty; leave the name out, or give a value", describe_accepted(kind))
    match = QUANTITY.fullmatch(cell)
    if match is None:
        if re.fullmatch(r" *+[+-]?[0-9]+,[0-9]+[^0-9]*+", cell):
            raise ValueParseError("a comma in a number; write a decimal point", describe_accepted(kind))
        raise ValueParseError("not a number, nor a number with a unit", describe_accepted(kind))
    number, plus_minus, spelling = match.groups()
    if plus_minus is not None and kind.exact:
        raise ValueParseError(
            "an uncertainty, and none is carried to what this calculator answers", describe_accepted(kind)
        )
    known = units.compatible_units(kind.unit)
    if spelling is None and not text and plus_minus is None:
        hint = "" if kind.unit == "1" else ", or with a unit"
        raise ValueParseError(f"a number in quotes; send {number} without them{hint}", describe_accepted(kind))
    if spelling is not None and spelling not in known:
        raise ValueParseError(
            f"unit {spelling!r} is not one of {', '.join(known)}", describe_accepted(kind), (spelling, known)
        )
    unit = bare if spelling is None else known[spelling]
    return float(number), None if plus_minus is None else float(plus_minus), unit


def _count(kind: Count, cell: object, *, text: bool) -> float:
    if (
        text
        and isinstance(cell, str)
        and len(cell) <= MAX_NUMBER_LENGTH
        and re.fullmatch(NUMBER, cell.strip(" "), re.ASCII)
    ):
        cell = float(cell)
    if isinstance(cell, bool) or not isinstance(cell, numbers.Real):
        raise ValueParseError(f"{describe_type(cell)} is not a whole number", describe_accepted(kind))
    try:
        number = float(cell)
    except OverflowError:
        number = math.inf
    if not kind.at_least <= number <= kind.at_most:
        raise ValueParseError(f"must be from {kind.at_least} to {kind.at_most}", describe_accepted(kind))
    if not number.is_integer():
        raise ValueParseError("not a whole number", describe_accepted(kind))
    return number


def _choice(kind: Choice, cell: object) -> int:
    if isinstance(cell, str) and cell in kind.options:
        return kind.options.index(cell)
    misspelt = (cell, kind.options) if isinstance(cell, str) else None
    raise ValueParseError("not one of the options", describe_accepted(kind), misspelt)


def _flag(kind: Flag, cell: object, *, text: bool) -> bool:
    if text and cell in ("true", "false"):
        return cell == "true"
    if isinstance(cell, bool):
        return cell
    raise ValueParseError(f"{describe_type(cell)} is neither true nor false", describe_accepted(kind))


def _text(kind: Text, cell: object) -> str:
    if not isinstance(cell, str):
        raise ValueParseError(f"{describe_type(cell)} is not text", describe_accepted(kind))
    if len(cell) > kind.max_length:
        raise ValueParseError(f"{len(cell)} characters", describe_accepted(kind))
    if not _PRINTABLE.fullmatch(cell):
        raise ValueParseError("empty, or with characters that cannot be printed", describe_accepted(kind))
    if kind.pattern and not re.fullmatch(kind.pattern, cell):
        raise ValueParseError(_explained(kind, cell), describe_accepted(kind))
    return cell


def _explained(kind: Text, cell: str) -> str:
    try:
        if kind.check is not None:
            kind.check(cell)
    except ValueError as error:
        return str(error)
    return "not of the form that is asked for"


def describe_type(cell: object) -> str:
    names = {
        type(None): "null",
        bool: "true or false",
        str: "text",
        list: "a list",
        dict: "an object",
        int: "a number",
        float: "a number",
    }
    return names.get(type(cell), f"{type(cell).__name__}")
