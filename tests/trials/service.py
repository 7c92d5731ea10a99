"""The service under trial: its processes, what its workers use, and a client beside an attack."""

from __future__ import annotations

import contextlib
import http.client
import itertools
import os
import socket
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

from trials.requests import Request, get

LARGEST_ADDRESS_SPACE: Final = 6 * 1024 * 1024  # KiB a process: a worker that wants more fails, not this machine
SERVERS: Final = {
    "gunicorn": ("-m", "gramwatt", "serve", "--port", "{port}"),
    "gthread": ("-m", "gunicorn", "--worker-class", "gthread", "--threads", "8", "--workers", "2", "--preload",
                "--bind", "127.0.0.1:{port}", "gramwatt.wsgi:app"),
    "waitress": ("-c", "from gramwatt.server.run import serve_with_waitress as serve; "
                 "serve('127.0.0.1', {port}, lambda: None)"),
}  # fmt: skip
"""Arguments for Python that start the service with a server."""
_numbers = itertools.count(1)


@dataclass(slots=True)
class Service:
    """A running service on a port of 127.0.0.1; ``log`` has what it writes to standard error."""

    port: int
    process: subprocess.Popen[bytes]
    server: str
    log: Path

    def workers(self) -> list[int]:
        """Return the process numbers of the workers."""
        main = self.process.pid
        if self.server == "waitress":
            return [main]
        parents = {int(path.parent.name): _parent(path) for path in Path("/proc").glob("[0-9]*/stat")}
        return sorted(process for process, parent in parents.items() if parent == main)

    def memory(self) -> int:
        """Return the memory of all workers that no other process shares [bytes]."""
        total = 0
        for worker in self.workers():
            with contextlib.suppress(OSError):
                for line in Path(f"/proc/{worker}/smaps_rollup").read_text().splitlines():
                    if line.startswith(("Private_Clean:", "Private_Dirty:")):
                        total += int(line.split()[1]) * 1024
        return total

    def cpu_seconds(self) -> float:
        """Return the processor time that all workers used since they started."""
        ticks = 0
        for worker in self.workers():
            with contextlib.suppress(OSError):
                fields = Path(f"/proc/{worker}/stat").read_text().rpartition(")")[2].split()
                ticks += int(fields[11]) + int(fields[12])
        return ticks / os.sysconf("SC_CLK_TCK")

    def send(self, request: Request, timeout: float = 60.0) -> tuple[int, bytes]:
        """Send a request on a connection of its own; return status and body. Raises OSError or HTTPException."""
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=timeout)
        with contextlib.closing(connection):
            return exchange(connection, request)

    def connect(self, receive_buffer: int = 0) -> socket.socket:
        """Open a TCP connection, on demand with a small buffer for what is received."""
        client = socket.socket()
        if receive_buffer:
            client.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, receive_buffer)
        client.settimeout(30)
        client.connect(("127.0.0.1", self.port))
        return client


def _parent(stat: Path) -> int:
    """Return the parent of a process; 0 where it has ended."""
    try:
        return int(stat.read_text().rpartition(")")[2].split()[1])
    except OSError:
        return 0


def exchange(connection: http.client.HTTPConnection, request: Request) -> tuple[int, bytes]:
    """Send a request on a connection; return status and body. Raises OSError, HTTPException, ValueError."""
    target = request.target.encode("ascii", "replace").decode().replace(" ", "%20")
    connection.putrequest(request.method, target, skip_accept_encoding=True)
    for name, value in request.headers.items():
        connection.putheader(name, value.encode("latin-1", "replace"))
    if request.body is not None:
        connection.putheader("Content-Length", str(len(request.body)))
    connection.endheaders()
    if request.body is not None:
        with contextlib.suppress(
            BrokenPipeError, ConnectionResetError
        ):  # an error response may come before the body ends
            connection.send(request.body)
    response = connection.getresponse()
    return response.status, response.read()


@contextlib.contextmanager
def running(
    server: str = "gunicorn", environment: Mapping[str, str] | None = None, *, temporary_mib: int = 0
) -> Iterator[Service]:
    """Start the service with two workers, wait until it is ready, and stop it at the end.

    ``temporary_mib`` mounts a file system of that size for its temporary files; see `can_limit_folder`.
    """
    settings = environment or {}
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    command = [sys.executable, *(word.replace("{port}", str(port)) for word in SERVERS[server])]
    limited = ["sh", "-c", f'ulimit -v {LARGEST_ADDRESS_SPACE}; exec "$@"', "sh", *command]
    with (
        tempfile.TemporaryDirectory() as folder,
        tempfile.NamedTemporaryFile() as log,
        subprocess.Popen(
            _mounting(temporary_mib, folder, limited),
            env={**os.environ, "TMPDIR": folder, **settings},
            stdout=log,
            stderr=log,
        ) as process,
    ):
        service = Service(port, process, server, Path(log.name))
        try:
            _wait_until_ready(service, 1 if server == "waitress" else int(settings.get("WEB_CONCURRENCY", 2)))
            yield service
        finally:
            process.terminate()
            try:
                process.wait(30)
            except subprocess.TimeoutExpired:
                process.kill()


def can_limit_folder() -> bool:
    """Return whether this process may mount a file system for the service alone, which takes root's rights."""
    with contextlib.suppress(OSError), tempfile.TemporaryDirectory() as folder:
        return subprocess.run(_mounting(1, folder, ["true"]), capture_output=True).returncode == 0
    return False


def _mounting(mib: int, folder: str, command: list[str]) -> list[str]:
    if not mib:
        return command
    script = f'mount -t tmpfs -o size={mib}m,mode=1777 none "{folder}" && exec "$@"'
    return ["unshare", "--mount", "sh", "-c", script, "sh", *command]


def _wait_until_ready(service: Service, workers: int) -> None:
    for _ in range(600):
        with contextlib.suppress(OSError, http.client.HTTPException):
            if service.send(get("/health/ready"))[0] == 200 and len(service.workers()) == workers:
                return
        time.sleep(0.05)
    raise RuntimeError(f"the service did not become ready: {service.log.read_text()[-2000:]}")


@dataclass(slots=True)
class Neighbor:
    """A client that sends plain requests, each a new one, while something else happens."""

    service: Service
    pause: float = 0.005
    seconds: list[float] = field(default_factory=list)
    failures: int = 0
    _stop: threading.Event = field(default_factory=threading.Event)
    _thread: threading.Thread | None = None

    def __enter__(self) -> Neighbor:
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._stop.set()
        if self._thread is not None:
            self._thread.join()

    def _run(self) -> None:
        while not self._stop.wait(self.pause):
            request = get(f"/v1/pack-energy?cells=6&capacity={1000 + next(_numbers) / 1000}")
            began = time.perf_counter()
            try:
                status, _ = self.service.send(request)
            except (OSError, http.client.HTTPException):
                status = 0
            self.seconds.append(time.perf_counter() - began)
            self.failures += status != 200

    def quantile(self, share: float) -> float:
        """Return a quantile of the seconds that requests took."""
        ordered = sorted(self.seconds) or [float("nan")]
        return ordered[min(len(ordered) - 1, int(share * len(ordered)))]
