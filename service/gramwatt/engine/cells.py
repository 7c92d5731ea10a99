"""Parse the ends of ranges."""

from __future__ import annotations

import re
from typing import Final

from gramwatt.model import Count, Quantity, units
from gramwatt.model.parsing import NUMBER, ValueParseError, describe_type

MAX_RANGE_END: Final = 1e12
"""Of a range; its points are checked one by one."""


def parse_range_end(kind: Quantity | Count, cell: object, *, text: bool) -> tuple[float, units.Unit | None]:
    """Return a number with its unit, whatever the bounds; for a count without one. Raises ValueParseError."""
    unit = kind.bounds.unit if isinstance(kind, Quantity) else None
    if isinstance(cell, str) and isinstance(kind, Quantity):
        cell, plus_minus, unit = kind.parse_text(cell, kind.bounds.unit, text=text)
        if plus_minus is not None:
            raise ValueParseError("The end of a range has no uncertainty", kind.describe_accepted())
    if text and isinstance(cell, str) and re.fullmatch(NUMBER, cell.strip(" "), re.ASCII):
        cell = float(cell)
    if isinstance(cell, bool) or not isinstance(cell, float | int):
        raise ValueParseError(f"Enter a number, not {describe_type(cell)}", kind.describe_accepted())
    if not -MAX_RANGE_END <= cell <= MAX_RANGE_END:
        detail = f"A range must be between {-MAX_RANGE_END:g} and {MAX_RANGE_END:g}"
        raise ValueParseError(detail, kind.describe_accepted())
    return float(cell), unit
