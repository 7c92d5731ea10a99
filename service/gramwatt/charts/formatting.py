"""The words in and beside a picture: labels of axes, values, the question in short."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any, Final

from gramwatt.engine.messages import format_number, format_quantity
from gramwatt.model import Array, Calculator, Kind, Quantity

LONGEST: Final = 6
"""Inputs that the short question names."""


def spoken(name: str) -> str:
    """A name as it is read: ``loaded voltage``."""
    return name.replace("_", " ")


def axis(name: str, unit: str) -> str:
    """The label of an axis: ``current in A``."""
    return spoken(name) + ("" if unit == "1" else f" in {unit}")


def own_unit(kind: Kind) -> str:
    """The unit that an input is declared in; 1 where it has none."""
    return kind.unit if isinstance(kind, Quantity) else "1"


def value(number: float, unit: str, digits: int = 4) -> str:
    """A value with its unit."""
    if not math.isfinite(number):
        return "no answer"
    told = format_quantity(float(number), unit, digits)
    return f"−{told[1:]}" if told.startswith("-") else told


def by_width(number: float, width: float) -> tuple[str, str]:
    """A value and its standard uncertainty to the digits that this bears, two of its own: 8.0 and 1.0."""
    places = 1 - math.floor(math.log10(width))
    if 0 <= places <= 12:
        texts = f"{number:.{places}f}", f"{width:.{places}f}"
    else:
        texts = format_number(round(number, places)), format_number(round(width, places))
    return texts[0].replace("-", "−"), texts[1]


def with_width(number: float, width: float | None, unit: str) -> str:
    """A value with its standard uncertainty: ``23.1 ± 0.4 A``."""
    if width is None or not math.isfinite(width) or width <= 0 or not math.isfinite(number):
        return value(number, unit)
    return " ± ".join(by_width(number, width)) + ("" if unit == "1" else f" {unit}")


def singular(name: str) -> str:
    """``mass`` of ``masses``, ``part`` of ``parts``."""
    return name.removesuffix("es" if name.endswith("sses") else "s")


def short(calculator: Calculator[Any, Any], answer: Mapping[str, Any]) -> str:
    """The question in one line: what was given, not what was assumed."""
    told: list[str] = []
    for name, given in answer["given"].items():
        if name in answer["assumed"] or name in answer.get("solved", ()):
            continue
        unit = answer["units"].get(name, "1")
        if isinstance(given, list):
            told.append(f"{len(given)} {spoken(name) if len(given) != 1 else singular(spoken(name))}")
        elif isinstance(given, dict):
            told.append(f"{given['samples']} samples")
        elif isinstance(given, bool):
            told.append(spoken(name) if given else f"not {spoken(name)}")
        else:
            said = value(given, unit, 6) if isinstance(given, int | float) else str(given)
            told.append(f"{spoken(name)} {said}")
    more = len(told) - LONGEST
    return " · ".join(told[:LONGEST] + ([f"{more} more"] if more > 0 else []))


def course(label: str, values: Array, unit: str) -> str:
    """How a course of values goes: its ends, and what lies beyond them."""
    known = values[[math.isfinite(each) for each in values.tolist()]]
    if not len(known):
        return f"{label} has no answer anywhere"
    first, last, low, high = (float(each) for each in (known[0], known[-1], known.min(), known.max()))
    said = f"{label} goes from {value(first, unit)} to {value(last, unit)}"
    beyond = [
        f"{name} {value(bound, unit)}"
        for name, bound, ends in (("least", low, min(first, last)), ("greatest", high, max(first, last)))
        if bound != ends
    ]
    return said + (f" ({', '.join(beyond)})" if beyond else "")


def sentence(text: str) -> str:
    """With a capital and a full stop."""
    text = text[:1].upper() + text[1:]
    return text if text.endswith((".", "?", "!")) else text + "."
