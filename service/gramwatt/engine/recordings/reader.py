"""Read a recording from the bytes of a file or request."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from gramwatt.engine import wire_formats
from gramwatt.engine.recordings.channels import channels_of, has_time_column, read_recording
from gramwatt.engine.recordings.column_types import Columns
from gramwatt.engine.recordings.columns import CsvColumns, JsonColumns, NdjsonColumns
from gramwatt.extras import require
from gramwatt.model import Calculator, Recording, TimeSeries

FORMATS: Final[Mapping[str, str]] = {form: wire_formats.FORMATS[form] for form in ("csv", "ndjson", "json", "arrow")}
"""The formats of a recording and their media types."""


def recording_kind(calculator: Calculator[Any, Any]) -> TimeSeries:
    """Return the declaration of a calculator's recording. Raises TypeError if it takes none."""
    kind = calculator.input_fields.get(calculator.recording or "")
    if not isinstance(kind, TimeSeries):
        raise TypeError(f"{calculator.name} asks for no recording")
    return kind


def parse_recording(
    kind: TimeSeries, raw: bytes, form: str, wanted: Mapping[str, str] | None = None, *, decimal: str = "."
) -> Recording:
    """Read the recording in ``raw``. ``wanted`` has the names of columns by channel.

    Raises MalformedRecording, UnusableRecording.
    """
    wanted = {name: column for name, column in (wanted or {}).items() if name in channels_of(kind)}
    return read_recording(kind, _columns(kind, raw, form, wanted, decimal), wanted, decimal=decimal)


def _columns(kind: TimeSeries, raw: bytes, form: str, wanted: Mapping[str, str], decimal: str) -> Columns:
    match form:
        case "ndjson":
            return NdjsonColumns(raw)
        case "json":
            return JsonColumns(raw, kind.max_length)
        case "arrow":
            require("pyarrow", extra="tables", purpose="Recordings in Arrow")
            from gramwatt.engine.recordings.arrow import ArrowColumns

            return ArrowColumns(raw, kind.max_length)
        case _:
            return CsvColumns(raw, lambda names: has_time_column(kind, names, wanted), decimal=decimal)
