"""Tables of invented inputs in each format, written once into a temporary folder."""

from __future__ import annotations

from pathlib import Path
from typing import Final

import orjson

from benchmarks.pack_inputs import WITH_UNITS, Columns, columns
from benchmarks.peers.pack import RESULT_UNITS

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
    """Return the file of a table, written if it does not exist."""
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
    """Return the number of rows in a response."""
    if kind == "arrow":
        from pyarrow import ipc

        return sum(batch.num_rows for batch in ipc.open_stream(body))
    if kind == "json":
        return len(orjson.loads(body))
    lines = body.count(b"\n")
    return lines if kind == "ndjson" else lines - 1


def columns_in(body: bytes) -> Columns:
    """Return the columns of numbers in a response in Arrow."""
    from pyarrow import ipc

    table = ipc.open_stream(body).read_all()
    return {name: table[name].to_numpy() for name in RESULT_UNITS}
