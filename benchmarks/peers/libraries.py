"""Tables by the libraries alone: bytes in, numpy between, bytes out. The fastest honest pair of each format.

For arrays of JSON objects msgspec's structs read faster than polars (half as fast), orjson and pyarrow (which reads no
arrays). polars writes faster than orjson and msgspec, which need a dictionary for each row, and it writes lines three
times as fast as arrays: its lines are joined by commas, which is safe, since text in JSON holds no bare line end.
"""

from __future__ import annotations

import gc
import io
from collections.abc import Callable, Mapping
from operator import attrgetter
from typing import Any, Final

import msgspec
import numpy as np
import polars
import pyarrow
from pyarrow import ipc

from benchmarks.pack_inputs import INPUTS
from benchmarks.peers.columns import CAUTION_TEXTS, caution_numbers, solve


class Row(msgspec.Struct, gc=False):
    """A row of a JSON array."""

    cells: int
    capacity: float
    pack_power: float
    state_of_charge: float
    cell_resistance: float
    discharge_rating: float


ROWS: Final = msgspec.json.Decoder(list[Row])
TEXTS: Final = polars.Series(CAUTION_TEXTS)


def arrow(body: bytes) -> memoryview:
    """Arrow by pyarrow, a record batch at a time."""
    sink = pyarrow.BufferOutputStream()
    writer: Any = None
    codes = pyarrow.array(CAUTION_TEXTS)
    for batch in ipc.open_stream(body):
        found = solve({name: batch.column(name).to_numpy(zero_copy_only=False) for name in INPUTS})
        cautions = codes.take(pyarrow.array(caution_numbers(found)))
        error = pyarrow.nulls(batch.num_rows, pyarrow.string())
        answer = pyarrow.record_batch([*map(pyarrow.array, found.values()), cautions, error], [*found, *LAST])
        writer = writer or ipc.new_stream(sink, answer.schema)
        writer.write_batch(answer)
    writer.close()
    return memoryview(sink.getvalue())


LAST: Final = ("cautions", "error")


def _frame(found: Mapping[str, Any]) -> polars.DataFrame:
    bits = caution_numbers(dict(found))
    frame = polars.DataFrame(dict(found))
    return frame.with_columns(
        TEXTS.gather(bits).alias("cautions"), polars.lit(None, dtype=polars.String).alias("error")
    )


def _solved(frame: polars.DataFrame) -> polars.DataFrame:
    return _frame(solve({name: frame[name].to_numpy() for name in INPUTS}))


def csv(body: bytes) -> bytes:
    """CSV by polars."""
    sink = io.BytesIO()
    _solved(polars.read_csv(body)).write_csv(sink)
    return sink.getvalue()


def csv_units(body: bytes) -> bytes:
    """CSV by polars, the unit cut off the capacity, which is taken to be the same in all rows."""
    sink = io.BytesIO()
    words = polars.col("capacity").str.strip_suffix(" mAh").cast(polars.Float64)
    _solved(polars.read_csv(body).with_columns(words)).write_csv(sink)
    return sink.getvalue()


def ndjson(body: bytes) -> bytes:
    """Read and write NDJSON with polars."""
    sink = io.BytesIO()
    _solved(polars.read_ndjson(body)).write_ndjson(sink)
    return sink.getvalue()


def json(body: bytes) -> memoryview:
    """Read an array of objects with msgspec, and write it with polars."""
    collects = gc.isenabled()
    gc.disable()  # a million young objects would be searched for rings again and again
    try:
        rows = ROWS.decode(body)
    finally:
        if collects:
            gc.enable()
    read = {name: np.fromiter(map(attrgetter(name), rows), float, len(rows)) for name in INPUTS}
    del rows
    sink = io.BytesIO()
    sink.write(b"[")
    _frame(solve(read)).write_ndjson(sink)
    written = sink.getbuffer()
    characters = np.frombuffer(written, np.uint8)
    characters[characters == ord("\n")] = ord(",")
    characters[-1] = ord("]")
    return written


PAIRS: Final[Mapping[str, Callable[[bytes], bytes | memoryview]]] = {
    "arrow": arrow,
    "csv": csv,
    "csv-units": csv_units,
    "ndjson": ndjson,
    "json": json,
}
