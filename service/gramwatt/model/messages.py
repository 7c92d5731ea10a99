"""Format numbers, errors and what a field accepts as text."""

from __future__ import annotations

import difflib
import functools
import math
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Final, NamedTuple

MAX_ECHO_LENGTH: Final = 80
MAX_COMPARED_LENGTH: Final = 64
"""Characters of a name that is compared with the known ones: no known name has half as many."""

DISPLAY_DIGITS: Final = 4
"""Significant digits of a number without an uncertainty where people read it."""
NOTICE_PLACEHOLDER: Final = re.compile(r"\{(\w+(?:\.\w+)?)(:rough)?\}")
"""An input or a result in the text of a caution or a rule, or a column of a table, and whether in two digits."""
MAX_PLACES: Final = 12
_UNIT_SIGNS: Final = {"ohm": "Ω", "deg": "°", "2": "²", "3": "³"}
_UNIT_PARTS: Final = re.compile(r"ohm|deg(?=[CF]?\b)|(?<=[a-z])[23](?!\d)")


@dataclass(frozen=True, slots=True)
class InputError:
    """One error in a request: where (JSON Pointer), what, what was given, what is accepted."""

    pointer: str
    detail: str
    given: object
    accepted: str

    @property
    def place(self) -> str:
        """Where it is, for a sentence: the name of an input, or the pointer to a part of one; nothing for the whole."""
        name = self.pointer[1:]
        return self.pointer if "/" in name else name

    def under(self, parent: str) -> InputError:
        """Return the same error, one level deeper."""
        return InputError(f"/{escape_pointer(parent)}{self.pointer}", self.detail, self.given, self.accepted)


def escape_pointer(token: str) -> str:
    """Return a name as a reference token of a JSON Pointer (RFC 6901)."""
    return token.replace("~", "~0").replace("/", "~1")


def round_to_12_digits(value: float) -> float:
    """Return a float whose shortest decimal form has at most 12 significant digits."""
    return float(f"{value:.12g}")


def format_number(value: float, digits: int = 12) -> str:
    """Return a finite number in at most ``digits`` significant digits, without a trailing ``.0``."""
    text = f"{value:.{digits}g}"
    value = float(text)
    if "e" in text and 1e-7 <= abs(value) < 1e15:
        text = f"{value:.{max(0, digits - 1 - math.floor(math.log10(abs(value))))}f}"
        text = text.rstrip("0").rstrip(".") if "." in text else text
    return "0" if text == "-0" else text


@functools.cache
def unit_sign(unit: str) -> str:
    """Return a unit with the signs people use: ``mΩ``, ``°C``, ``kg/m³``. A plain number has none."""
    return "" if unit == "1" else _UNIT_PARTS.sub(lambda part: _UNIT_SIGNS[part[0]], unit)


def add_unit(number: str, unit: str) -> str:
    """Return a formatted number with its unit. A sign of degrees follows without a space (ISO 80000-1, 7.1.4)."""
    sign = unit_sign(unit)
    return f"{number}{sign}" if sign == "°" else f"{number} {sign}".rstrip()


def format_quantity(value: float, unit: str, digits: int = 5) -> str:
    """Return a number with its unit, for a sentence: ``1.3 Ah``, ``20 %``, ``0.7``."""
    if not math.isfinite(value):
        return "no finite value"
    return add_unit(format_number(value, digits), unit)


class Estimate(NamedTuple):
    """A number as people read it; without an uncertainty the other texts are empty."""

    value: str
    uncertainty: str = ""
    """Standard uncertainty, to the same place."""
    low: str = ""
    high: str = ""
    """The ends of the range, to the same place."""

    @property
    def range(self) -> str:
        """The range: ``38 to 97``."""
        return f"{self.low} to {self.high}" if self.low and self.high else ""


def format_estimate(
    value: float,
    unit: str,
    uncertainty: float | None = None,
    low: float | None = None,
    high: float | None = None,
    *,
    digits: int | None = None,
    max_digits: int | None = None,
) -> Estimate:
    """Return a finite number rounded to the last place of its uncertainty, which has two digits (JCGM 100, 7.2.6).

    Without an uncertainty it has ``digits`` significant digits; by default four, or in % one digit after the point.
    With ``max_digits`` it has not more digits than that, however small its uncertainty is. However large that is, a
    number above 1 keeps its first digit.
    """
    if uncertainty is None or not 1e-12 * abs(value) < uncertainty < math.inf:
        return Estimate(format_number(value, _count_digits(value, unit) if digits is None else digits))
    places = 1 - int(f"{uncertainty:.1e}".partition("e")[2])
    if max_digits is not None and value:
        exponent = int(f"{value:.{max_digits - 1}e}".partition("e")[2])  # once rounded: 9.9999 becomes 10.00
        places = min(places, max_digits - 1 - exponent)
    if places < 0 and value:
        places = max(places, min(0, -int(f"{value:.0e}".partition("e")[2])))
    numbers = (value, uncertainty, low, high)
    return Estimate(*("" if each is None else _round_to_place(each, places) for each in numbers))


def _count_digits(value: float, unit: str) -> int:
    """Return how many significant digits of a number without an uncertainty people read."""
    if unit != "%" or value == 0:
        return DISPLAY_DIGITS
    return max(2, min(DISPLAY_DIGITS, math.floor(math.log10(abs(value))) + 2))


def _round_to_place(value: float, places: int) -> str:
    """Return a number with so many digits after its point; left of the point for a negative number of them."""
    if not 0 <= places <= MAX_PLACES:
        return format_number(round(value, places))
    text = f"{value:.{places}f}"
    return text.lstrip("-") if float(text) == 0 else text


def quote_input(value: object) -> object:
    """Return what was given, safe to send back: long text cut, lists and tables given by their length."""
    if isinstance(value, str):
        value = value.encode("utf-8", "replace").decode()
        return value if len(value) <= MAX_ECHO_LENGTH else value[:MAX_ECHO_LENGTH] + f"... ({len(value)} characters)"
    if isinstance(value, list | dict):
        return f"{'a list' if isinstance(value, list) else 'an object'} of {len(value)}"
    if isinstance(value, float) and not math.isfinite(value):
        return str(value)
    if isinstance(value, int) and not isinstance(value, bool) and abs(value) > 2**53:
        return quote_input(str(value)) if abs(value) < 10**100 else "a whole number of more than 100 digits"
    return value


def replace_control_characters(text: str) -> str:
    """Return a sentence that may quote what was sent, without its control characters and line ends."""
    if text.isprintable():
        return text
    return "".join(letter if letter.isprintable() else "\ufffd" for letter in text)


def close_matches(
    word: str, known: Iterable[str], synonyms: Mapping[str, str] | None = None, *, cutoff: float = 0.6
) -> list[str]:
    """Return the known words that a misspelt one may have meant, nearest first.

    ``synonyms`` are other words for known ones. None if the word is longer than `MAX_COMPARED_LENGTH`.
    """
    if len(word) > MAX_COMPARED_LENGTH:
        return []
    other = {_fold(each): meant for each, meant in (synonyms or {}).items()}
    folded = other | {_fold(each): each for each in known if len(each) <= MAX_COMPARED_LENGTH}
    for exact in (_fold(word), _fold(word).removesuffix("s")):
        if folded.get(exact, word) != word:
            return [folded[exact]]
    matches = difflib.get_close_matches(_fold(word), folded, n=3, cutoff=cutoff)
    return list(dict.fromkeys(folded[each] for each in matches))


def _fold(word: str) -> str:
    return word.lower().replace("-", "_").replace(" ", "_")


def suggest(word: str, known: Iterable[str], synonyms: Mapping[str, str] | None = None) -> str:
    """Return the end of a sentence about a misspelt word: ``; did you mean cells?``, or nothing."""
    meant = close_matches(word, known, synonyms)
    return f"; did you mean {join_with_or(meant)}?" if meant else ""


def format_share(share: float) -> str:
    """Return a share as per cent, to two digits; never rounded to all or nothing: ``18 %``, ``1.2 %``, ``99.6 %``."""
    percent = 100 * share
    return f"{percent:.2g} %" if percent < 99 else f"{min(percent, 99.9) if share < 1 else 100:.3g} %"


def format_probability(percent: float) -> str:
    """Return a probability in per cent, for people: ``98.2``, ``< 0.1``, ``> 99.9``; 0 and 100 where it is so."""
    if percent in (0, 100):
        return f"{percent:.0f}"
    if percent < 0.1 or percent > 99.9:
        return "< 0.1" if percent < 0.1 else "> 99.9"
    return f"{percent:.1f}"


def spell_out_expressions(text: str) -> str:
    """Return a text whose ``` `expressions` ``` are in words: ``2 × pack resistance``; ``v_h`` is the symbol ``vh``."""

    def spell_out(expression: re.Match[str]) -> str:
        words = re.sub(r"\b(\w{1,2})_(?=\w{1,2}\b)", r"\1", expression[1])
        return words.replace("_", " ").replace("**", "^").replace("*", "×")

    return re.sub(r"`([^`]+)`", spell_out, text)


def lower_first(label: str) -> str:
    """Return a label for the middle of a sentence: ``pack current``, but ``C rating`` and ``RMS current``."""
    return label[:1].lower() + label[1:] if label[1:2].islower() else label


def join_with_and(words: Iterable[str]) -> str:
    """Return ``a, b and c``."""
    listed = list(words)
    return listed[0] if len(listed) == 1 else f"{', '.join(listed[:-1])} and {listed[-1]}"


def join_with_or(words: Iterable[str]) -> str:
    """Return ``a, b or c``."""
    listed = list(words)
    return listed[0] if len(listed) == 1 else f"{', '.join(listed[:-1])} or {listed[-1]}"
