"""How the service words numbers, faults and what a field accepts."""

from __future__ import annotations

import difflib
import math
from collections.abc import Iterable
from dataclasses import dataclass

from gramwatt.engine.limits import MAX_COMPARED_LENGTH
from gramwatt.model import Choice, Count, Flag, Kind, NumberList, Quantity, Table, Text, TimeSeries, get_fields, units

MAX_ECHO_LENGTH = 80


@dataclass(frozen=True, slots=True)
class InputError:
    """One thing wrong with a question: where (JSON Pointer), what, what was given, what is accepted."""

    pointer: str
    detail: str
    given: object
    accepted: str

    def under(self, parent: str) -> InputError:
        """The same fault, one level deeper."""
        return InputError(f"/{escape_pointer(parent)}{self.pointer}", self.detail, self.given, self.accepted)


def escape_pointer(token: str) -> str:
    """A name as a reference token of a JSON Pointer (RFC 6901)."""
    return token.replace("~", "~0").replace("/", "~1")


def round_to_12_digits(value: float) -> float:
    """A float whose shortest decimal form has at most 12 significant digits."""
    return float(f"{value:.12g}")


def format_number(value: float, digits: int = 12) -> str:
    """A finite number in at most ``digits`` significant digits, without a trailing ``.0``."""
    text = f"{value:.{digits}g}"
    value = float(text)
    if "e" in text and 1e-7 <= abs(value) < 1e15:
        text = f"{value:.{max(0, digits - 1 - math.floor(math.log10(abs(value))))}f}"
        text = text.rstrip("0").rstrip(".") if "." in text else text
    return "0" if text == "-0" else text


def format_quantity(value: float, unit: str, digits: int = 5) -> str:
    """A number with its unit, for a sentence: ``1.3 Ah``, ``20 %``, ``0.7``."""
    if not math.isfinite(value):
        return "no finite value"
    return format_number(value, digits) + ("" if unit == "1" else f" {unit}")


def quote_input(value: object) -> object:
    """What was given, safe to send back: long text cut, lists and tables told by their length."""
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
    """A sentence that may quote what was sent, without its control characters and line ends."""
    if text.isprintable():
        return text
    return "".join(letter if letter.isprintable() else "\ufffd" for letter in text)


def close_matches(word: str, known: Iterable[str]) -> list[str]:
    """Known words that a misspelt one may have meant, nearest first; none if it is longer than
    `MAX_COMPARED_LENGTH`."""
    if len(word) > MAX_COMPARED_LENGTH:
        return []
    folded = {each.lower().replace("-", "_"): each for each in known if len(each) <= MAX_COMPARED_LENGTH}
    found = difflib.get_close_matches(word.lower().replace("-", "_"), folded, n=3, cutoff=0.6)
    return [folded[each] for each in found]


def suggest(word: str, known: Iterable[str]) -> str:
    """The end of a sentence about a misspelt word: ``; did you mean cells?``, or nothing."""
    meant = close_matches(word, known)
    return f"; did you mean {join_with_or(meant)}?" if meant else ""


def join_with_or(words: Iterable[str]) -> str:
    """``a, b or c``."""
    listed = list(words)
    return listed[0] if len(listed) == 1 else f"{', '.join(listed[:-1])} or {listed[-1]}"


def describe_bounds(kind: Quantity) -> str:
    """``above 0 and at most 24``, in the declared unit."""
    said = [
        f"{words} {format_number(bound)}"
        for words, bound in (
            ("above", kind.above),
            ("at least", kind.at_least),
            ("below", kind.below),
            ("at most", kind.at_most),
        )
        if bound is not None
    ]
    return " and ".join(said)


def describe_accepted(kind: Kind) -> str:
    """What a field accepts, in words."""
    match kind:
        case Quantity(unit="1"):
            return f"a number {describe_bounds(kind)}"
        case Quantity():
            spellings = ", ".join(units.compatible_units(kind.unit))
            return f"{describe_bounds(kind)} {kind.unit}: a number in {kind.unit}, or text with a unit ({spellings})"
        case Count():
            return f"a whole number from {kind.at_least} to {kind.at_most}"
        case Choice():
            return join_with_or(kind.options)
        case Flag():
            return "true or false"
        case Text(pattern=str(pattern)) if pattern:
            return kind.form + (f", such as {join_with_or(kind.like)}" if kind.like else "")
        case Text():
            return f"1 to {kind.max_length} printable characters"
        case NumberList():
            return f"a list of {kind.min_length} to {kind.max_length} values, each {describe_accepted(kind.item)}"
        case Table():
            return f"a list of {kind.min_length} to {kind.max_length} objects"
        case TimeSeries():
            return f"an object of lists of numbers: {', '.join(get_fields(kind.row))}"
        case _:
            raise TypeError(kind)
