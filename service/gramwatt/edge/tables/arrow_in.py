"""Tables as an Arrow IPC stream, read a record batch at a time without copying numbers."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any, Final

import numpy as np
import pyarrow as pa

from gramwatt.declare import Calculator, Count, Flag, Quantity, Samples, Series, Table
from gramwatt.edge.columns import ABSENT, Cells, Packed
from gramwatt.edge.tables.chunk import BLOCK, Broken, Chunk, Kept, Source, Unreadable
from gramwatt.edge.tables.heading import Heading, InputColumn, Keeping, read_heading
from gramwatt.edge.tables.words import cells_of
from gramwatt.edge.wording import Fault, accepts

LARGEST_BATCH: Final = 256 * 1024 * 1024


class _Stream:
    """A source of bytes as the file that the Arrow library reads."""

    closed = False

    def __init__(self, source: Source) -> None:
        self._source, self._left = source, b""

    def read(self, size: int = -1) -> bytes:
        """Exactly ``size`` bytes, fewer only at the end."""
        if size < 0 or size > LARGEST_BATCH:
            raise Broken(f"a record batch is larger than {LARGEST_BATCH} bytes; send smaller ones", "too-large")
        parts, missing = [self._left[:size]] if self._left else [], size - len(self._left)
        self._left = self._left[size:]
        while missing > 0 and (read := self._source(missing)):
            parts.append(read if len(read) <= missing else read[:missing])
            self._left = read[missing:]
            missing -= len(read)
        return b"".join(parts)


def read_arrow(
    calculator: Calculator[Any, Any],
    source: Source,
    *,
    keeping: Keeping = Keeping(),  # noqa: B008 - it never changes
    constants: Mapping[str, object] | None = None,
) -> Iterator[Chunk]:
    """The chunks of a stream of record batches.

    Raises Unreadable where its columns are wrong, before any chunk, and Broken where the rest cannot be read.
    """
    try:
        stream = pa.ipc.open_stream(pa.PythonFile(_Stream(source), mode="r"))
        names = stream.schema.names
    except Broken as broken:
        if broken.kind == "too-large":  # its first bytes, read as a length
            raise Broken("this is no Arrow IPC stream") from None
        raise
    except UnicodeDecodeError:
        raise Broken("the name of a column is not UTF-8") from None
    except (pa.ArrowInvalid, pa.ArrowException, OSError, EOFError) as error:
        raise Broken(f"this is no Arrow IPC stream: {first_line(error)}") from None
    heading, faults = read_heading(calculator, names, keeping, constants or {})
    faults += _type_faults(heading, stream.schema)
    if faults:
        raise Unreadable(faults)
    return _chunks(heading, stream)


def read_batches(
    calculator: Calculator[Any, Any],
    schema: pa.Schema,
    batches: Iterator[pa.RecordBatch],
    *,
    keeping: Keeping,
    constants: Mapping[str, object],
) -> Iterator[Chunk]:
    """The same for record batches that are at hand, as of a Parquet file."""
    heading, faults = read_heading(calculator, schema.names, keeping, constants)
    faults += _type_faults(heading, schema)
    if faults:
        raise Unreadable(faults)
    first = 0
    for batch in batches:
        yield from _of_batch(heading, batch, first)
        first += batch.num_rows


def _chunks(heading: Heading, stream: Any) -> Iterator[Chunk]:
    first = 0
    while True:
        try:
            batch = stream.read_next_batch()
            batch.validate(full=True)  # places beyond a buffer would be read, and end the process
        except StopIteration:
            return
        except Broken:
            raise
        except (pa.ArrowException, OSError, EOFError) as error:
            raise Broken(f"the Arrow stream breaks off after row {first}: {first_line(error)}") from None
        yield from _of_batch(heading, batch, first)
        first += batch.num_rows


def _of_batch(heading: Heading, batch: pa.RecordBatch, first: int) -> Iterator[Chunk]:
    for start in range(0, batch.num_rows, BLOCK):  # a block at a time: what is read, answered, written stays in cache
        rows = min(BLOCK, batch.num_rows - start)
        cells: dict[str, Cells] = {}
        kept: dict[str, Kept] = {}
        for position, column in enumerate(heading.columns):
            values = batch.column(position).slice(start, rows)
            if isinstance(column, InputColumn):
                cells[column.name] = _cells(column, values)
            elif column is not None:
                kept[column] = values
        yield Chunk(first + start, rows, cells, False, kept)


def first_line(error: BaseException) -> str:
    """What an error of the Arrow library, or of another, says first."""
    return str(error).partition("\n")[0][:200]


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


def _type_faults(heading: Heading, schema: pa.Schema) -> list[Fault]:
    """Columns whose type no value of the input has."""
    faults = []
    for position, column in enumerate(heading.columns):
        if not isinstance(column, InputColumn):
            continue
        found, kind = schema.field(position).type, column.kind
        match kind:
            case Quantity():
                fits = is_number(found) or is_text(found)
            case Count():
                fits = is_number(found)
            case Flag():
                fits = pa.types.is_boolean(found)
            case Samples():
                fits = pa.types.is_struct(found)
            case Series() | Table():
                fits = pa.types.is_list(found) or pa.types.is_large_list(found)
            case _:
                fits = is_text(found)
        if not (fits or pa.types.is_null(found)):
            faults.append(Fault(f"/{column.name}", f"a column of type {found}", None, accepts(kind)))
    return faults


def _cells(column: InputColumn, values: pa.Array) -> Cells:
    if isinstance(column.kind, Quantity | Count) and (is_number(values.type) or pa.types.is_null(values.type)):
        present = np.ones(len(values), dtype=np.bool_) if not values.null_count else np.asarray(values.is_valid())
        if pa.types.is_int64(values.type) and not values.null_count:
            numbers = values.to_numpy().astype(np.float64)
        else:
            doubles = values if pa.types.is_float64(values.type) else values.cast(pa.float64(), safe=False)
            numbers = doubles.to_numpy(zero_copy_only=False)
        return Packed(numbers, present, () if column.unit is None else (column.unit,), bare=column.unit)
    if is_text(values.type):
        texts = values.cast(pa.string()).to_numpy(zero_copy_only=False).tolist()
        return cells_of(column.kind, texts, bare=column.unit, text=False)
    return [ABSENT if cell is None else _given(cell) for cell in values.to_pylist()]


def _given(cell: object) -> object:
    """A list or a table without the nulls that stand for what a row of it leaves out."""
    if isinstance(cell, list):
        return [_given(each) for each in cell]
    return {name: value for name, value in cell.items() if value is not None} if isinstance(cell, dict) else cell
