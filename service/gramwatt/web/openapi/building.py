"""Schemas of the parts of responses: texts, whole numbers, arrays, maps and objects, each with its bounds."""

from __future__ import annotations

from gramwatt.web.openapi.inputs import PRINTABLE
from gramwatt.web.openapi.naming import JsonObject, make_object


def make_text(max_length: int = 2000, **more: object) -> JsonObject:
    """Return the schema of a text without control characters."""
    return {"type": "string", "maxLength": max_length, "pattern": PRINTABLE, **more}


def make_integer(minimum: int, maximum: int, **more: object) -> JsonObject:
    """Return the schema of a whole number."""
    form = "int32" if maximum < 2**31 else "int64"
    return {"type": "integer", "format": form, "minimum": minimum, "maximum": maximum, **more}


def make_array(items: JsonObject, max_items: int, **more: object) -> JsonObject:
    """Return the schema of an array."""
    return {"type": "array", "maxItems": max_items, "items": items, **more}


def make_map(values: JsonObject, description: str, **more: object) -> JsonObject:
    """Return the schema of an object with members of any name."""
    return {"type": "object", "description": description, "additionalProperties": values, **more}


def make_result_object(properties: JsonObject, *optional: str, **more: object) -> JsonObject:
    """Return the schema of an object in a response with all members but the ``optional`` ones."""
    return make_object(properties, [name for name in properties if name not in optional], **more)
