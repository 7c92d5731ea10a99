"""Read a request body ahead while the response is sent: into memory first, then into a temporary file.

Many clients send their whole body before they read the response. If the body were read only as the response is
written, both sides would wait for each other once the buffers between them are full.
"""

from __future__ import annotations

import contextlib
import tempfile
import threading
import time
from collections import deque
from collections.abc import Callable
from typing import IO, Final

from gramwatt.engine.tables.chunks import MalformedTable

CHUNK_BYTES: Final = 256 * 1024
MIN_CHUNK_BYTES: Final = 512
SLOW_SECONDS: Final = 0.02
"""A chunk that takes longer is slow, and the next one is smaller."""
MAX_MEMORY_BYTES: Final = 8 * 1024 * 1024
MAX_DRAINED_BYTES: Final = 64 * 1024 * 1024

WaitUntil = Callable[[Callable[[float | None], bool]], None]


def wait_until(is_done: Callable[[float | None], bool]) -> None:
    """Wait until ``is_done`` returns True; it may wait for the seconds that it is called with."""
    while not is_done(None):
        pass


class RequestBodyReader:
    """Read a body to its end in a thread; `read` returns its bytes in order.

    Parameters
    ----------
    read_chunk
        Returns up to so many bytes of the body, none at its end, or raises. `read` raises the same exception, after it
        has returned all bytes before it.
    limit
        The maximum size of the body [bytes].
    wait
        How to wait for the client; a server may let other requests compute meanwhile.
    """

    def __init__(self, read_chunk: Callable[[int], bytes], limit: int, wait: WaitUntil = wait_until) -> None:
        self._read_chunk, self._limit, self._wait = read_chunk, limit, wait
        self._changed = threading.Condition()
        self._memory: deque[bytes] = deque()
        self._memory_bytes = 0
        self._file: IO[bytes] | None = None
        self._written, self._taken = 0, 0
        self._ended, self._abandoned = False, False
        self._error: BaseException | None = None
        self._requested_at = time.monotonic()
        self._thread = threading.Thread(target=self._read_ahead, name="request-body", daemon=True)
        self._thread.start()

    def _read_ahead(self) -> None:
        received, size = 0, MIN_CHUNK_BYTES
        try:
            while chunk := self._read_chunk(size):
                received += len(chunk)
                size = self._choose_next_size(size)
                if received > self._limit:
                    self._end(MalformedTable(f"the table is larger than {self._limit} bytes", "too-large"))
                    self._drain()
                    return
                with self._changed:
                    if self._abandoned:
                        continue  # read to the end, so that the next request on this connection begins at its start
                    self._store(chunk)
                    self._changed.notify()
        except BaseException as error:  # `read` waits for the end, whatever ended the body
            self._end(error)
            return
        self._end(None)

    def _end(self, error: BaseException | None) -> None:
        """Mark the end of the body; `read` raises ``error`` after the bytes before it."""
        with self._changed:
            self._error, self._ended = error, True
            self._changed.notify()

    def _drain(self) -> None:
        """Read and drop some more: a client that sends everything before it reads must still see the response."""
        drained = 0
        with contextlib.suppress(Exception):
            while drained < MAX_DRAINED_BYTES and (chunk := self._read_chunk(CHUNK_BYTES)):
                drained += len(chunk)

    def _choose_next_size(self, size: int) -> int:
        """Return how many bytes to request next.

        A server waits until all of them have arrived, so a slow body is read in small chunks: its rows are then
        computed as they arrive.
        """
        now = time.monotonic()
        slow, self._requested_at = now - self._requested_at > SLOW_SECONDS, now
        return max(size // 8, MIN_CHUNK_BYTES) if slow else min(size * 4, CHUNK_BYTES)

    def _store(self, chunk: bytes) -> None:
        in_file = self._written > self._taken
        if not in_file and self._memory_bytes + len(chunk) <= MAX_MEMORY_BYTES:
            self._memory.append(chunk)
            self._memory_bytes += len(chunk)
            return
        if self._file is None:
            self._file = tempfile.TemporaryFile(prefix="gramwatt-")  # noqa: SIM115 - closed by `finish`
        self._file.seek(self._written)
        self._file.write(chunk)
        self._written += len(chunk)

    def read(self, size: int) -> bytes:
        """Return up to ``size`` bytes, none at the end; wait for them. Raises what reading the body raised."""
        chunks: list[bytes] = []
        remaining = size
        self._wait(self._has_more)
        with self._changed:
            while remaining > 0 and self._memory:
                chunk = self._memory.popleft()
                self._memory_bytes -= len(chunk)
                if len(chunk) > remaining:
                    self._memory.appendleft(chunk[remaining:])
                    self._memory_bytes += len(chunk) - remaining
                    chunk = chunk[:remaining]
                chunks.append(chunk)
                remaining -= len(chunk)
            if remaining > 0 and self._file is not None and self._written > self._taken:
                self._file.seek(self._taken)
                chunk = self._file.read(min(remaining, self._written - self._taken))
                self._taken += len(chunk)
                chunks.append(chunk)
                if self._taken == self._written:
                    self._file.seek(0)
                    self._file.truncate()
                    self._written = self._taken = 0
            if not chunks and self._error is not None:
                raise self._error
        return b"".join(chunks)

    def _has_more(self, seconds: float | None) -> bool:
        with self._changed:
            return self._changed.wait_for(
                lambda: bool(self._memory) or self._written > self._taken or self._ended, seconds
            )

    def _has_ended(self, seconds: float | None) -> bool:
        self._thread.join(seconds)
        return not self._thread.is_alive()

    def finish(self) -> None:
        """Drop what was not read, wait for the end of the body, and release memory and file."""
        with self._changed:
            self._abandoned = True
            self._memory.clear()
            self._memory_bytes = 0
        self._wait(self._has_ended)
        if self._file is not None:
            self._file.close()
