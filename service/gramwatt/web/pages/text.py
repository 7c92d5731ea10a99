"""Text of declarations as pages show it: field names without underscores, formulas in mathematical notation."""

from __future__ import annotations

import re
from typing import Final

from markupsafe import Markup, escape

from gramwatt.charts.formatting import readable, unit_sign
from gramwatt.engine import registry
from gramwatt.web.pages.formulas import GREEK

_SNAKE_CASE: Final = re.compile(r"(?<!['\"])\b[a-z][a-z0-9]*(?:_[a-z0-9]+)+\b", re.ASCII)
_UNIT: Final = re.compile(r"\b(?:m?ohm|deg[CF]|[A-Za-z]+/(?:m2|m3|ft2|ft3))\b", re.ASCII)
_POWER: Final = re.compile(r" ?(?:\*\*|\^) ?([2-9])\b")
_SUPERSCRIPTS: Final = str.maketrans("23456789", "²³⁴⁵⁶⁷⁸⁹")
_MARKED: Final = (
    ("strong", re.compile(r"\*\*(.+?)\*\*")),
    ("em", re.compile(r"\*(.+?)\*")),
    ("code", re.compile(r"`(.+?)`")),
)
_ANY_POWER: Final = re.compile(r" ?\^ ?(?:\(([^()<>]+)\)|(-?[0-9.]*[0-9]|[a-z]\b))")
_GREEK: Final = re.compile(rf"\b(?:{'|'.join(GREEK)})\b")
_SIGNS: Final = {" * ": " × ", "**": "^", " - ": " − ", "sqrt(": "√(", "log(": "ln("}


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


def mathematical_text(text: str) -> Markup:
    """Return a text like `readable_formula`, with Greek letters, and with all powers as superscripts."""
    text = _GREEK.sub(lambda name: GREEK[name[0]], readable_formula(text))
    return Markup(_ANY_POWER.sub(r"<sup>\1\2</sup>", str(escape(text))))  # noqa: S704 - the text is escaped


def marked_text(text: str) -> Markup:
    """Return a text with ``**strong**``, ``*em*`` and ``` `code` ``` as elements."""
    html = str(escape(text))
    for tag, pattern in _MARKED:
        html = pattern.sub(rf"<{tag}>\1</{tag}>", html)
    return Markup(html)  # noqa: S704 - the text is escaped


_BEFORE_A_NAME: Final = r"^|[.,:;(] |\b(?:as|by|from|in|of|see|than|that|with) "
"""Not where a name is an adjective, "the full-throttle current", or may be a word, "the build"."""


def linked_text(text: str | Markup) -> Markup:
    """Return a text whose names of calculators, as in ``see flight-log``, are links to their reference."""
    words = [name for name in registry.list_names() if "-" not in name]
    names = [name for name in registry.list_names() if name not in words]
    pattern = re.compile(rf"({_BEFORE_A_NAME})({'|'.join(names)})(?![\w-])|\b([Aa]s in )({'|'.join(words)})(?![\w-])")

    def link(found: re.Match[str]) -> str:
        prefix, name = found[1] or found[3] or "", found[2] or found[4]
        return f'{prefix}<a href="/reference/{name}">{name}</a>'

    return Markup(pattern.sub(link, str(escape(text))))  # noqa: S704 - the text is escaped
