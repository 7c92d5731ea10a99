"""An answered table written as an Arrow IPC stream."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
import polars as pl
import pyarrow as pa

from gramwatt.declare import Count, Flag, Quantity
from gramwatt.edge.tables.answering import Answered, OutputColumn, Plan, output_columns, standing
from gramwatt.edge.tables.chunk import Broken
from gramwatt.edge.tables.errors import ErrorTeller, with_left_out
from gramwatt.edge.tables.frame import kept_series, result_series, spelled


class Taken:
    """A file that keeps what is written until it is taken."""

    closed = False

    def __init__(self) -> None:
        self._parts: list[bytes] = []

    def write(self, data: Any) -> int:
        """Take some bytes."""
        self._parts.append(bytes(data))
        return len(data)

    def flush(self) -> None:
        """Nothing waits."""

    def take(self) -> bytes:
        """What was written since."""
        parts, self._parts = self._parts, []
        return b"".join(parts)


@dataclass(slots=True)
class ArrowWriter:
    """Record batches of kept columns, results as computed, ``cautions`` and ``error``; units stand in the fields."""

    plan: Plan
    errors: ErrorTeller = field(default_factory=ErrorTeller)
    _sink: Taken = field(default_factory=Taken)
    _stream: Any = None
    _schema: Any = None
    _kept: dict[str, pa.DataType] = field(default_factory=dict)

    def begin(self, first: Answered | None) -> bytes:
        """The schema."""
        self._kept = {} if first is None else {name: _kept_type(kept) for name, kept in first.kept.items()}
        fields = [pa.field(name, kind) for name, kind in self._kept.items()]
        fields += [
            pa.field(column.name, _type(column), metadata={"unit": column.unit}) for column in output_columns(self.plan)
        ]
        fields += [pa.field("cautions", pa.string()), pa.field("error", pa.string())]
        always = {"standing_cautions": " ".join(standing(self.plan.calculator))}
        self._schema = pa.schema(fields, metadata=always)
        self._stream = pa.ipc.new_stream(self._sink, self._schema)
        return self._sink.take()

    def rows(self, piece: Answered) -> bytes:
        """One record batch."""
        arrays = [_kept_array(name, piece.kept.get(name), piece.rows, kind) for name, kind in self._kept.items()]
        arrays += [_array(column, piece.columns[column.name]) for column in output_columns(self.plan)]
        arrays.append(spelled([" ".join(codes) for codes in piece.cautions], piece.caution_at))
        arrays.append(self._errors(piece))
        self._stream.write_batch(pa.RecordBatch.from_arrays(arrays, schema=self._schema))
        return self._sink.take()

    def _errors(self, piece: Answered) -> pa.Array:
        faults = with_left_out(piece, self._kept)
        if not faults:
            return pa.nulls(piece.rows, pa.string())
        texts: list[str | None] = [None] * piece.rows
        for row in sorted(faults):
            texts[row] = self.errors.text(piece.first + row + 1, faults[row])
        return pa.array(texts, pa.string())

    def broken(self, broken: Broken, row: int) -> bytes:
        """A batch of one row whose error says so."""
        arrays = [pa.nulls(1, kind) for kind in self._schema.types[:-1]]
        arrays.append(pa.array([f"#ERR {broken.kind} after row {row}: {broken.detail}"], pa.string()))
        self._stream.write_batch(pa.RecordBatch.from_arrays(arrays, schema=self._schema))
        return self._sink.take()

    def end(self) -> bytes:
        """The end-of-stream mark."""
        self._stream.close()
        return self._sink.take()


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


def _array(column: OutputColumn, values: Any) -> pa.Array:
    if isinstance(column.kind, Quantity) and isinstance(values, np.ndarray):
        finite = np.isfinite(values)
        values = np.ascontiguousarray(values)
        return pa.array(values, mask=None if finite.all() else ~finite)
    return result_series(column, values, None).to_arrow().cast(_type(column))


def _kept_type(kept: Any) -> pa.DataType:
    if isinstance(kept, pa.Array):
        return kept.type
    return pa.string()  # rows of JSON may hold numbers first and texts later


def _kept_array(name: str, kept: Any, rows: int, kind: pa.DataType) -> pa.Array:
    if isinstance(kept, pa.Array) and kept.type == kind:
        return kept
    return kept_series(name, kept, rows).cast(pl.String).to_arrow().cast(kind)
