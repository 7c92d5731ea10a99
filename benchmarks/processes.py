"""Programs that the benchmark starts: as a group of processes that ends with it, measured through /proc (Linux)."""

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
TICK: Final = os.sysconf("SC_CLK_TCK")
PATIENCE: Final = 20.0
_started: list[Server] = []


class DidNotStart(Exception):
    """A server that ended, or did not answer in time; the text is what it said."""


class Server:
    """A server on a loopback port of its own; ``answers`` is the path that tells that it is there."""

    def __init__(self, name: str, command: Sequence[str], environment: Mapping[str, str], answers: str) -> None:
        self.name = name
        self.port = free_port()
        self.address = ("127.0.0.1", self.port)
        self.command = [each.replace("{port}", str(self.port)) for each in command]
        self.environment = {**os.environ, "PYTHONDONTWRITEBYTECODE": "1", **environment}
        self.answers = answers
        self._said: IO[bytes] = tempfile.TemporaryFile()  # noqa: SIM115 - closed by stop
        self._process: subprocess.Popen[bytes] | None = None

    def start(self) -> float:
        """Start it and wait for a first answer; the seconds that took. Raises DidNotStart."""
        began = time.perf_counter()
        self._process = subprocess.Popen(
            self.command,
            cwd=ROOT,
            env=self.environment,
            stdin=subprocess.DEVNULL,
            stdout=self._said,
            stderr=subprocess.STDOUT,
            start_new_session=True,
            preexec_fn=end_with_parent,  # one thread here, so this is safe
        )
        _started.append(self)
        request = f"GET {self.answers} HTTP/1.1\r\nHost: 127.0.0.1\r\nConnection: close\r\n\r\n".encode()
        while time.perf_counter() - began < PATIENCE:
            with contextlib.suppress(OSError), socket.create_connection(self.address, timeout=5) as connection:
                connection.sendall(request)
                if connection.recv(12).endswith(b" 200"):
                    return time.perf_counter() - began
            if self._process.poll() is not None:
                break
            time.sleep(0.002)
        said = self.said()
        self.stop()
        raise DidNotStart(said or "it did not answer")

    def said(self) -> str:
        """The last lines it wrote."""
        self._said.seek(0)
        return "\n".join(self._said.read().decode("utf-8", "replace").strip().splitlines()[-3:])

    def ask_to_stop(self) -> None:
        """Tell it to end, and do not wait."""
        if self._process is not None:
            with contextlib.suppress(ProcessLookupError, PermissionError):
                os.killpg(self._process.pid, signal.SIGTERM)

    def stop(self) -> None:
        """End it, with everything it started: kindly, then by force."""
        if self._process is None:
            return
        for sent, patience in ((signal.SIGTERM, 5.0), (signal.SIGKILL, 5.0)):
            with contextlib.suppress(ProcessLookupError, PermissionError):
                os.killpg(self._process.pid, sent)
            with contextlib.suppress(subprocess.TimeoutExpired):
                self._process.wait(patience)
                if sent == signal.SIGTERM and not descendants(self._process.pid):
                    break
        with contextlib.suppress(ProcessLookupError, PermissionError):
            os.killpg(self._process.pid, signal.SIGKILL)  # a worker that outlived its master
        self._process = None
        self._said.close()
        if self in _started:
            _started.remove(self)

    def processes(self) -> list[int]:
        """The master and everything below it."""
        return [] if self._process is None else [self._process.pid, *descendants(self._process.pid)]

    def workers(self) -> list[int]:
        """The processes that answer: those below the master, helpers left out."""
        return [process for process in self.processes()[1:] if b"resource_tracker" not in _command_line(process)]

    def cpu_seconds(self) -> float:
        """Processor time of all of them so far."""
        return sum(cpu_seconds(process) for process in self.processes())


def end_with_parent() -> None:
    """Have the kernel end this process when the benchmark ends, however it ends."""
    ctypes.CDLL(None).prctl(1, signal.SIGTERM)


def start_child(module: str, *arguments: str, environment: Mapping[str, str] | None = None) -> subprocess.Popen[str]:
    """A module of the benchmark as a process of its own, spoken with over its standard input and output."""
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
        server.ask_to_stop()
    for server in list(_started):
        server.stop()


def free_port() -> int:
    """A loopback port that nobody listens on."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def descendants(process: int) -> list[int]:
    """Every process below one, as the kernel lists them."""
    found: list[int] = []
    with contextlib.suppress(OSError):
        for task in Path(f"/proc/{process}/task").iterdir():
            found += [int(child) for child in (task / "children").read_text().split()]
    return [*found, *(below for child in list(found) for below in descendants(child))]


def cpu_seconds(process: int) -> float:
    """Processor time of one process, all its threads."""
    try:
        fields = Path(f"/proc/{process}/stat").read_text().rpartition(")")[2].split()
    except OSError:
        return 0.0
    return (int(fields[11]) + int(fields[12])) / TICK


def peak_memory(process: int) -> float:
    """The most memory it held since it started [MB]."""
    return _memory(f"/proc/{process}/status", "VmHWM")


def shared_out_memory(process: int) -> float:
    """Its memory, what it shares with others counted in part: PSS [MB]."""
    return _memory(f"/proc/{process}/smaps_rollup", "Pss")


def open_connections(process: int, port: int) -> int:
    """How many connections to a port one process holds."""
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
    """The share of the machine's processor time that is used, by whomever [%]."""
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
