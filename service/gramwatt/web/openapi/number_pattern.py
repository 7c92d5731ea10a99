r"""Make regular expressions for decimal numbers within bounds, so that the contract says which texts are valid.

JSON Schema cannot bound a number inside a text such as ``"1.3 Ah"``; a pattern can. Written for ECMA 262, JSON
Schema's dialect, and limited to what Python reads alike: ``[0-9]``, since ``\d`` is any script's digit in Python.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal
from typing import Final, NamedTuple

from gramwatt.model import Quantity, units

MAX_FRACTION_DIGITS: Final = 9
REQUIRED_UNCERTAINTY: Final = r" ?(?:±|\+/-) ?[0-9]{1,6}(?:\.[0-9]{1,9})?"
UNCERTAINTY: Final = f"(?:{REQUIRED_UNCERTAINTY})?"


class Bound(NamedTuple):
    """An end of a range, which excludes the value if it is open."""

    value: Decimal
    is_open: bool


ZERO: Final = Bound(Decimal(0), is_open=False)


def make_text_pattern(kind: Quantity) -> str:
    """Return the pattern of a quantity as text: a number within its bounds, an optional uncertainty, and a unit.

    Exact in the declared unit, to nine decimals; in others the bounds are drawn in to two significant digits. A
    dimensionless number is a text only if it has an uncertainty.
    """
    if kind.unit == "1":
        return f"^(?:{_numbers(kind, units.get_unit('1'))}){REQUIRED_UNCERTAINTY}$"
    spread = "" if kind.exact else UNCERTAINTY
    by_number: dict[str, list[str]] = {}
    for spelling, unit in units.compatible_units(kind.unit).items():
        number = _numbers(kind, unit)
        if number:
            by_number.setdefault(number, []).append(escape_pattern(spelling))
    return f"^{_either([f'(?:{number}){spread} ?{_either(spelt)}' for number, spelt in by_number.items()])}$"


def _either(forms: list[str]) -> str:
    """Return the pattern of one of several forms, none of which has bare alternatives."""
    return forms[0] if len(forms) == 1 else f"(?:{'|'.join(forms)})"


def escape_pattern(text: str) -> str:
    """Return the pattern that matches just this text; ECMA 262 in Unicode mode allows no needless backslash."""
    return "".join(f"\\{letter}" if letter in r"\^$.|?*+()[]{}/" else letter for letter in text)


def _numbers(kind: Quantity, unit: units.Unit) -> str:
    """Return the pattern of plain decimals that are within the bounds in ``unit``; empty if there are none."""
    low, high = _bound(kind, unit, upper=False), _bound(kind, unit, upper=True)
    forms: list[str] = []
    if high.value >= 0:
        forms += _decimals(max(low, ZERO), high)
    if low.value < 0:
        mirrored = Bound(-high.value, high.is_open) if high.value < 0 else Bound(Decimal(0), is_open=True)
        negative = _decimals(mirrored, Bound(-low.value, low.is_open))
        forms += [f"-{_either(negative)}"] if negative else []
    return "|".join(forms)


def _bound(kind: Quantity, unit: units.Unit, *, upper: bool) -> Bound:
    """Return a bound in ``unit``: exact in the declared unit, else moved inward to two significant digits."""
    closed, opened = (kind.at_most, kind.below) if upper else (kind.at_least, kind.above)
    declared = units.get_unit(kind.unit)
    value = closed if opened is None else opened
    if value is None:
        raise ValueError("an unbounded quantity has no pattern")
    if unit.scale == declared.scale and (kind.is_difference or unit.offset == declared.offset):
        return Bound(Decimal(repr(float(value))), is_open=opened is not None)
    offset = 0.0 if kind.is_difference else unit.offset
    limit = value * declared.scale if kind.is_difference else declared.to_si(value)
    exact = (limit - offset) / unit.scale
    if exact == 0:
        return Bound(Decimal(0), is_open=opened is not None)
    step = Decimal(10) ** (math.floor(math.log10(abs(exact))) - 1)
    steps = (Decimal(exact) / step).quantize(Decimal(1), ROUND_FLOOR if upper else ROUND_CEILING)
    # Should the division have lost its last bit, the nearest round number may yet be within, or just beyond.
    outward = 1 if upper else -1
    candidates = [(steps + outward * more) * step for more in (1, 0, -1)]
    values = {each: float(each) * unit.scale + offset for each in candidates}
    within = [each for each, si in values.items() if (si <= limit if upper else si >= limit)]
    return Bound(within[0], is_open=opened is not None)


def _decimals(low: Bound, high: Bound) -> list[str]:
    """Return forms of the decimals from ``low``, 0 or more, to ``high``."""
    if low.value > high.value or (low.value == high.value and (low.is_open or high.is_open)):
        return []
    # A double has some 15 significant digits; more of them would round across an open bound.
    digits = max(1, min(MAX_FRACTION_DIGITS, 14 - len(str(int(high.value)))))
    first, last = int(low.value), int(high.value)
    low_tail, high_tail = _tail(low.value), _tail(high.value)
    if first == last:
        return _with_tails(first, low_tail, high_tail, low.is_open, high.is_open, digits)
    forms: list[str] = []
    if low_tail or low.is_open:
        forms += _with_tails(first, low_tail, None, low.is_open, False, digits)
        first += 1
    if last - 1 >= first:
        forms.append(f"{_either(_whole_numbers(first, last - 1))}(?:\\.[0-9]{{1,{digits}}})?")
    return forms + _with_tails(last, "", high_tail, False, high.is_open, digits)


def _tail(value: Decimal) -> str:
    """Return the digits after the point, without trailing zeros."""
    return format(value, "f").partition(".")[2].rstrip("0")


def _with_tails(whole: int, low: str, high: str | None, low_open: bool, high_open: bool, digits: int) -> list[str]:
    """Return forms of ``whole`` with the fractions from 0.``low`` to 0.``high`` (None: to 1)."""
    if high is not None:
        width = max(len(low), len(high))
        low, high = low.ljust(width, "0"), high.ljust(width, "0")
    tails = list(_tails(low, high, low_open, high_open, digits))
    bare = not low.strip("0") and not low_open and not (high is not None and not high.strip("0") and high_open)
    if not tails:
        return [str(whole)] if bare else []
    fraction = rf"\.{_either(tails)}"
    return [f"{whole}(?:{fraction})?" if bare else f"{whole}{fraction}"]


def _tails(low: str, high: str | None, low_open: bool, high_open: bool, digits: int) -> Iterator[str]:
    """Yield forms of one to ``digits`` digits after the point; ``low`` and ``high`` have the same length."""
    if digits < 1:
        return
    if not low and not high:
        if high is None:
            yield f"[0-9]{{0,{digits - 1}}}[1-9]" if low_open else f"[0-9]{{1,{digits}}}"
        elif not low_open and not high_open:
            yield f"0{{1,{digits}}}"
        return
    bottom = int(low[0]) if low else 0
    top = 10 if high is None else int(high[0])
    free = f"[0-9]{{0,{digits - 1}}}" if digits > 1 else ""
    if high is not None and bottom == top:
        yield from _after(bottom, low[1:], high[1:], low_open, high_open, digits)
        return
    first = bottom
    if low.strip("0") or low_open:
        yield from _after(bottom, low[1:], None, low_open, False, digits)
        first += 1
    if top > first:
        yield _digit(first, top - 1) + free
    if high is not None:
        yield from _after(top, "", high[1:], False, high_open, digits)


def _after(digit: int, low: str, high: str | None, low_open: bool, high_open: bool, digits: int) -> Iterator[str]:
    """Yield forms that begin with one digit and continue between ``low`` and ``high``."""
    low = low if high is None else low.ljust(len(high), "0")
    tails = list(_tails(low, high, low_open, high_open, digits - 1))
    alone = not low.strip("0") and not low_open and not (high is not None and not high.strip("0") and high_open)
    if tails:
        rest = _either(tails)
        yield f"{digit}(?:{rest})?" if alone else f"{digit}{rest}"
    elif alone:
        yield str(digit)


def _digit(first: int, last: int) -> str:
    return str(first) if first == last else f"[{first}-{last}]"


def _whole_numbers(low: int, high: int) -> list[str]:
    """Return forms of the whole numbers from ``low`` to ``high``, both included."""
    forms: list[str] = []
    if low == 0:
        forms, low = ["0"], 1
    if low == 1 and high >= 99:
        digits = len(str(high + 1)) - 1
        forms.append("[1-9]" + ("[0-9]?" if digits == 2 else f"[0-9]{{0,{digits - 1}}}"))
        low = 10**digits
    while low <= high:
        # The widest block of tens that begins at low and stays within high.
        width = 0
        while low % 10 ** (width + 1) == 0 and low + 10 ** (width + 1) - 1 <= high:
            width += 1
        step = 10**width
        digit = low // step % 10
        blocks = min(9 - digit, (high - low + 1) // step - 1)
        forms.append(
            str(low // step)[:-1]
            + _digit(digit, digit + blocks)
            + ("[0-9]" * width if width < 3 else f"[0-9]{{{width}}}")
        )
        low += (blocks + 1) * step
    return forms
