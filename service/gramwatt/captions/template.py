"""What a caption says: words with fields in braces, and each field as text."""

from __future__ import annotations

import difflib
import math
import re
from typing import Final, NamedTuple

NOT_RECORDED: Final = "\N{EN DASH}"
"""What stands in place of a figure that there is not."""


class Field(NamedTuple):
    """A figure that a caption can show: from its SI value by ``scale``, with ``digits`` after the point unless said."""

    scale: float
    digits: int
    about: str


FIELDS: Final = {
    "time": Field(1, 0, "flight time, m:ss"),
    "voltage": Field(1, 1, "voltage of the pack [V]"),
    "cell_voltage": Field(1, 2, "voltage of the lowest cell [V], or a mean cell's where that was not recorded"),
    "current": Field(1, 1, "current [A]"),
    "power": Field(1, 0, "power [W]"),
    "throttle": Field(100, 0, "throttle [%]"),
    "charge": Field(1 / 3.6, 0, "charge used so far [mAh]"),
    "energy": Field(1 / 3600, 1, "energy used so far [Wh]"),
    "remaining": Field(100, 0, "charge left [% of the pack's]"),
    "peak_current": Field(1, 1, "greatest current so far [A]"),
    "peak_power": Field(1, 0, "greatest power so far [W]"),
}
"""The fields with a number."""
TIMECODE: Final = "timecode"
LINE: Final = "line"
MARKS: Final = {TIMECODE: "time code of the frame", LINE: "a line break"}
"""The fields without one."""
MOST_DIGITS: Final = 4

TEMPLATE: Final = (
    r"(?:[^\u0000-\u001F\u007F-\u009F\u2028\u2029\{\}]|\{\{|\}\}|"
    rf"\{{(?:{'|'.join(FIELDS)})(?::[0-{MOST_DIGITS}])?\}}|\{{(?:{'|'.join(MARKS)})\}})+"
)
"""A valid template. Without anchors."""
DEFAULT: Final = "{voltage:1} V  {current:0} A  {charge:0} mAh"

_PIECE: Final = re.compile(r"\{\{|\}\}|\{([^{}]*)\}|[{}]|[^{}]+")


class Slot(NamedTuple):
    """A field in a template. ``digits`` after the point; 0 for a field without a number."""

    name: str
    digits: int


class Template(NamedTuple):
    """Words and fields in order."""

    parts: tuple[str | Slot, ...]

    @property
    def slots(self) -> tuple[Slot, ...]:
        """The fields, in order, each as often as it stands there."""
        return tuple(part for part in self.parts if isinstance(part, Slot))


def compile_template(text: str) -> Template:
    """The template that a text is. ``{voltage:2}`` has two digits after the point; ``{{`` and ``}}`` are braces.

    Raises ValueError, saying what is wrong and which field was probably meant.
    """
    parts: list[str | Slot] = []
    words = ""
    for piece in _PIECE.finditer(text):
        found = piece[0]
        if found in ("{{", "}}"):
            words += found[0]
        elif found in ("{", "}"):
            raise ValueError(f"a {found} alone at character {piece.start() + 1}: write {found}{found} for a brace")
        elif piece[1] is not None:
            slot = _slot(piece[1])
            if slot.name == LINE:
                words += "\n"
            else:
                parts += [words, slot] if words else [slot]
                words = ""
        else:
            words += found
    if words:
        parts.append(words)
    if not re.fullmatch(TEMPLATE, text) or any("\ud800" <= letter <= "\udfff" for letter in text):
        raise ValueError("a template is one line of printable text")
    return Template(tuple(parts))


def _slot(text: str) -> Slot:
    name, colon, digits = text.partition(":")
    if name in FIELDS:
        if colon and not re.fullmatch(f"[0-{MOST_DIGITS}]", digits):
            raise ValueError(f"{{{name}:...}} takes one digit, 0 to {MOST_DIGITS}")
        return Slot(name, int(digits) if colon else FIELDS[name].digits)
    if name in MARKS:
        if colon:
            raise ValueError(f"{{{name}}} takes no digits")
        return Slot(name, 0)
    known = [*FIELDS, *MARKS]
    near = difflib.get_close_matches(name[:64].strip().lower().replace("-", "_"), known, n=3, cutoff=0.6)
    raise ValueError(f"no field {name[:64]!r}: {'did you mean ' if near else ''}{' or '.join(near or known)}")


def places(slot: Slot, value: float) -> float:
    """An SI value in units of the last place that its field shows: 12.34 V with one digit is 123.4."""
    return value * FIELDS[slot.name].scale * float(10**slot.digits)


def figure(slot: Slot, number: int | None) -> str:
    """The text of a field from a whole number of its last place; a dash for None."""
    if number is None:
        return NOT_RECORDED
    if slot.name == "time":
        minutes, rest = divmod(abs(number), 60 * 10**slot.digits)
        width = 3 + slot.digits if slot.digits else 2
        return f"{'-' if number < 0 else ''}{minutes}:{_point(rest, slot.digits).zfill(width)}"
    return f"{'-' if number < 0 else ''}{_point(abs(number), slot.digits)}"


def _point(number: int, digits: int) -> str:
    whole, part = divmod(number, 10**digits)
    return f"{whole}.{part:0{digits}d}" if digits else str(whole)


def nearest(slot: Slot, value: float) -> int | None:
    """The whole number of a field's last place for an SI value; None for nan. Time is cut, as a clock shows it."""
    scaled = places(slot, value)
    if not math.isfinite(scaled):
        return None
    return math.floor(scaled + 1e-6) if slot.name == "time" else round(scaled)
