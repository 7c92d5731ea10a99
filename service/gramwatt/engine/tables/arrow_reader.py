"""Read tables as an Arrow IPC stream, a record batch at a time, without copying numbers."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

import numpy as np
import pyarrow as pa

from gramwatt.engine.arrow_messages import CheckedStream, ExpansionCounter, ExpansionLimitExceeded, check_schema
from gramwatt.engine.arrow_sizes import get_expanded_size, is_unsupported, may_expand
from gramwatt.engine.arrow_types import first_line, is_number, is_text
from gramwatt.engine.column_types import ABSENT, Cells, NumericColumn
from gramwatt.engine.columns import escape_name
from gramwatt.engine.limits import EXPANDED_BLOCK_BYTES, MAX_RECORD_BATCH_BYTES
from gramwatt.engine.tables.chunks import BLOCK_ROWS, Chunk, InvalidTable, MalformedTable, PassthroughValues, Source
from gramwatt.engine.tables.header import Header, InputColumn, Passthrough, parse_header
from gramwatt.engine.tables.text_columns import parse_text_column
from gramwatt.model import Calculator, Count, Flag, NumberList, Quantity, Table, TimeSeries
from gramwatt.model.messages import InputError


class _SourceFile:
    """A source of bytes as a file that the Arrow library can read."""

    closed = False

    def __init__(self, source: Source, unfolding: ExpansionCounter) -> None:
        self._source, self._rest, self._unfolding = source, b"", unfolding

    def read(self, size: int = -1) -> bytes:
        """Read exactly ``size`` bytes, fewer only at the end."""
        if size < 0 or size > MAX_RECORD_BATCH_BYTES:
            raise MalformedTable(
                f"a record batch is larger than {MAX_RECORD_BATCH_BYTES} bytes; send smaller ones", "too-large"
            )
        parts, missing = [self._rest[:size]] if self._rest else [], size - len(self._rest)
        self._rest = self._rest[size:]
        while missing > 0 and (read := self._source(missing)):
            parts.append(read if len(read) <= missing else read[:missing])
            self._rest = read[missing:]
            self._unfolding.received += len(read)
            missing -= len(read)
        return b"".join(parts)


def read_arrow(
    calculator: Calculator[Any, Any],
    source: Source,
    *,
    passthrough: Passthrough = Passthrough(),  # noqa: B008 - it never changes
    constants: Mapping[str, object] | None = None,
) -> Iterator[Chunk]:
    """Yield the chunks of a stream of record batches.

    Raises InvalidTable for invalid columns, before any chunk, and MalformedTable if the rest cannot be read.
    """
    try:
        unfolding = ExpansionCounter()
        checked = CheckedStream(pa.PythonFile(_SourceFile(source, unfolding), mode="r"), unfolding)
        stream = pa.ipc.open_stream(pa.PythonFile(checked, mode="r"))
        names = stream.schema.names
        check_schema(stream.schema)
    except ExpansionLimitExceeded as error:
        raise MalformedTable(f"this Arrow stream is rejected: {error}", "too-large") from None
    except MalformedTable as broken:
        if broken.kind == "too-large":  # its first bytes, read as a length
            raise MalformedTable("this is no Arrow IPC stream") from None
        raise
    except UnicodeDecodeError:
        raise MalformedTable("the name of a column is not UTF-8") from None
    except (pa.ArrowInvalid, pa.ArrowException, OSError, EOFError) as error:
        raise MalformedTable(f"this is no Arrow IPC stream: {first_line(error)}") from None
    header, errors = parse_header(calculator, names, passthrough, constants or {})
    errors += _check_types(header, stream.schema)
    if errors:
        raise InvalidTable(errors)
    return _chunks(header, stream, unfolding)


def read_batches(
    calculator: Calculator[Any, Any],
    schema: pa.Schema,
    batches: Iterator[pa.RecordBatch],
    *,
    passthrough: Passthrough,
    constants: Mapping[str, object],
) -> Iterator[Chunk]:
    """Yield the chunks of record batches, such as those of a Parquet file."""
    header, errors = parse_header(calculator, schema.names, passthrough, constants)
    errors += _check_types(header, schema)
    if errors:
        raise InvalidTable(errors)
    first = 0
    for batch in batches:
        yield from _split_batch(header, batch, first)
        first += batch.num_rows
    if not first:
        yield _make_empty_chunk(header, schema)


def _chunks(header: Header, stream: Any, unfolding: ExpansionCounter) -> Iterator[Chunk]:
    try:
        yield from _checked_chunks(header, stream, unfolding)
    finally:
        pa.default_memory_pool().release_unused()


def _checked_chunks(header: Header, stream: Any, unfolding: ExpansionCounter) -> Iterator[Chunk]:
    first = 0
    while True:
        try:
            batch = stream.read_next_batch()
            unfolding.add(batch.get_total_buffer_size())  # with its dictionaries, which are read anew with each
            batch.validate(full=True)  # places beyond a buffer would be read, and end the process
            _check_size(batch, unfolding)
        except StopIteration:
            if not first:
                yield _make_empty_chunk(header, stream.schema)
            return
        except ExpansionLimitExceeded as error:
            raise MalformedTable(f"the Arrow stream is rejected after row {first}: {error}", "too-large") from None
        except MalformedTable:
            raise
        except (pa.ArrowException, OSError, EOFError) as error:
            raise MalformedTable(f"the Arrow stream breaks off after row {first}: {first_line(error)}") from None
        yield from _split_batch(header, batch, first)
        first += batch.num_rows


def _check_size(batch: pa.RecordBatch, unfolding: ExpansionCounter) -> None:
    """Add the size of the expanded blocks of a batch. Raises TooMuch."""
    columns = [batch.column(at) for at in range(batch.num_columns) if may_expand(batch.schema.field(at).type)]
    limit = max(EXPANDED_BLOCK_BYTES, batch.get_total_buffer_size())
    for start in range(0, batch.num_rows if columns else 0, BLOCK_ROWS):
        size = sum(get_expanded_size(column.slice(start, BLOCK_ROWS)) for column in columns)
        if size > limit:
            raise ExpansionLimitExceeded(
                f"{BLOCK_ROWS} of its rows unfold to {size} bytes, and {limit} is the most; repeat shorter texts"
            )
        unfolding.add(size)


def _split_batch(header: Header, batch: pa.RecordBatch, first: int) -> Iterator[Chunk]:
    """Yield the chunks of a batch, a block at a time, so that columns stay in the processor's cache."""
    for start in range(0, batch.num_rows, BLOCK_ROWS):
        yield _make_chunk(header, batch.slice(start, BLOCK_ROWS), first + start)


def _make_empty_chunk(header: Header, schema: pa.Schema) -> Chunk:
    """Return the chunk of a table without rows, whose response has all columns too."""
    batch = pa.RecordBatch.from_arrays([pa.nulls(0, kind) for kind in schema.types], schema=schema)
    return _make_chunk(header, batch, 0)


def _make_chunk(header: Header, batch: pa.RecordBatch, first: int) -> Chunk:
    cells: dict[str, Cells] = {}
    passthrough_columns: dict[str, PassthroughValues] = {}
    for position, column in enumerate(header.columns):
        values = batch.column(position)
        if isinstance(column, InputColumn):
            cells[column.name] = _read_cells(column, values)
        elif column is not None:
            passthrough_columns[column] = values
    return Chunk(first, batch.num_rows, cells, False, passthrough_columns)


def _check_types(header: Header, schema: pa.Schema) -> list[InputError]:
    """Columns whose type no value of the input has."""
    errors = []
    for position, column in enumerate(header.columns):
        if is_unsupported(schema.field(position).type):
            detail = f"a column of type {first_line(schema.field(position).type)}"
            accepted = "a plain column: no list views, unions, or dictionaries of lists"
            errors.append(InputError(f"/{escape_name(schema.field(position).name)}", detail, None, accepted))
            continue
        if not isinstance(column, InputColumn):
            continue
        column_type, kind = schema.field(position).type, column.kind
        match kind:
            case Quantity():
                fits = is_number(column_type) or is_text(column_type)
            case Count():
                fits = is_number(column_type) or (kind.accepts_labels and is_text(column_type))
            case Flag():
                fits = pa.types.is_boolean(column_type)
            case TimeSeries():
                fits = pa.types.is_struct(column_type)
            case NumberList() | Table():
                fits = pa.types.is_list(column_type) or pa.types.is_large_list(column_type)
            case _:
                fits = is_text(column_type)
        if not (fits or pa.types.is_null(column_type)):
            detail = f"a column of type {first_line(column_type)}"
            errors.append(InputError(f"/{column.name}", detail, None, kind.describe_accepted()))
    return errors


def _read_cells(column: InputColumn, values: pa.Array) -> Cells:
    try:
        return _convert_cells(column, values)
    except (pa.ArrowException, ArithmeticError, LookupError, TypeError, ValueError) as error:
        raise MalformedTable(f"the column {column.name} cannot be read: {first_line(error)}") from None


def _convert_cells(column: InputColumn, values: pa.Array) -> Cells:
    if isinstance(column.kind, Quantity | Count) and (is_number(values.type) or pa.types.is_null(values.type)):
        present = np.ones(len(values), dtype=np.bool_) if not values.null_count else np.asarray(values.is_valid())
        if pa.types.is_int64(values.type) and not values.null_count:
            numbers = values.to_numpy().astype(np.float64)
        else:
            doubles = values if pa.types.is_float64(values.type) else values.cast(pa.float64(), safe=False)
            numbers = doubles.to_numpy(zero_copy_only=False)
        return NumericColumn(numbers, present, () if column.unit is None else (column.unit,), bare=column.unit)
    if is_text(values.type):
        texts = values.cast(pa.string()).to_numpy(zero_copy_only=False).tolist()
        return parse_text_column(column.kind, texts, bare=column.unit, text=False)
    return [ABSENT if cell is None else _drop_nulls(cell) for cell in values.to_pylist()]


def _drop_nulls(cell: object) -> object:
    """Return a list or a table without the nulls of fields that a row leaves out."""
    if isinstance(cell, list):
        return [_drop_nulls(each) for each in cell]
    return {name: value for name, value in cell.items() if value is not None} if isinstance(cell, dict) else cell
