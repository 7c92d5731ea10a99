"""Programs that the benchmark starts: each a group of processes that ends with it. Needs Linux and its /proc."""

from __future__ import annotations

import atexit
import contextlib
import ctypes
import os
import re
import signal
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import IO, Any, Final

ROOT: Final = Path(__file__).resolve().parents[1]
START_TIMEOUT: Final = 30.0
_LIBC: Final = ctypes.CDLL(None)
_started: list[Server] = []


class WorkersChanged(Exception):
    """The processes of a server are not those at the start of a measurement."""


class DidNotStart(Exception):
    """A server ended, or did not answer in time; the text is its last output."""


class Server:
    """A server on a loopback port of its own; ``probe`` is a URL that it answers with status 200."""

    def __init__(self, name: str, command: Sequence[str], environment: Mapping[str, str], probe: str) -> None:
        self.name = name
        self.port = free_port()
        self.address = ("127.0.0.1", self.port)
        self.command = [each.replace("{port}", str(self.port)) for each in command]
        self.environment = {**os.environ, "PYTHONDONTWRITEBYTECODE": "1", **environment}
        self.probe = probe
        self._output: IO[bytes] | None = None
        self._process: subprocess.Popen[bytes] | None = None

    def start(self) -> float:
        """Start it and wait for a first response; return the seconds that took. Raises DidNotStart."""
        self._output = tempfile.TemporaryFile()  # noqa: SIM115 - closed by stop
        began = time.perf_counter()
        self._process = subprocess.Popen(
            self.command,
            cwd=ROOT,
            env=self.environment,
            stdin=subprocess.DEVNULL,
            stdout=self._output,
            stderr=subprocess.STDOUT,
            start_new_session=True,
            preexec_fn=end_with_parent,  # one thread here, so this is safe
        )
        _started.append(self)
        request = f"GET {self.probe} HTTP/1.1\r\nHost: 127.0.0.1\r\nConnection: close\r\n\r\n".encode()
        while time.perf_counter() - began < START_TIMEOUT:
            with contextlib.suppress(OSError), socket.create_connection(self.address, timeout=5) as connection:
                connection.sendall(request)
                if connection.recv(12).endswith(b" 200"):
                    return time.perf_counter() - began
            if self._process.poll() is not None:
                break
            time.sleep(0.002)
        output = self.output()
        self.stop()
        raise DidNotStart(output or "it did not answer")

    def output(self) -> str:
        """Return the last lines that it wrote."""
        if self._output is None:
            return ""
        self._output.seek(0)
        return "\n".join(self._output.read().decode("utf-8", "replace").strip().splitlines()[-3:])

    def terminate(self) -> None:
        """Send SIGTERM and do not wait."""
        if self._process is not None:
            with contextlib.suppress(ProcessLookupError, PermissionError):
                os.killpg(self._process.pid, signal.SIGTERM)

    def stop(self) -> None:
        """Stop it and everything that it started: SIGTERM first, then SIGKILL."""
        if self._process is None:
            return
        for sent in (signal.SIGTERM, signal.SIGKILL):
            with contextlib.suppress(ProcessLookupError, PermissionError):
                os.killpg(self._process.pid, sent)
            with contextlib.suppress(subprocess.TimeoutExpired):
                self._process.wait(5)
                if sent == signal.SIGTERM and not descendants(self._process.pid):
                    break
        with contextlib.suppress(ProcessLookupError, PermissionError):
            os.killpg(self._process.pid, signal.SIGKILL)  # a worker that outlived its master
        self._process = None
        if self._output is not None:
            self._output.close()
            self._output = None
        if self in _started:
            _started.remove(self)

    def processes(self) -> list[int]:
        """Return the master and all its descendants."""
        return [] if self._process is None else [self._process.pid, *descendants(self._process.pid)]

    def workers(self) -> list[int]:
        """Return the descendants that answer requests: helper processes left out."""
        return [process for process in self.processes()[1:] if b"resource_tracker" not in _command_line(process)]

    def cpu_times(self) -> dict[int, float]:
        """Return the CPU time [s] of each of its processes so far."""
        return {process: cpu_seconds(process) for process in self.processes()}


def end_with_parent() -> None:
    """Have the kernel terminate this process when the benchmark ends, however it ends."""
    _LIBC.prctl(1, signal.SIGTERM)


def start_child(module: str, *arguments: str, environment: Mapping[str, str] | None = None) -> subprocess.Popen[str]:
    """Start a module of the benchmark as a process of its own, connected by its standard input and output."""
    child = subprocess.Popen(
        [sys.executable, "-m", module, *arguments],
        cwd=ROOT,
        env={**os.environ, **(environment or {})},
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
        start_new_session=True,
        preexec_fn=end_with_parent,
    )
    atexit.register(stop_child, child)
    return child


def stop_child(child: subprocess.Popen[Any]) -> None:
    """End a child of `start_child`."""
    if child.poll() is None:
        with contextlib.suppress(ProcessLookupError):
            os.killpg(child.pid, signal.SIGKILL)
        child.wait(5)


@atexit.register
def stop_all() -> None:
    """End every server that still runs."""
    for server in _started:
        server.terminate()
    for server in list(_started):
        server.stop()


def free_port() -> int:
    """Return a loopback port that nobody listens on."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def descendants(process: int) -> list[int]:
    """Return every descendant of a process."""
    found: list[int] = []
    with contextlib.suppress(OSError):
        for task in Path(f"/proc/{process}/task").iterdir():
            found += [int(child) for child in (task / "children").read_text().split()]
    return [*found, *(below for child in list(found) for below in descendants(child))]


def cpu_seconds(process: int) -> float:
    """Return the CPU time of one process, ended threads included [s], exact to less than a microsecond; 0 if ended."""
    clock = ctypes.c_int()
    if _LIBC.clock_getcpuclockid(process, ctypes.byref(clock)):
        return 0.0
    with contextlib.suppress(OSError):
        return time.clock_gettime(clock.value)
    return 0.0


def cpu_used(before: Mapping[int, float], after: Mapping[int, float]) -> float:
    """Return the CPU time [s] between two `Server.cpu_times`.

    Raises WorkersChanged where a process ended or began in between: what it used would be wrong or missing.
    """
    if before.keys() != after.keys():
        raise WorkersChanged("a worker ended or began meanwhile")
    return sum(after.values()) - sum(before.values())


def peak_memory(process: int) -> float:
    """Return its peak resident memory since it started [MB]."""
    return _memory(f"/proc/{process}/status", "VmHWM")


def shared_out_memory(process: int) -> float:
    """Return its proportional set size, PSS: shared pages count in part [MB]."""
    return _memory(f"/proc/{process}/smaps_rollup", "Pss")


def open_connections(process: int, port: int) -> int:
    """Return the number of connections to a port that one process holds."""
    holders = set()
    for descriptor in Path(f"/proc/{process}/fd").iterdir():
        with contextlib.suppress(OSError):
            found = re.fullmatch(r"socket:\[(\d+)\]", os.readlink(descriptor))
            if found:
                holders.add(found[1])
    local = f"0100007F:{port:04X}"
    lines = (line.split() for line in Path("/proc/net/tcp").read_text().splitlines()[1:])
    return sum(1 for fields in lines if fields[1] == local and fields[3] == "01" and fields[9] in holders)


def busy(seconds: float = 0.5) -> float:
    """Return the share of the machine's CPU time that all programs together use [%]."""
    used, whole = _jiffies()
    time.sleep(seconds)
    used_now, whole_now = _jiffies()
    return 100 * (used_now - used) / max(1, whole_now - whole)


def _jiffies() -> tuple[int, int]:
    fields = [int(field) for field in Path("/proc/stat").read_text().splitlines()[0].split()[1:9]]
    return sum(fields) - fields[3] - fields[4], sum(fields)


def _memory(path: str, name: str) -> float:
    try:
        found = re.search(rf"^{name}:\s+(\d+) kB", Path(path).read_text(), re.MULTILINE)
    except OSError:
        return float("nan")
    return int(found[1]) / 1000 * 1.024 if found else float("nan")


def _command_line(process: int) -> bytes:
    try:
        return Path(f"/proc/{process}/cmdline").read_bytes()
    except OSError:
        return b""
