"""A recorded flight of a million samples: how long its answer takes beside what only reads the bytes."""

from __future__ import annotations

import io
import json
import socket
import time
from collections.abc import Callable
from typing import Final

from benchmarks.exchange import exchange, post
from benchmarks.options import Options
from benchmarks.processes import Server
from benchmarks.report import Book, middle
from benchmarks.servers import SHAPES

PATH: Final = "/v1/flight-log/log?cells=4&capacity=30000"
MEDIA: Final = {
    "csv": "text/csv",
    "ndjson": "application/x-ndjson",
    "json": "application/json",
    "arrow": "application/vnd.apache.arrow.stream",
}
HERTZ: Final = 1000


def written(samples: int) -> dict[str, bytes]:
    """An invented recording in every format: hover, and a punch every 25 seconds."""
    import numpy
    import polars
    from pyarrow import ipc

    chance = numpy.random.default_rng(5)
    time_ = numpy.arange(samples) / HERTZ
    throttle = 0.3 + 0.08 * numpy.sin(0.7 * time_)
    throttle[(time_ % 25) < 2] = 0.9
    current = 45 * throttle**1.8
    voltage = 16.5 - 1.5 * time_ / time_[-1] - 0.05 * current + chance.normal(0, 0.02, samples)
    current = current + chance.normal(0, 0.1, samples)
    frame = polars.DataFrame({"time": time_, "voltage": voltage.round(3), "current": current.round(2)})
    made: dict[str, bytes] = {}
    for form in MEDIA:
        sink = io.BytesIO()
        if form == "csv":
            frame.write_csv(sink)
        elif form == "ndjson":
            frame.write_ndjson(sink)
        elif form == "json":
            sink.write(json.dumps({name: frame[name].to_list() for name in frame.columns}).encode())
        else:
            table = frame.to_arrow()
            with ipc.new_stream(sink, table.schema) as stream:
                stream.write_table(table, max_chunksize=65_536)
        made[form] = sink.getvalue()
    return made


def parsers() -> dict[str, Callable[[bytes], object]]:
    """What reads the bytes of each format, and nothing more."""
    import numpy
    import polars
    from pyarrow import ipc

    return {
        "csv": lambda raw: polars.read_csv(io.BytesIO(raw)),
        "ndjson": lambda raw: polars.read_ndjson(raw),
        "json": lambda raw: {name: numpy.array(values) for name, values in json.loads(raw).items()},
        "arrow": lambda raw: ipc.open_stream(raw).read_all().combine_chunks(),
    }


def run(book: Book, options: Options, servers: dict[str, Server]) -> None:
    """Read the bytes, and have them answered, in turn."""
    samples = options.rows
    book.section = f"A recording of {samples:,} samples: time to read it by a library alone / time of its answer"
    bodies, read = written(samples), parsers()
    for name, server in servers.items():
        if name not in SHAPES:
            continue
        for form, body in bodies.items():
            alone: list[float] = []
            answered: list[float] = []
            for _ in range(options.table_rounds):
                began = time.perf_counter()
                read[form](body)
                alone.append(time.perf_counter() - began)
                with socket.create_connection(server.address) as connection:
                    got = exchange(connection, [post(PATH, MEDIA[form], "application/json", len(body)), body])
                if got.status != 200:
                    book.missing(f"{name}: {form}", f"status {got.status}")
                    break
                answered.append(got.seconds)
            book.ratio(f"{name}: {form}", alone, answered, 0.5)
            told = f"{middle(alone) * 1e3:7.0f} ms read, {middle(answered) * 1e3:7.0f} ms answered"
            book.figure(f"{name}: {form}, {len(body) / 1e6:.0f} MB", told)
