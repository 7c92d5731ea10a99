"""Read recordings in Arrow, and CSV columns of plain numbers, with pyarrow.

Not NDJSON: a line of deeply nested brackets ends the process in its reader.
"""

from __future__ import annotations

import contextlib
from collections.abc import Iterator, Sequence
from typing import Any

import pyarrow as pa
from pyarrow import csv

from gramwatt.engine.arrow_messages import (
    CheckedStream,
    ExpansionCounter,
    ExpansionLimitExceeded,
    check_file,
    check_schema,
)
from gramwatt.engine.arrow_sizes import get_expanded_size, may_expand
from gramwatt.engine.arrow_types import first_line, is_number, is_text
from gramwatt.engine.columns import escape_name
from gramwatt.engine.limits import DECOMPRESSED_BYTES_PER_BYTE
from gramwatt.engine.recordings.column_types import (
    MalformedRecording,
    NumberCells,
    TextCells,
    UnusableRecording,
    check_width,
)
from gramwatt.model.messages import InputError


class ArrowColumns:
    """An Arrow IPC stream, or a file of that kind."""

    skipped_lines = 0

    def __init__(self, raw: bytes, longest: int) -> None:
        self._raw, self._longest = raw, longest
        with _arrow_errors():
            schema = self._open()[0]
            self.names: list[str] = list(schema.names)
            check_schema(schema)
        check_width(self.names)

    def _open(
        self, fields: Sequence[int] | None = None
    ) -> tuple[pa.Schema, Iterator[pa.RecordBatch], ExpansionCounter]:
        """Return the schema, and the record batches with some of their fields, once they are checked."""
        raw, unfolding = pa.py_buffer(self._raw), ExpansionCounter(DECOMPRESSED_BYTES_PER_BYTE)
        unfolding.received = raw.size
        options = pa.ipc.IpcReadOptions(included_fields=fields)
        if self._raw.startswith(b"ARROW1"):
            file = pa.ipc.open_file(raw, options=options)
            check_file(raw, unfolding)
            return file.schema, map(file.get_batch, range(file.num_record_batches)), unfolding
        checked = CheckedStream(pa.BufferReader(raw), unfolding)
        stream = pa.ipc.open_stream(pa.PythonFile(checked, mode="r"), options=options)
        return stream.schema, iter(stream), unfolding

    def take(self, positions: Sequence[int]) -> list[NumberCells | TextCells]:
        """Return these columns in this order."""
        wanted = sorted(set(positions))
        with _arrow_errors():
            schema, opened, unfolding = self._open(wanted)
            batches, rows = [], 0
            for batch in opened:
                unfolding.add(batch.get_total_buffer_size())
                rows += batch.num_rows
                if rows > self._longest:
                    detail = f"{rows} samples or more; keep fewer a second"
                    raise UnusableRecording(InputError("", detail, None, f"up to {self._longest} samples"))
                batch.validate(full=True)  # places beyond a buffer would be read, and end the process
                _check_columns(batch, unfolding)
                batches.append(batch)
            table = pa.Table.from_batches(batches, schema)
            columns = {at: table.column(place).combine_chunks() for place, at in enumerate(wanted)}
            cells = [_of_arrow(self.names[at], columns[at]) for at in positions]
        del table, batches, columns
        pa.default_memory_pool().release_unused()
        return cells


@contextlib.contextmanager
def _arrow_errors() -> Iterator[None]:
    """Raise MalformedRecording or UnusableRecording for the errors of the Arrow library."""
    try:
        yield
    except ExpansionLimitExceeded as error:
        detail = f"this recording is rejected: {error}"
        raise UnusableRecording(InputError("", detail, None, "plain columns of numbers")) from None
    except (pa.ArrowException, OSError, EOFError, UnicodeDecodeError) as error:
        raise MalformedRecording(f"it is no Arrow IPC stream: {first_line(error)}") from None


def _check_columns(batch: pa.RecordBatch, unfolding: ExpansionCounter) -> None:
    """Add the size of expanded text columns. Raises TooMuch."""
    for at in range(batch.num_columns):
        if is_text(batch.schema.field(at).type) and may_expand(batch.schema.field(at).type):
            unfolding.add(get_expanded_size(batch.column(at)))


def csv_numbers(
    raw: bytes, separator: str, decimal: str, width: int, positions: Sequence[int]
) -> list[NumberCells] | None:
    """Return these columns of a CSV text of ``width`` columns, its header cut off; None where a cell is no number.

    None also where the rows are not of one length, which pyarrow refuses.
    """
    names = [str(at) for at in range(width)]
    wanted = [names[at] for at in positions]
    try:
        table = csv.read_csv(
            pa.BufferReader(raw),
            read_options=csv.ReadOptions(column_names=names, use_threads=False),
            parse_options=csv.ParseOptions(delimiter=separator, newlines_in_values=True, ignore_empty_lines=False),
            convert_options=csv.ConvertOptions(
                include_columns=wanted,
                column_types=dict.fromkeys(wanted, pa.float64()),
                null_values=[""],
                decimal_point="," if decimal == "," and separator != "," else ".",
                check_utf8=False,
            ),
        )
    except pa.ArrowException:
        return None
    return [_numbers(table.column(name)) for name in wanted]


def _numbers(column: Any) -> NumberCells:
    return NumberCells(column.to_numpy(), column.is_valid().to_numpy())


def _of_arrow(name: str, values: Any) -> NumberCells | TextCells:
    kind = values.type
    given = values.is_valid().to_numpy(zero_copy_only=False)
    if pa.types.is_timestamp(kind) or pa.types.is_duration(kind):
        per_second = {"s": 1, "ms": 10**3, "us": 10**6, "ns": 10**9}[kind.unit]
        return NumberCells(values.cast(pa.int64()).to_numpy(zero_copy_only=False) / float(per_second), given)
    if is_number(kind) or pa.types.is_null(kind):
        return NumberCells(values.cast(pa.float64(), safe=False).to_numpy(zero_copy_only=False), given)
    if is_text(kind):
        return list(values.cast(pa.string()).to_pylist())
    accepted = "numbers, times or texts"
    raise UnusableRecording(InputError(f"/{escape_name(name)}", f"a column of type {kind}"[:200], None, accepted))
