"""A recorded flight of a million samples, beside libraries that only read its bytes."""

from __future__ import annotations

import contextlib
import io
import json
import socket
import time
from collections.abc import Callable
from typing import Final

from benchmarks.exchange import Exchange, exchange, post
from benchmarks.options import Options
from benchmarks.processes import Server, WorkersChanged, cpu_used
from benchmarks.report import Report, median
from benchmarks.servers import OURS, VERSIONS

PATH: Final = "/v1/flight-log/log?cells=4&capacity=30000"
MEDIA: Final = {
    "csv": "text/csv",
    "ndjson": "application/x-ndjson",
    "json": "application/json",
    "arrow": "application/vnd.apache.arrow.stream",
}
HERTZ: Final = 1000
WARM_UPS: Final = 2


def written(samples: int) -> dict[str, bytes]:
    """Return an invented recording in every format: hover, and full throttle every 25 seconds."""
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
    """Return a function for each format that reads the bytes, and nothing more."""
    import numpy
    import polars
    from pyarrow import ipc

    return {
        "csv": lambda raw: polars.read_csv(io.BytesIO(raw)),
        "ndjson": lambda raw: polars.read_ndjson(raw),
        "json": lambda raw: {name: numpy.array(values) for name, values in json.loads(raw).items()},
        "arrow": lambda raw: ipc.open_stream(raw).read_all().combine_chunks(),
    }


def run(report: Report, options: Options, servers: dict[str, Server]) -> None:
    """Read the bytes by a library and send them to the service, in turn."""
    samples = options.rows
    report.section = f"A recording of {samples:,} samples: reading it by a library alone / its response, by CPU time"
    bodies, read = written(samples), parsers()
    for name, server in servers.items():
        if name not in VERSIONS:
            continue
        for form, body in bodies.items():
            alone: list[tuple[float, float]] = []
            responded: list[tuple[float, float]] = []
            for _ in range(WARM_UPS):  # until each worker has loaded what it needs
                _send(server, form, body)
            for _ in range(options.table_rounds):
                began, cpu = time.perf_counter(), time.process_time()
                read[form](body)
                alone.append((time.perf_counter() - began, time.process_time() - cpu))
                before = server.cpu_times()
                received = _send(server, form, body)
                if received.status != 200:
                    report.missing(f"{name}: {form}", f"status {received.status}")
                    break
                with contextlib.suppress(WorkersChanged):
                    responded.append((received.seconds, cpu_used(before, server.cpu_times())))
            (reading, reading_cpu), (response, response_cpu) = (_columns(rounds) for rounds in (alone, responded))
            target, by_time = 0.5 if name == OURS else None, median(reading) / median(response)
            report.ratio(f"{name}: {form}", reading_cpu, response_cpu, target, by_time=by_time)
            text = f"{median(reading) * 1e3:7.0f} ms to read it, {median(response) * 1e3:7.0f} ms to answer it"
            report.figure(f"{name}: {form}, {len(body) / 1e6:.0f} MB", text)


def _send(server: Server, form: str, body: bytes) -> Exchange:
    with socket.create_connection(server.address) as connection:
        return exchange(connection, [post(PATH, MEDIA[form], "application/json", len(body)), body])


def _columns(rounds: list[tuple[float, float]]) -> tuple[list[float], list[float]]:
    return [seconds for seconds, _ in rounds], [cpu for _, cpu in rounds]
