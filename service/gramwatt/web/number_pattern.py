"""Regular expressions for decimal numbers within bounds, so that the contract says exactly which texts are answered.

JSON Schema cannot bound a number inside a text such as ``"1.3 Ah"``; a pattern can. Written for ECMA 262, JSON
Schema's dialect, and kept to what Python reads alike.
"""

from __future__ import annotations

import math

from gramwatt.declare import Quantity
from gramwatt.edge import units

FRACTION = r"(?:\.[0-9]{1,9})?"
SPREAD = r"(?: ?(?:±|\+/-) ?[0-9]{1,6}(?:\.[0-9]{1,9})?)?"
PLAIN_SPREAD = r" ?(?:±|\+/-) ?[0-9]{1,6}(?:\.[0-9]{1,9})?"


def text_pattern(kind: Quantity) -> str:
    """The texts that stand for a quantity: a number within its bounds, an uncertainty if wanted, a unit of the table.

    Exact in the declared unit; in others the bounds are drawn in to two significant digits. A dimensionless number
    stands as text only where it carries an uncertainty.
    """
    if kind.unit == "1":
        return f"^(?:{_numbers(kind, units.unit('1'))}){PLAIN_SPREAD}$"
    by_number: dict[str, list[str]] = {}
    for spelling, unit in units.alternatives(kind.unit).items():
        number = _numbers(kind, unit)
        if number:
            by_number.setdefault(number, []).append(_escape(spelling))
    forms = [f"(?:{number}){SPREAD} ?(?:{'|'.join(spellings)})" for number, spellings in by_number.items()]
    return f"^(?:{'|'.join(forms)})$"


def _escape(spelling: str) -> str:
    return "".join(f"\\{letter}" if letter in r"\^$.|?*+()[]{}/" else letter for letter in spelling)


def _numbers(kind: Quantity, unit: units.Unit) -> str:
    declared = units.unit(kind.unit)
    exact = unit == declared
    low, low_open = (kind.at_least, False) if kind.above is None else (kind.above, True)
    high, high_open = (kind.at_most, False) if kind.below is None else (kind.below, True)
    if low is None or high is None:
        raise ValueError("an unbounded quantity has no pattern")
    if not exact:
        low = _inward((declared.to_si(low) - unit.offset) / unit.scale, up=True)
        high = _inward((declared.to_si(high) - unit.offset) / unit.scale, up=False)
    forms = []
    if high > 0:
        forms += _between(max(low, 0), high, low_open=low_open and low >= 0, high_open=high_open)
    if low < 0:
        forms += [f"-(?:{'|'.join(_between(max(-high, 0), -low, low_open=True, high_open=low_open))})"]
    return "|".join(forms)


def _inward(bound: float, *, up: bool) -> float:
    """A bound drawn in to two significant digits; towards a greater number with ``up``."""
    if bound == 0:
        return 0.0
    step = 10.0 ** (math.floor(math.log10(abs(bound))) - 1)
    steps = bound / step
    drawn = math.ceil(steps - 1e-9) if up else math.floor(steps + 1e-9)
    return round(drawn * step, 12)


def _between(low: float, high: float, *, low_open: bool, high_open: bool) -> list[str]:
    """Forms of the decimals from ``low`` >= 0 to ``high``; of a fractional bound, high is cut to tenths, low raised."""
    forms: list[str] = []
    first, last = math.ceil(low), math.floor(high)
    if first == 0:
        if last >= 1:
            forms.append(r"0\.[0-9]{0,8}[1-9]")
        if not (low_open and low == 0):
            forms.append(r"0(?:\.0{1,9})?")
    whole_first = max(first, 1)
    if low_open and low == whole_first:
        whole_first += 1
    if last - 1 >= whole_first:
        forms.append(f"(?:{'|'.join(_whole_numbers(whole_first, last - 1))}){FRACTION}")
    if last >= whole_first:
        tenths = math.floor((high - last) * 10 + 1e-9)
        if tenths > 0:
            forms.append(rf"{last}(?:\.[0-{tenths - 1}][0-9]{{0,8}})?")
            if not high_open:
                forms.append(rf"{last}\.{tenths}0{{0,8}}")
        elif not high_open:
            forms.append(rf"{last}(?:\.0{{1,9}})?")
    return forms


def _whole_numbers(low: int, high: int) -> list[str]:
    """Forms of the whole numbers from ``low`` to ``high``, both included."""
    forms: list[str] = []
    if low == 1 and high >= 99:
        digits = len(str(high + 1)) - 1
        forms.append(f"[1-9][0-9]{{0,{digits - 1}}}")
        low = 10**digits
    while low <= high:
        # The widest block of tens that begins at low and stays within high.
        width = 0
        while low % 10 ** (width + 1) == 0 and low + 10 ** (width + 1) - 1 <= high:
            width += 1
        step = 10**width
        digit = low // step % 10
        blocks = min(9 - digit, (high - low + 1) // step - 1)
        head = str(low // step)[:-1]
        last = digit + blocks
        forms.append(
            head
            + (f"[{digit}-{last}]" if last > digit else str(digit))
            + ("[0-9]" * width if width < 3 else f"[0-9]{{{width}}}")
        )
        low += (blocks + 1) * step
    return forms
