"""The metrics files of the workers; those of ended workers are merged, so that they stay few.

prometheus_client has a file for each kind of metric and each process, and adds them up when they are read. A merged
file is another of the same form. A lock excludes readers while files are merged, since they would read counts twice.
"""

from __future__ import annotations

import contextlib
import json
import struct
from collections.abc import Iterator
from pathlib import Path
from typing import Final

from prometheus_client.mmap_dict import MmapedDict

METRIC_TYPES: Final = ("counter", "histogram")
"""The types of metric that `metrics` has; their values are added up."""


@contextlib.contextmanager
def lock_folder(folder: Path, *, shared: bool) -> Iterator[None]:
    """Hold the lock of a folder, shared with other readers or exclusively."""
    import fcntl  # not on Windows, where several processes do not share a socket

    with (folder / "lock").open("ab") as lock:
        fcntl.flock(lock, fcntl.LOCK_SH if shared else fcntl.LOCK_EX)
        yield


def merge_ended_worker(folder: Path, pid: int) -> None:
    """Add the counts of an ended process to the merged ones, and remove its files."""
    with lock_folder(folder, shared=False):
        for kind in METRIC_TYPES:
            ended, merged, new = (folder / f"{kind}_{name}" for name in (f"{pid}.db", "ended.db", "ended.new"))
            if not ended.exists():
                continue
            values = _read(merged)
            for key, (value, timestamp) in _read(ended).items():
                before, latest = values.get(key, (0.0, 0.0))
                values[key] = before + value, max(latest, timestamp)
            new.unlink(missing_ok=True)
            target = MmapedDict(str(new))  # type: ignore[no-untyped-call]
            for key, (value, timestamp) in values.items():
                target.write_value(key, value, timestamp)  # type: ignore[no-untyped-call]
            target.close()  # type: ignore[no-untyped-call]
            new.replace(merged)
            ended.unlink()


def _read(path: Path) -> dict[str, tuple[float, float]]:
    """Return values with timestamps by key; none if a file is missing, or broken since its process ended abruptly."""
    values: dict[str, tuple[float, float]] = {}
    with contextlib.suppress(FileNotFoundError, RuntimeError, ValueError, struct.error):
        for key, value, timestamp, _ in MmapedDict.read_all_values_from_file(str(path)):  # type: ignore[no-untyped-call]
            json.loads(key)  # a broken one would break every reader of the merged file
            values[key] = value, timestamp
    return values
