"""Kinds of Arrow columns, and the errors of its library."""

from __future__ import annotations

import pyarrow as pa

from gramwatt.model.messages import replace_control_characters


def first_line(error: object) -> str:
    """Return what an error or a type of the Arrow library says first."""
    return replace_control_characters(str(error).partition("\n")[0][:200])


def is_text(kind: pa.DataType) -> bool:
    """Whether a column holds texts, also as a dictionary."""
    return bool(
        pa.types.is_string(kind)
        or pa.types.is_large_string(kind)
        or pa.types.is_string_view(kind)
        or (pa.types.is_dictionary(kind) and is_text(kind.value_type))
    )


def is_number(kind: pa.DataType) -> bool:
    """Whether a column holds numbers."""
    return bool(pa.types.is_integer(kind) or pa.types.is_floating(kind) or pa.types.is_decimal(kind))
