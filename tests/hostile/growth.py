"""A program that sends what expands the furthest to the application, and prints by how many bytes it grew at most."""

from __future__ import annotations

from pathlib import Path

import pyarrow as pa

from gramwatt.web import create_app
from hostile.arrow_bodies import (
    ARROW,
    BATCH,
    LOG,
    RECORDINGS,
    TABLES,
    make_pack_columns,
    make_recording_columns,
    write_stream,
)


def get_peak_memory() -> int:
    """Return the peak memory of this process in bytes."""
    status = Path("/proc/self/status").read_text()
    return 1024 * int(next(line.split()[1] for line in status.splitlines() if line.startswith("VmHWM")))


if __name__ == "__main__":
    client = create_app().test_client()
    client.post(f"{BATCH}?keep=*", data=write_stream(make_pack_columns(20_000)), content_type=ARROW)
    client.post(LOG, data=write_stream(make_recording_columns(20_000)), content_type=ARROW)
    tables, recordings = [build() for build in TABLES.values()], [build() for build in RECORDINGS.values()]
    pa.default_memory_pool().release_unused()
    Path("/proc/self/clear_refs").write_text("5")
    before = get_peak_memory()
    for body in tables:
        client.post(f"{BATCH}?keep=*", data=body, content_type=ARROW)
    for body in recordings:
        client.post(LOG, data=body, content_type=ARROW)
    print(get_peak_memory() - before)
