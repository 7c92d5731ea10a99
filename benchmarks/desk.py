"""A child process that does tables without HTTP, when told: `python -m benchmarks.desk`.

It reads a line of JSON, ``{"job": ..., "kind": ..., "file": ...}``, does the job on the file's bytes, which it has in
memory beforehand, and writes a line: ``{"seconds": ..., "cpu": ...}`` or ``{"error": ...}``. Its own process, so that
polars' number of threads can be set and no load generator shares its memory.
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


class Desk:
    """The other end: starts such a child and tells it what to do."""

    def __init__(self, threads: int | None = None) -> None:
        chosen = {"POLARS_MAX_THREADS": str(threads), "OMP_NUM_THREADS": str(threads)} if threads else {}
        self._child: subprocess.Popen[str] = start_child("benchmarks.desk", environment=chosen)

    def seconds(self, job: str, kind: str, file: Path) -> tuple[float, float]:
        """How long a job took, and its processor time. Raises RuntimeError with what was wrong."""
        assert self._child.stdin is not None
        assert self._child.stdout is not None
        self._child.stdin.write(json.dumps({"job": job, "kind": kind, "file": str(file)}) + "\n")
        self._child.stdin.flush()
        line = self._child.stdout.readline()
        told = json.loads(line) if line else {"error": "the process ended"}
        if "error" in told:
            raise RuntimeError(told["error"])
        return float(told["seconds"]), float(told["cpu"])

    def stop(self) -> None:
        """End the child."""
        stop_child(self._child)


@functools.cache
def prepared(job: str, kind: str, file: str) -> Callable[[], Any]:
    """The job with everything loaded that is not to be measured."""
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
    from benchmarks.ours import batch

    return functools.partial(batch(), body, kind)


def main() -> None:
    """Do what standard input says until it ends."""
    out = os.fdopen(os.dup(sys.stdout.fileno()), "w")
    made: list[Any] = []
    for line in sys.stdin:
        told = json.loads(line)
        try:
            work = prepared(told["job"], told["kind"], told["file"])
            start, cpu = time.perf_counter(), time.process_time()
            made[:] = [work()]  # kept until the next is made, so that memory is warm, as in a program that goes on
            seconds, cpu = time.perf_counter() - start, time.process_time() - cpu
            out.write(json.dumps({"seconds": seconds, "cpu": cpu}) + "\n")
        except Exception as error:  # told to the other end, whatever it is
            out.write(json.dumps({"error": f"{type(error).__name__}: {error}"}) + "\n")
        out.flush()


if __name__ == "__main__":
    main()
