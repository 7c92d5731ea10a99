"""Rounding numbers, and whole columns, to significant digits: the same double as Python's own formatting and back."""

from __future__ import annotations

import functools
import math
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

BLOCK_ROWS: Final = 16_384
MIN_ARRAY_LENGTH: Final = 40
"""Numbers that are sooner rounded one by one than as an array."""
MAX_EXACT_POWER: Final = 22
"""Powers of ten up to 10^22 are exact doubles, and one multiplication or division by them is rounded rightly."""


def all_finite(values: NDArray[np.float64]) -> bool:
    """Return whether each of the values is a finite number; if their sum is, they all are."""
    with np.errstate(over="ignore", invalid="ignore"):
        return math.isfinite(values.sum()) or bool(np.isfinite(values).all())


def round_array(values: NDArray[np.float64], digits: int = 12) -> NDArray[np.float64]:
    """``float(f"{value:.{digits}g}")`` of each value [any unit], shape (N,); what is not finite becomes nan."""
    rounded = np.empty_like(values)
    for start in range(0, len(values), BLOCK_ROWS):
        block = slice(start, start + BLOCK_ROWS)
        _round(values[block], rounded[block], digits)
    return rounded


def round_numbers(values: NDArray[np.float64]) -> list[Any]:
    """Each of some values as `round_number` gives it."""
    if len(values) < MIN_ARRAY_LENGTH:
        return [round_number(value) for value in values.tolist()]
    short = round_array(values, 12)
    rounded: list[Any] = short.tolist()
    whole = (short == np.rint(short)) & (np.abs(short) < 1e15)
    for at in np.flatnonzero(whole).tolist():
        rounded[at] = int(rounded[at])
    for at in np.flatnonzero(np.isnan(short)).tolist():
        rounded[at] = None
    return rounded


def round_number(value: float) -> float | int | None:
    """At most 12 significant digits, whole numbers without a point; None where not finite."""
    if not math.isfinite(value):
        return None
    if value.is_integer() and -1e12 < value < 1e12:
        return int(value)
    short = float(f"{value:.12g}")
    return int(short) if short.is_integer() and abs(short) < 1e15 else short


def _round(values: NDArray[np.float64], rounded: NDArray[np.float64], digits: int) -> None:
    thresholds, scales = _tables(digits)
    size = np.abs(values)
    exponent = size.view(np.int64) >> 52
    at = size >= thresholds.take(exponent)
    exponent <<= 1
    exponent += at
    scale = scales.take(exponent)
    with np.errstate(invalid="ignore", over="ignore"):
        scaled = np.multiply(values, scale, out=size)
        np.rint(scaled, out=rounded)
        scaled -= rounded
        np.abs(scaled, out=scaled)
        rounded /= scale
    rounded += 0.0  # no negative zero
    # The product is a last bit off, so near a tie it may fall on the wrong side; nan where no exact power serves.
    clear = scaled < 0.5 - 3e-16 * 10.0**digits
    if not clear.all():
        finite = np.isfinite(values)
        rounded[~finite] = np.nan
        for row in np.flatnonzero(finite & ~clear).tolist():
            rounded[row] = float(f"{float(values[row]):.{digits}g}")


@functools.cache
def _tables(digits: int) -> tuple[Any, Any]:
    """By binary exponent: the power of ten within it, if any.

    And, before and after that power, ten to the power that brings a value to ``digits`` whole digits, nan where that is
    no exact double.
    """
    thresholds, scales = np.full(2048, math.inf), np.full(4096, math.nan)
    thresholds[0], scales[0] = math.ulp(0.0), 1.0  # zero itself; what is next to it is no exact case
    for exponent in range(1, 2047):
        low = math.ldexp(1.0, exponent - 1023)
        if 1e-30 < low < 1e30:
            decade = math.floor(math.log10(low))
            decade += (10.0 ** (decade + 1) <= low) - (10.0**decade > low)
            thresholds[exponent] = 10.0 ** (decade + 1)
            for side in (0, 1):
                power = digits - 1 - decade - side
                if 0 <= power <= MAX_EXACT_POWER:
                    scales[2 * exponent + side] = float(10**power)
    return thresholds, scales
