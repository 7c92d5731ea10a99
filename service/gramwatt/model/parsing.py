"""What the kinds of field share when they read one cell: patterns, limits, and the error of an invalid cell.

``text`` says whether a cell is text of a query, a command line or a CSV file (``"6"`` is then the number six) or a
value of a JSON document (where quoted numbers are rejected).
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from typing import Final

from gramwatt.model.messages import suggest

MAX_NUMBER_LENGTH: Final = 64
MAX_UNCERTAINTY: Final = 1e9
NUMBER: Final = r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]+)?"
QUANTITY: Final = re.compile(
    rf" *+({NUMBER})(?: *+(?:±|\+?/-|\+-) *+({NUMBER}))? *+([^0-9 .,+±-](?:.*[^ \n])?)? *+", re.ASCII
)
_LOOKALIKES: Final = str.maketrans({"\u00a0": " ", "\u2009": " ", "\u202f": " ", "\u2126": "Ω", "\u2212": "-"})
"""Characters of copied text that look like a space, an ohm sign or a minus sign."""
_TYPE_NAMES: Final = {
    type(None): "null",
    bool: "true or false",
    str: "text",
    list: "a list",
    dict: "an object",
    int: "a number",
    float: "a number",
}


class ValueParseError(ValueError):
    """A cell is not a valid value of its kind. Has what is wrong, and what is accepted."""

    def __init__(
        self, detail: str, accepted: str, misspelt: tuple[str, Iterable[str], Mapping[str, str]] | None = None
    ) -> None:
        super().__init__(detail)
        self.detail, self.accepted, self._misspelt = detail, accepted, misspelt

    def with_hint(self) -> str:
        """Return the detail with close matches of a misspelt word. Comparing words is slow."""
        return self.detail if self._misspelt is None else self.detail + suggest(*self._misspelt)


def replace_lookalikes(cell: str) -> str:
    """Return a text with the usual characters in place of those that only look like them."""
    return cell.translate(_LOOKALIKES)


def match_quantity(cell: str) -> re.Match[str] | None:
    """Match a number, the standard uncertainty after it if any, and its unit if any."""
    return QUANTITY.fullmatch(cell)


def is_plain_number(text: str) -> bool:
    """Return whether a text is digits with at most one point: the most common number, recognised without a pattern."""
    return text.replace(".", "", 1).isdigit() and text.isascii()


def is_number(text: str) -> bool:
    """Return whether a text is one number, with spaces around it or none."""
    return len(text) <= MAX_NUMBER_LENGTH and re.fullmatch(NUMBER, text.strip(" "), re.ASCII) is not None


def describe_type(cell: object) -> str:
    """Return the type of a JSON value in words: ``a list``."""
    return _TYPE_NAMES.get(type(cell), f"{type(cell).__name__}")
