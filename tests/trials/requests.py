"""One HTTP request as the trials send it, and builders of bodies."""

from __future__ import annotations

import io
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Final

import pyarrow as pa

JSON: Final = "application/json"
CSV: Final = "text/csv"
NDJSON: Final = "application/x-ndjson"
ARROW: Final = "application/vnd.apache.arrow.stream"
FORM: Final = "application/x-www-form-urlencoded"
MULTIPART: Final = "multipart/form-data; boundary=x"


@dataclass(frozen=True, slots=True)
class Request:
    """A request that a client sends; ``body`` None sends none."""

    method: str
    target: str
    body: bytes | None = None
    headers: Mapping[str, str] = field(default_factory=dict)

    def describe(self) -> str:
        """Describe the request in a few hundred characters."""
        body = self.body or b""
        return f"{self.method} {self.target[:300]} {dict(self.headers)} {len(body):,d} bytes: {body[:300]!r}"


def get(target: str) -> Request:
    """Build a GET."""
    return Request("GET", target)


def post(target: str, body: bytes, content_type: str) -> Request:
    """Build a POST with a body of a content type."""
    return Request("POST", target, body, {"Content-Type": content_type})


def post_json(target: str, value: object) -> Request:
    """Build a POST with a JSON body."""
    return post(target, json.dumps(value).encode("utf-8", "surrogatepass"), JSON)


def arrow_stream(columns: Mapping[str, Any], *, compression: str | None = None, batches: int = 1) -> bytes:
    """Write columns as an Arrow IPC stream: the same batch some times."""
    batch = pa.RecordBatch.from_arrays(list(columns.values()), names=list(columns))
    sink, options = io.BytesIO(), pa.ipc.IpcWriteOptions(compression=compression, allow_64bit=True)
    with pa.ipc.new_stream(sink, batch.schema, options=options) as writer:
        for _ in range(batches):
            writer.write_batch(batch)
    return sink.getvalue()


def null_column(name: str, rows: int) -> bytes:
    """Write an Arrow stream of one null column, which takes a few hundred bytes for any number of rows."""
    return arrow_stream({name: pa.Array.from_buffers(pa.null(), rows, [None])})


def beside(columns: Mapping[str, Any], name: str, column: Any, **options: Any) -> bytes:
    """Write an Arrow stream of a column beside others, which have one value for all rows."""
    constants = {key: pa.array([value] * len(column)) for key, value in columns.items()}
    return arrow_stream({**constants, name: column}, **options)


def raw_column(kind: pa.DataType, values: Sequence[int], width: int) -> Any:
    """Make a column of a type from integers of ``width`` bytes, which need not be valid values of it."""
    raw = b"".join(value.to_bytes(width, "little", signed=True) for value in values)
    return pa.Array.from_buffers(kind, len(values), [None, pa.py_buffer(raw)])


def dictionary_column(rows: int, size: int) -> Any:
    """Make a dictionary column of one long text that every row refers to."""
    return pa.DictionaryArray.from_arrays(pa.array([0] * rows, pa.int8()), pa.array(["x" * size]))


def text_column(offsets: Sequence[int], text: bytes) -> Any:
    """Make a text column from its offsets and bytes, which need not be valid."""
    where = b"".join(offset.to_bytes(4, "little", signed=True) for offset in offsets)
    return pa.Array.from_buffers(pa.string(), len(offsets) - 1, [None, pa.py_buffer(where), pa.py_buffer(text)])
