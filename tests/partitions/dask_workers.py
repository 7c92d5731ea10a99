"""A Dask scheduler and workers in processes of their own, for tests to use and to kill."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import distributed


class Cluster:
    """A scheduler and workers without anybody who would start them again."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        described = folder / "scheduler.json"
        self.scheduler = self._start("scheduler", "--port", "0", "--scheduler-file", described)
        self.workers: list[subprocess.Popen[bytes]] = []
        try:
            wait_for(lambda: described.exists() and described.read_bytes().endswith(b"}"), self.scheduler)
        except BaseException:
            self.end()
            raise
        self.address: str = json.loads(described.read_bytes())["address"]

    def _start(self, role: str, *arguments: object) -> subprocess.Popen[bytes]:
        command = [sys.executable, "-m", f"distributed.cli.dask_{role}", *map(str, arguments), "--no-dashboard"]
        command += ["--host", "127.0.0.1"]
        paths = [path for path in sys.path if path]  # so that workers find what the tests do
        environment = {**os.environ, "PYTHONPATH": os.pathsep.join(paths)}
        with open(self._folder / f"{role}.log", "ab") as log:
            return subprocess.Popen(command, stdout=log, stderr=log, cwd=self._folder, env=environment)

    def join(self) -> subprocess.Popen[bytes]:
        """One more worker."""
        arguments = (self.address, "--nthreads", "1", "--no-nanny", "--local-directory", self._folder)
        self.workers.append(self._start("worker", *arguments))
        return self.workers[-1]

    def complete(self) -> None:
        """Two workers, in place of those that a test has killed."""
        self.workers = [worker for worker in self.workers if worker.poll() is None]
        while len(self.workers) < 2:
            self.join()
        library: Any = distributed
        client = library.Client(self.address, timeout=60, set_as_default=False)
        try:
            wait_for(lambda: len(client.nthreads()) == 2, self.scheduler)
        finally:
            client.close()

    def end(self) -> None:
        for process in (*self.workers, self.scheduler):
            process.kill()
            process.wait()


def wait_for(ready: Callable[[], bool], process: subprocess.Popen[bytes]) -> None:
    for _ in range(1200):
        if ready():
            return
        assert process.poll() is None, "it ended"
        time.sleep(0.05)
    raise AssertionError("not ready after 1200 tries")


@contextmanager
def two_workers(folder: Path) -> Iterator[Cluster]:
    """Start a cluster, and wait for its two workers."""
    made = Cluster(folder)
    try:
        made.complete()
        yield made
    finally:
        made.end()
