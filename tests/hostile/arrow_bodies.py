"""Arrow streams and files that expand to far more than their bytes, and the columns to build them."""

from __future__ import annotations

import io
from collections.abc import Callable, Mapping
from typing import Any

import numpy as np
import pyarrow as pa

MAX_GROWTH = 50 * 1024 * 1024
"""Bytes by which a request may increase the memory."""
ARROW = "application/vnd.apache.arrow.stream"
BATCH = "/v1/pack-energy/batch"
LOG = "/v1/flight-log/log?cells=4&capacity=850"


def make_pack_columns(rows: int) -> dict[str, Any]:
    """Return the columns that a pack's energy needs."""
    return {"cells": pa.array([6] * rows), "capacity": pa.array([1300] * rows)}


def make_recording_columns(rows: int) -> dict[str, Any]:
    """Return the columns of a flight's recording."""
    return {
        "time": pa.array(np.arange(rows) / 10),
        "voltage": pa.array(np.full(rows, 16.0)),
        "current": pa.array(np.full(rows, 8.0)),
    }


def write_stream(columns: Mapping[str, Any], compression: str | None = None, batches: int = 1) -> bytes:
    """Return columns as an Arrow stream of equal batches."""
    batch = pa.RecordBatch.from_arrays(list(columns.values()), names=list(columns))
    sink = io.BytesIO()
    with pa.ipc.new_stream(
        sink, batch.schema, options=pa.ipc.IpcWriteOptions(compression=compression, allow_64bit=True)
    ) as writer:
        for _ in range(batches):
            writer.write_batch(batch)
    return sink.getvalue()


def write_file(columns: Mapping[str, Any], compression: str | None = None) -> bytes:
    """Return columns as an Arrow file."""
    batch = pa.RecordBatch.from_arrays(list(columns.values()), names=list(columns))
    sink = io.BytesIO()
    with pa.ipc.new_file(
        sink, batch.schema, options=pa.ipc.IpcWriteOptions(compression=compression, allow_64bit=True)
    ) as writer:
        writer.write_batch(batch)
    return sink.getvalue()


def make_nulls(rows: int) -> pa.Array:
    """Return a column of nulls, which takes no memory."""
    return pa.Array.from_buffers(pa.null(), rows, [None])


def make_dictionary(rows: int, size: int) -> pa.Array:
    """Return a dictionary column in which each row is the same long text."""
    return pa.DictionaryArray.from_arrays(pa.array(np.zeros(rows, np.int8)), pa.array(["x" * size]))


def make_views(rows: int, size: int) -> pa.Array:
    """Return a column of views, each of the same long text."""
    view = np.zeros((rows, 4), np.int32)
    view[:, 0], view[:, 1] = size, np.frombuffer(b"xxxx", np.int32)[0]
    return pa.Array.from_buffers(pa.string_view(), rows, [None, pa.py_buffer(view), pa.py_buffer(b"x" * size)])


def make_runs(rows: int, size: int) -> pa.Array:
    """Return a run of the same long text."""
    return pa.RunEndEncodedArray.from_arrays(pa.array([rows], pa.int32()), pa.array(["x" * size]))


def make_nested_type(levels: int) -> pa.DataType:
    """Return a list of lists of lists."""
    return pa.list_(make_nested_type(levels - 1)) if levels else pa.int8()


TABLES: Mapping[str, Callable[[], bytes]] = {
    "null-column-of-10^12-rows": lambda: write_stream({"cells": make_nulls(10**12)}),
    "rows-without-columns": lambda: write_stream({"note": make_nulls(10**9)}),
    "many-batches-of-nulls": lambda: write_stream({"cells": pa.nulls(200_000)}, batches=100),
    "zeros-zstd": lambda: write_stream({**make_pack_columns(10), "note": pa.array(["x" * 20_000_000] * 10)}, "zstd"),
    "zeros-lz4": lambda: write_stream({**make_pack_columns(10), "note": pa.array(["x" * 20_000_000] * 10)}, "lz4"),
    "many-batches-zstd": lambda: write_stream(
        {**make_pack_columns(10), "note": pa.array(["x" * 1_500_000] * 10)}, "zstd", batches=50
    ),
    "dictionary": lambda: write_stream(
        {**make_pack_columns(20_000), "note": make_dictionary(20_000, 64 * 1024)}, "zstd"
    ),
    "dictionary-as-an-input": lambda: write_stream(
        {"cells": make_dictionary(20_000, 64 * 1024), "capacity": make_dictionary(20_000, 9)}
    ),
    "views": lambda: write_stream({**make_pack_columns(20_000), "note": make_views(20_000, 64 * 1024)}),
    "runs": lambda: write_stream({**make_pack_columns(20_000), "note": make_runs(20_000, 64 * 1024)}),
    "runs-within-a-list": lambda: write_stream(
        {**make_pack_columns(1), "note": pa.ListArray.from_arrays([0, 20_000], make_runs(20_000, 64 * 1024))}
    ),
    "a-list-of-nulls": lambda: write_stream(
        {**make_pack_columns(1), "note": pa.FixedSizeListArray.from_arrays(make_nulls(2**30), 2**30)}
    ),
    "list-views": lambda: write_stream(
        {
            **make_pack_columns(5000),
            "note": pa.ListViewArray.from_arrays(
                pa.array(np.zeros(5000, np.int32)), pa.array(np.full(5000, 5000, np.int32)), pa.array(range(5000))
            ),
        }
    ),
    "a-dictionary-of-lists": lambda: write_stream(
        {
            **make_pack_columns(5000),
            "note": pa.DictionaryArray.from_arrays(np.zeros(5000, np.int32), pa.array([list(range(5000))])),
        }
    ),
    "many-fields": lambda: write_stream(
        {**make_pack_columns(1), "note": pa.nulls(1, pa.struct([(str(at), pa.null()) for at in range(5000)]))}
    ),
    "deep-fields": lambda: write_stream({**make_pack_columns(1), "note": pa.nulls(1, make_nested_type(30))}),
}


RECORDINGS: Mapping[str, Callable[[], bytes]] = {
    "nulls": lambda: write_stream({name: make_nulls(10**9) for name in ("time", "voltage", "current")}),
    "zeros-zstd": lambda: write_stream(
        {name: pa.array(np.zeros(4_000_000)) for name in ("time", "voltage", "current")}, "zstd"
    ),
    "zeros-zstd-in-a-file": lambda: write_file(
        {name: pa.array(np.zeros(4_000_000)) for name in ("time", "voltage", "current")}, "zstd"
    ),
    "nulls-in-a-file": lambda: write_file({name: make_nulls(10**9) for name in ("time", "voltage", "current")}),
    "dictionary": lambda: write_stream({**make_recording_columns(20_000), "time": make_dictionary(20_000, 64 * 1024)}),
    "views-in-a-file": lambda: write_file({**make_recording_columns(20_000), "time": make_views(20_000, 64 * 1024)}),
}
