"""A child process that computes tables without HTTP: `python -m benchmarks.table_worker`.

It reads NDJSON, ``{"job": ..., "kind": ..., "file": ...}``, runs the job on the bytes of the file, read
beforehand, and writes a line: ``{"seconds": ..., "cpu": ...}`` or ``{"error": ...}``. It is a process of its own so
that the number of threads of polars can be set and no load generator shares its memory.
"""

from __future__ import annotations

import functools
import json
import os
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from benchmarks.processes import start_child, stop_child


class TableWorker:
    """A handle of such a child process."""

    def __init__(self, threads: int | None = None) -> None:
        chosen = {"POLARS_MAX_THREADS": str(threads), "OMP_NUM_THREADS": str(threads)} if threads else {}
        self._child: subprocess.Popen[str] = start_child("benchmarks.table_worker", environment=chosen)

    def seconds(self, job: str, kind: str, file: Path) -> tuple[float, float]:
        """Run a job; return its elapsed time and its CPU time [s]. Raises RuntimeError with the error of the job."""
        assert self._child.stdin is not None
        assert self._child.stdout is not None
        self._child.stdin.write(json.dumps({"job": job, "kind": kind, "file": str(file)}) + "\n")
        self._child.stdin.flush()
        line = self._child.stdout.readline()
        result = json.loads(line) if line else {"error": "the process ended"}
        if "error" in result:
            raise RuntimeError(result["error"])
        return float(result["seconds"]), float(result["cpu"])

    def stop(self) -> None:
        """End the child."""
        stop_child(self._child)


@functools.cache
def prepared(job: str, kind: str, file: str) -> Callable[[], Any]:
    """Return the job as a function, with everything loaded that is not measured."""
    body = Path(file).read_bytes()
    if job == "numpy":
        from pyarrow import ipc

        from benchmarks.peers.columns import solve

        table = ipc.open_stream(body).read_all()
        columns = {name: table[name].to_numpy() for name in table.column_names}
        return functools.partial(solve, columns)
    if job == "libraries":
        from benchmarks.peers.libraries import PAIRS

        return functools.partial(PAIRS[kind], body)
    if job == "rows":
        from benchmarks.peers.rows import row_by_row

        return functools.partial(row_by_row, body)
    from benchmarks.in_process import batch

    return functools.partial(batch(), body, kind)


def main() -> None:
    """Run the jobs of standard input until it ends."""
    out = os.fdopen(os.dup(sys.stdout.fileno()), "w")
    made: list[Any] = []
    for line in sys.stdin:
        order = json.loads(line)
        try:
            work = prepared(order["job"], order["kind"], order["file"])
            start, cpu = time.perf_counter(), time.process_time()
            made[:] = [work()]  # freed when the next is made: memory is warm, as in a long-running program
            seconds, cpu = time.perf_counter() - start, time.process_time() - cpu
            out.write(json.dumps({"seconds": seconds, "cpu": cpu}) + "\n")
        except Exception as error:  # any error is reported to the other end
            out.write(json.dumps({"error": f"{type(error).__name__}: {error}"}) + "\n")
        out.flush()


if __name__ == "__main__":
    main()
