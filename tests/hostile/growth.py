"""A program that sends what unfolds the furthest to the application, and prints by how many bytes it grew at most."""

from __future__ import annotations

import importlib
from pathlib import Path

import pyarrow as pa

from gramwatt.web import create_app


def largest() -> int:
    """Return the most memory that this process ever had, in bytes."""
    status = Path("/proc/self/status").read_text()
    return 1024 * int(next(line.split()[1] for line in status.splitlines() if line.startswith("VmHWM")))


if __name__ == "__main__":
    made = importlib.import_module("test_decoders")
    client = create_app().test_client()
    client.post(f"{made.BATCH}?keep=*", data=made.stream(made.plain(20_000)), content_type=made.ARROW)
    client.post(made.LOG, data=made.stream(made.recording(20_000)), content_type=made.ARROW)
    tables, recordings = [build() for build in made.TABLES.values()], [build() for build in made.RECORDINGS.values()]
    pa.default_memory_pool().release_unused()
    Path("/proc/self/clear_refs").write_text("5")
    before = largest()
    for body in tables:
        client.post(f"{made.BATCH}?keep=*", data=body, content_type=made.ARROW)
    for body in recordings:
        client.post(made.LOG, data=body, content_type=made.ARROW)
    print(largest() - before)
