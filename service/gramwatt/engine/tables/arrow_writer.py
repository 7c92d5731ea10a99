"""Write a table as an Arrow IPC stream."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pyarrow as pa

from gramwatt.engine.rounding import all_finite, round_array
from gramwatt.engine.serializers import MAX_DIGITS, to_text
from gramwatt.engine.tables.cell_formatting import passthrough_values, result_values
from gramwatt.engine.tables.chunks import BatchResult, MalformedTable
from gramwatt.engine.tables.plan import OutputColumn, Plan, output_columns, standing_codes
from gramwatt.engine.tables.row_errors import RowErrorReporter, errors_with_dropped_columns
from gramwatt.model import Choice, Count, Flag, Quantity


class BufferSink:
    """A file in memory that collects what is written until `drain`."""

    closed = False

    def __init__(self) -> None:
        self._parts: list[Any] = []

    def write(self, data: Any) -> int:
        """Append bytes. Arrow's own buffers are appended without a copy, since nothing changes them any more."""
        self._parts.append(data if isinstance(data, pa.Buffer) else bytes(data))
        return len(data)

    def flush(self) -> None:
        """Do nothing: there is no buffer."""

    def drain(self) -> bytes:
        """Return what was written since the last call."""
        parts, self._parts = self._parts, []
        return b"".join(parts)


@dataclass(slots=True)
class ArrowWriter:
    """Writes record batches: pass-through columns, results, ``cautions`` and ``error``. Units are in the fields."""

    plan: Plan
    digits: int = MAX_DIGITS
    """Fewer than all twelve are rounded; else doubles keep their last bit."""
    errors: RowErrorReporter = field(default_factory=RowErrorReporter)
    _sink: BufferSink = field(default_factory=BufferSink)
    _stream: Any = None
    _schema: Any = None
    _passthrough_columns: dict[str, pa.DataType] = field(default_factory=dict)

    def begin(self, first: BatchResult | None) -> bytes:
        """Return the schema."""
        self._passthrough_columns = (
            {}
            if first is None
            else {name: _passthrough_type(column) for name, column in first.passthrough_columns.items()}
        )
        fields = [pa.field(name, kind) for name, kind in self._passthrough_columns.items()]
        fields += [
            pa.field(column.name, _type(column), metadata={"unit": column.unit}) for column in output_columns(self.plan)
        ]
        fields += [pa.field("cautions", pa.string()), pa.field("error", pa.string())]
        always = {"standing_cautions": " ".join(standing_codes(self.plan.calculator))}
        self._schema = pa.schema(fields, metadata=always)
        self._stream = pa.ipc.new_stream(self._sink, self._schema)
        return self._sink.drain()

    def write_rows(self, result: BatchResult) -> bytes:
        """Return one record batch."""
        arrays = [
            _passthrough_array(result.passthrough_columns.get(name), result.rows, kind)
            for name, kind in self._passthrough_columns.items()
        ]
        arrays += [_array(column, result.columns[column.name], self.digits) for column in output_columns(self.plan)]
        arrays.append(_take_texts([" ".join(codes) for codes in result.cautions], result.caution_index))
        arrays.append(self._errors(result))
        self._stream.write_batch(pa.RecordBatch.from_arrays(arrays, schema=self._schema))
        return self._sink.drain()

    def _errors(self, result: BatchResult) -> pa.Array:
        errors_by_row = errors_with_dropped_columns(result, self._passthrough_columns)
        if not errors_by_row:
            return pa.nulls(result.rows, pa.string())
        texts: list[str | None] = [None] * result.rows
        for row in sorted(errors_by_row):
            texts[row] = self.errors.format_text(result.first + row + 1, errors_by_row[row])
        return pa.array(texts, pa.string())

    def write_failure(self, failure: MalformedTable, row: int) -> bytes:
        """Return a batch of one row with the error."""
        arrays = [pa.nulls(1, kind) for kind in self._schema.types[:-1]]
        arrays.append(pa.array([f"#ERR {failure.kind} after row {row}: {failure.detail}"], pa.string()))
        self._stream.write_batch(pa.RecordBatch.from_arrays(arrays, schema=self._schema))
        return self._sink.drain()

    def end(self) -> bytes:
        """Return the end-of-stream mark."""
        self._stream.close()
        return self._sink.drain()


def _type(column: OutputColumn) -> pa.DataType:
    match column.kind:
        case Quantity():
            return pa.float64()
        case Count():
            return pa.int64()
        case Flag():
            return pa.bool_()
        case _:
            return pa.string()


def _array(column: OutputColumn, values: Any, digits: int) -> pa.Array:
    if isinstance(column.kind, Quantity) and isinstance(values, np.ndarray):
        values = np.ascontiguousarray(values)
        if digits < MAX_DIGITS:
            values = round_array(values, digits)
        return pa.array(values, mask=None if all_finite(values) else ~np.isfinite(values))
    if isinstance(column.kind, Choice) and isinstance(values, np.ndarray):
        return _take_texts([*column.kind.options, None], np.where(values < 0, len(column.kind.options), values))
    plain = result_values(column, values, digits if digits < MAX_DIGITS else None)
    kind = _type(column)
    return pa.array(list(map(to_text, plain)) if kind == pa.string() else plain, kind)


def _take_texts(texts: Sequence[str | None], at: Any) -> pa.Array:
    """Return one of a few texts for each row, by its index."""
    if len(texts) == 1:
        return pa.repeat(pa.scalar(texts[0], pa.string()), len(at))
    return pa.array(texts, pa.string()).take(pa.array(at))


def _passthrough_type(column: Any) -> pa.DataType:
    if isinstance(column, pa.Array):
        return column.type
    return pa.string()  # rows of JSON may hold numbers first and texts later


def _without_views(kind: pa.DataType) -> pa.DataType:
    """Return the type without views of texts and bytes."""
    if pa.types.is_string_view(kind):
        return pa.large_string()
    if pa.types.is_binary_view(kind):
        return pa.large_binary()
    if pa.types.is_struct(kind):
        fields = map(kind.field, range(kind.num_fields))
        return pa.struct([field.with_type(_without_views(field.type)) for field in fields])
    if pa.types.is_list(kind) or pa.types.is_large_list(kind):
        inner = kind.value_field.with_type(_without_views(kind.value_type))
        return pa.large_list(inner) if pa.types.is_large_list(kind) else pa.list_(inner)
    return kind


def _passthrough_array(column: Any, rows: int, kind: pa.DataType) -> pa.Array:
    if isinstance(column, pa.Array) and column.type == kind:
        plain = _without_views(kind)
        return (
            column if plain == kind else column.cast(plain).cast(kind)
        )  # else each batch carries all that it refers to
    return pa.array(list(map(to_text, passthrough_values(column, rows))), pa.string()).cast(kind)
