r"""The grammar of a quantity as text, such as ``1.3 Ah`` or ``212 ± 1 g``: one pattern for each dimension of units.

A pattern says which texts are numbers with a unit. It does not bound the number, which depends on the unit. Written for
ECMA 262, JSON Schema's dialect, and limited to what Python reads alike: ``[0-9]``, since ``\d`` is any script's digit
in Python.
"""

from __future__ import annotations

from typing import Final

from gramwatt.model import Quantity, units
from gramwatt.model.parsing import MAX_NUMBER_LENGTH
from gramwatt.web.openapi.naming import JsonObject, to_class_name

_SPACE: Final = r"[ \u00A0\u2009\u202F]*"
_NUMBER: Final = r"[+\u2212-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+\u2212-]?[0-9]+)?"
_PLUS_MINUS: Final = r"(?:±|\+?/[\u2212-]|\+[\u2212-])"
_OHM: Final = r"[Ω\u2126]"
_UNCERTAINTY: Final = f"{_SPACE}{_PLUS_MINUS}{_SPACE}{_NUMBER}"


def escape_pattern(text: str) -> str:
    """Return the pattern that matches just this text; ECMA 262 in Unicode mode allows no needless backslash."""
    return "".join(f"\\{letter}" if letter in r"\^$.|?*+()[]{}/" else letter for letter in text)


def get_text_name(kind: Quantity) -> str:
    """Return the name of the schema of a quantity as text: ``MassText``."""
    dimension = to_class_name(units.get_unit(kind.unit).dimension)
    return f"Exact{dimension}Text" if kind.exact else f"{dimension}Text"


def get_item_name(kind: Quantity) -> str:
    """Return the name of the schema of an entry of a list: ``MassEntry``."""
    return to_class_name(f"{units.get_unit(kind.unit).dimension} entry")


def make_text_schema(kind: Quantity) -> JsonObject:
    """Return the schema of a quantity as text: a number and a unit, or a number with its standard uncertainty."""
    known = list(units.UNITS[units.get_unit(kind.unit).dimension])
    spellings = "|".join(map(escape_pattern, known))
    unit = f"{_SPACE}(?:{spellings.replace('Ω', _OHM)})"
    if kind.unit == "1":
        form, description = _UNCERTAINTY, "A number with its standard uncertainty: `0.12 ± 0.01`."
    elif kind.exact:
        form, description = unit, "A number with a unit."
    else:
        form = f"(?:{_UNCERTAINTY}(?:{unit})?|{unit})"
        description = "A number with a unit, a standard uncertainty (`± 1`), or both."
    return {
        "type": "string",
        "description": description,
        "maxLength": MAX_NUMBER_LENGTH,
        "pattern": f"^{_SPACE}{_NUMBER}{form}{_SPACE}$",
        "x-units": known,
    }
