"""Values of Arrow pass-through columns for JSON and CSV."""

from __future__ import annotations

import base64
from typing import Any, Final

import pyarrow as pa
import pyarrow.compute as pc

from gramwatt.engine.serializers import to_text
from gramwatt.engine.tables.chunks import MalformedTable
from gramwatt.model.messages import replace_control_characters

_DAY: Final = 86_400
_FIRST: Final = -719_162 * _DAY
_LAST: Final = 2_932_896 * _DAY
"""Seconds from 1970-01-01 to 0001-01-01 and to 9999-12-31."""
_PER_SECOND: Final = {"s": 1, "ms": 10**3, "us": 10**6, "ns": 10**9}


def json_values(column: pa.Array) -> list[Any]:
    """Return texts, numbers and booleans unchanged, and other values as text.

    Dates and times follow ISO 8601, bytes become base64, lists and structures JSON. Raises MalformedTable if a value is
    beyond the range of its type.
    """
    if isinstance(column.type, pa.BaseExtensionType):
        column = column.storage
    try:
        return _values(column)
    except (pa.ArrowException, ArithmeticError, LookupError, TypeError, ValueError) as error:
        detail = f"a column of type {str(column.type)[:100]} cannot be passed through: {str(error)[:100]}"
        raise MalformedTable(replace_control_characters(detail)) from None


def _values(column: pa.Array) -> list[Any]:
    kind = column.type
    if pa.types.is_dictionary(kind):
        return _values(column.dictionary_decode())
    if pa.types.is_decimal(kind):
        return list(column.cast(pa.string()).to_pylist())
    if is_bytes(kind):
        return [None if each is None else base64.b64encode(each).decode() for each in column.to_pylist()]
    if pa.types.is_nested(kind):
        return [to_text(each) for each in column.to_pylist()]
    if pa.types.is_temporal(kind):
        return _times(column)
    if pa.types.is_floating(kind) and not column.null_count:
        return list(column.to_numpy(zero_copy_only=False).tolist())
    if pa.types.is_string(kind) or pa.types.is_large_string(kind):
        return list(column.to_numpy(zero_copy_only=False).tolist())
    return list(column.to_pylist())


def is_bytes(kind: pa.DataType) -> bool:
    """Return whether a column contains bytes."""
    return bool(
        pa.types.is_binary(kind)
        or pa.types.is_large_binary(kind)
        or pa.types.is_binary_view(kind)
        or pa.types.is_fixed_size_binary(kind)
    )


def _times(column: pa.Array) -> list[Any]:
    kind = column.type
    if pa.types.is_duration(kind):
        counts = column.cast(pa.int64()).to_pylist()
        return [None if count is None else _duration(count, _PER_SECOND[kind.unit]) for count in counts]
    if pa.types.is_date64(kind):
        column, kind = column.cast(pa.timestamp("ms")), pa.timestamp("ms")
    _check_times(column)
    if not pa.types.is_timestamp(kind):
        return list(column.cast(pa.string()).to_pylist())
    if kind.unit == "s":
        column = column.cast(pa.timestamp("ms", kind.tz))
    pattern = "%Y-%m-%dT%H:%M:%S" + ("" if kind.tz is None else "%Ez")
    return list(pc.call_function("strftime", [column], pc.StrftimeOptions(pattern)).to_pylist())


def _check_times(column: pa.Array) -> None:
    """Raise ValueError for a time beyond 24 hours, or a date whose year does not have four digits."""
    kind = column.type
    counts = pc.call_function("min_max", [column.cast(pa.int32() if kind.bit_width == 32 else pa.int64())])
    least, most = counts["min"].as_py(), counts["max"].as_py()
    if least is None:
        return
    if pa.types.is_time(kind):
        low, high, what = 0, _DAY * _PER_SECOND[kind.unit] - 1, "a time beyond 24 hours"
    else:
        unit = _PER_SECOND[kind.unit] if pa.types.is_timestamp(kind) else 1 / _DAY
        low, high, what = round(_FIRST * unit), round(_LAST * unit), "a date beyond the years 1 to 9999"
    if least < low or most > high:
        raise ValueError(what)


def _duration(count: int, per_second: int) -> str:
    """Return a duration by ISO 8601, such as ``P1DT1H`` or ``-PT0.5S``."""
    seconds, part = divmod(abs(count), per_second)
    minutes, seconds = divmod(seconds, 60)
    hours, minutes = divmod(minutes, 60)
    days, hours = divmod(hours, 24)
    fraction = f".{part:0{len(str(per_second)) - 1}d}".rstrip("0") if part else ""
    text = f"{hours}H" * (hours > 0) + f"{minutes}M" * (minutes > 0) + f"{seconds}{fraction}S" * (seconds + part > 0)
    date = f"{days}D" * (days > 0)
    return ("-" if count < 0 else "") + "P" + date + (f"T{text}" if text or not days else "") + "0S" * (count == 0)
