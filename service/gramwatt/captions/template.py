"""Templates of captions: text with fields in braces, and the format of each field."""

from __future__ import annotations

import difflib
import math
import re
from typing import Final, NamedTuple

NOT_RECORDED: Final = "\N{EN DASH}"
"""Shown in place of a missing value."""


class Field(NamedTuple):
    """A value that a caption can show: its SI value times ``scale``, by default with ``digits`` after the point."""

    scale: float
    digits: int
    about: str


FIELDS: Final = {
    "flight_time": Field(1, 0, "flight time, m:ss"),
    "voltage": Field(1, 1, "voltage of the pack [V]"),
    "cell_voltage": Field(1, 2, "voltage of the lowest cell [V], or of an average cell where that was not recorded"),
    "current": Field(1, 1, "current [A]"),
    "power": Field(1, 0, "power [W]"),
    "throttle": Field(100, 0, "throttle [%]"),
    "charge_used": Field(1 / 3.6, 0, "charge used so far [mAh]"),
    "energy_used": Field(1 / 3600, 1, "energy used so far [Wh]"),
    "state_of_charge": Field(100, 0, "charge left [% of the pack]"),
    "peak_current": Field(1, 1, "highest current so far [A]"),
    "peak_power": Field(1, 0, "highest power so far [W]"),
}
"""Fields with a number."""
TIMECODE: Final = "timecode"
LINE: Final = "line"
TEXT_FIELDS: Final = {TIMECODE: "time code of the frame", LINE: "a line break"}
"""Fields without a number."""
MAX_DIGITS: Final = 4

TEMPLATE: Final = (
    r"(?:[^\u0000-\u001F\u007F-\u009F\u2028\u2029\{\}]|\{\{|\}\}|"
    rf"\{{(?:{'|'.join(FIELDS)})(?::[0-{MAX_DIGITS}])?\}}|\{{(?:{'|'.join(TEXT_FIELDS)})\}})+"
)
"""The pattern of a valid template, without anchors."""
DEFAULT: Final = "{voltage:1} V  {current:0} A  {charge_used:0} mAh"

_TOKEN: Final = re.compile(r"\{\{|\}\}|\{([^{}]*)\}|[{}]|[^{}]+")


class Placeholder(NamedTuple):
    """A field in a template with the number of digits after its point; 0 for a field without a number."""

    name: str
    digits: int


class Template(NamedTuple):
    """Text and fields in order."""

    parts: tuple[str | Placeholder, ...]

    @property
    def placeholders(self) -> tuple[Placeholder, ...]:
        """Return the fields in order, repeated ones too."""
        return tuple(part for part in self.parts if isinstance(part, Placeholder))


def compile_template(text: str) -> Template:
    """Parse a template. ``{voltage:2}`` has two digits after the point; ``{{`` and ``}}`` are braces.

    Raises
    ------
    ValueError
        The template is invalid. The message suggests a field for a misspelt one.
    """
    parts: list[str | Placeholder] = []
    literal = ""
    for token in _TOKEN.finditer(text):
        whole = token[0]
        if whole in ("{{", "}}"):
            literal += whole[0]
        elif whole in ("{", "}"):
            raise ValueError(f"a single {whole} at character {token.start() + 1}: write {whole}{whole} for a brace")
        elif token[1] is not None:
            placeholder = _parse_placeholder(token[1])
            if placeholder.name == LINE:
                literal += "\n"
            else:
                parts += [literal, placeholder] if literal else [placeholder]
                literal = ""
        else:
            literal += whole
    if literal:
        parts.append(literal)
    if not re.fullmatch(TEMPLATE, text) or any("\ud800" <= letter <= "\udfff" for letter in text):
        raise ValueError("a template is one line of printable text")
    return Template(tuple(parts))


def _parse_placeholder(text: str) -> Placeholder:
    name, colon, digits = text.partition(":")
    if name in FIELDS:
        if colon and not re.fullmatch(f"[0-{MAX_DIGITS}]", digits):
            raise ValueError(f"{{{name}:...}} takes one digit, 0 to {MAX_DIGITS}")
        return Placeholder(name, int(digits) if colon else FIELDS[name].digits)
    if name in TEXT_FIELDS:
        if colon:
            raise ValueError(f"{{{name}}} takes no digits")
        return Placeholder(name, 0)
    known = [*FIELDS, *TEXT_FIELDS]
    matches = difflib.get_close_matches(name[:64].strip().lower().replace("-", "_"), known, n=3, cutoff=0.6)
    raise ValueError(f"no field {name[:64]!r}: {'did you mean ' if matches else ''}{' or '.join(matches or known)}")


def to_last_place(field: Placeholder, value: float) -> float:
    """Return an SI value in units of the last place that its field shows: 12.34 V with one digit is 123.4."""
    return value * FIELDS[field.name].scale * float(10**field.digits)


def format_field(field: Placeholder, number: int | None) -> str:
    """Return the text of a field from a whole number of its last place; a dash for None."""
    if number is None:
        return NOT_RECORDED
    if field.name == "flight_time":
        minutes, rest = divmod(abs(number), 60 * 10**field.digits)
        width = 3 + field.digits if field.digits else 2
        return f"{'-' if number < 0 else ''}{minutes}:{_format_fixed(rest, field.digits).zfill(width)}"
    return f"{'-' if number < 0 else ''}{_format_fixed(abs(number), field.digits)}"


def _format_fixed(number: int, digits: int) -> str:
    whole, part = divmod(number, 10**digits)
    return f"{whole}.{part:0{digits}d}" if digits else str(whole)


def round_to_last_place(field: Placeholder, value: float) -> int | None:
    """Return an SI value as a whole number of a field's last place; None for nan. Time is cut off, as clocks do."""
    scaled = to_last_place(field, value)
    if not math.isfinite(scaled):
        return None
    return math.floor(scaled + 1e-6) if field.name == "flight_time" else round(scaled)
