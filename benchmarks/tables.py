"""Tables of invented questions as the bytes of each format, written once into a folder that goes away again."""

from __future__ import annotations

from pathlib import Path
from typing import Final

import orjson

from benchmarks.peers.pack import RESULT_UNITS
from benchmarks.questions import WITH_UNITS, Columns, columns

MEDIA: Final = {
    "arrow": "application/vnd.apache.arrow.stream",
    "csv": "text/csv",
    "ndjson": "application/x-ndjson",
    "json": "application/json",
    "csv-units": "text/csv",
}
"""Media type by format; csv-units is CSV whose capacity column holds texts such as ``1300 mAh``."""

BATCH_ROWS: Final = 65_536  # rows in each record batch of Arrow


def write(folder: Path, kind: str, rows: int) -> Path:
    """A table in a format as a file, made if it is not there yet."""
    import polars
    import pyarrow
    from pyarrow import ipc

    path = folder / f"{rows}.{kind}"
    if path.exists():
        return path
    made = columns(rows)
    frame = polars.DataFrame(dict(made))
    if kind == "arrow":
        table = pyarrow.table(dict(made))
        with ipc.new_stream(str(path), table.schema) as stream:
            stream.write_table(table, max_chunksize=BATCH_ROWS)
    elif kind == "ndjson":
        frame.write_ndjson(path)
    elif kind == "json":
        frame.write_json(path)
    else:
        if kind == "csv-units":
            words = polars.format("{} " + WITH_UNITS["capacity"], polars.col("capacity")).alias("capacity")
            frame = frame.with_columns(words)
        frame.write_csv(path)
    return path


def rows_in(body: bytes, kind: str) -> int:
    """How many rows an answer holds."""
    if kind == "arrow":
        from pyarrow import ipc

        return sum(batch.num_rows for batch in ipc.open_stream(body))
    if kind == "json":
        return len(orjson.loads(body))
    lines = body.count(b"\n")
    return lines if kind == "ndjson" else lines - 1


def columns_in(body: bytes) -> Columns:
    """The columns of numbers in an answer of Arrow."""
    from pyarrow import ipc

    table = ipc.open_stream(body).read_all()
    return {name: table[name].to_numpy() for name in RESULT_UNITS}
