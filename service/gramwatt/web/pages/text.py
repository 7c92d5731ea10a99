"""Text of declarations as pages show it: field names without underscores, formulas in mathematical notation."""

from __future__ import annotations

import re
from typing import Final

from gramwatt.charts.formatting import readable, unit_sign

_SNAKE_CASE: Final = re.compile(r"(?<!['\"])\b[a-z][a-z0-9]*(?:_[a-z0-9]+)+\b", re.ASCII)
_UNIT: Final = re.compile(r"\b(?:m?ohm|deg[CF]|[A-Za-z]+/(?:m2|m3|ft2|ft3))\b", re.ASCII)
_POWER: Final = re.compile(r" ?(?:\*\*|\^) ?([2-9])\b")
_SUPERSCRIPTS: Final = str.maketrans("23456789", "²³⁴⁵⁶⁷⁸⁹")
_SIGNS: Final = {" * ": " × ", "**": "^", " - ": " − ", "sqrt(": "√("}


def readable_text(text: str) -> str:
    """Return a text with field names and units as people read them: ``loaded voltage``, ``mΩ``.

    Quoted input stays as it was typed.
    """
    text = _SNAKE_CASE.sub(lambda name: readable(name[0]), text)
    return _UNIT.sub(lambda unit: unit_sign(unit[0]), text)


def readable_formula(formula: str) -> str:
    """Return a formula in mathematical notation: ``current² × pack resistance``."""
    text = _POWER.sub(lambda power: power[1].translate(_SUPERSCRIPTS), formula)
    for code, sign in _SIGNS.items():
        text = text.replace(code, sign)
    return readable_text(re.sub(r"\bpi\b", "π", text))
