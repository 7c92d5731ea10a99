"""A request's body taken in while its answer goes out: the rest is read ahead, into memory and then onto disk.

Many clients send all they have before they read anything. Were the body read only as the answer is written, both
sides would wait for each other as soon as the buffers between them are full.
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
"""Seconds for what was asked for to arrive."""
MAX_MEMORY_BYTES: Final = 8 * 1024 * 1024
MAX_DRAINED_BYTES: Final = 64 * 1024 * 1024

WaitUntil = Callable[[Callable[[float | None], bool]], None]


def wait_until(is_done: Callable[[float | None], bool]) -> None:
    """Wait until ``is_done``, which may wait for so many seconds, returns True."""
    while not is_done(None):
        pass


class RequestBodyReader:
    """Reads a body to its end in a thread of its own; `read` gives its bytes in order.

    ``read_piece`` gives up to so many bytes of the body, none at its end, or raises; what it raises, `read` raises
    once all bytes before it are given. ``limit`` bytes are the most a body may have. ``wait`` is how to wait for the
    client; a server may let others compute meanwhile.
    """

    def __init__(self, read_piece: Callable[[int], bytes], limit: int, wait: WaitUntil = wait_until) -> None:
        self._read_piece, self._limit, self._wait = read_piece, limit, wait
        self._changed = threading.Condition()
        self._memory: deque[bytes] = deque()
        self._held = 0
        self._disk: IO[bytes] | None = None
        self._written, self._taken = 0, 0
        self._ended, self._abandoned = False, False
        self._error: BaseException | None = None
        self._asked = time.monotonic()
        self._thread = threading.Thread(target=self._take_in, name="intake", daemon=True)
        self._thread.start()

    def _take_in(self) -> None:
        received, size = 0, MIN_CHUNK_BYTES
        try:
            while piece := self._read_piece(size):
                received += len(piece)
                size = self._next_size(size)
                if received > self._limit:
                    self._end(MalformedTable(f"the table is larger than {self._limit} bytes", "too-large"))
                    self._drain()
                    return
                with self._changed:
                    if self._abandoned:
                        continue  # read on to the end of the request, so that the next one on this connection is whole
                    self._keep(piece)
                    self._changed.notify()
        except BaseException as error:  # `read` waits for the end, whatever ended the body
            self._end(error)
            return
        self._end(None)

    def _end(self, error: BaseException | None) -> None:
        """Nothing more is given; ``error`` is raised after what was."""
        with self._changed:
            self._error, self._ended = error, True
            self._changed.notify()

    def _drain(self) -> None:
        """Take some more of what is not wanted: a client that sends all before it reads shall live to see why."""
        drained = 0
        with contextlib.suppress(Exception):
            while drained < MAX_DRAINED_BYTES and (piece := self._read_piece(CHUNK_BYTES)):
                drained += len(piece)

    def _next_size(self, size: int) -> int:
        """How much to ask for next. A server waits until all that was asked for is there: of a body that comes slowly
        little is asked for, so that its rows are answered as they come."""
        now = time.monotonic()
        slow, self._asked = now - self._asked > SLOW_SECONDS, now
        return max(size // 8, MIN_CHUNK_BYTES) if slow else min(size * 4, CHUNK_BYTES)

    def _keep(self, piece: bytes) -> None:
        on_disk = self._written > self._taken
        if not on_disk and self._held + len(piece) <= MAX_MEMORY_BYTES:
            self._memory.append(piece)
            self._held += len(piece)
            return
        if self._disk is None:
            self._disk = tempfile.TemporaryFile(prefix="gramwatt-")  # noqa: SIM115 - closed by `finish`
        self._disk.seek(self._written)
        self._disk.write(piece)
        self._written += len(piece)

    def read(self, size: int) -> bytes:
        """Up to ``size`` bytes, none at the end; waits for them. Raises what reading the body raised."""
        parts: list[bytes] = []
        wanted = size
        self._wait(self._has_more)
        with self._changed:
            while wanted > 0 and self._memory:
                piece = self._memory.popleft()
                self._held -= len(piece)
                if len(piece) > wanted:
                    self._memory.appendleft(piece[wanted:])
                    self._held += len(piece) - wanted
                    piece = piece[:wanted]
                parts.append(piece)
                wanted -= len(piece)
            if wanted > 0 and self._disk is not None and self._written > self._taken:
                self._disk.seek(self._taken)
                piece = self._disk.read(min(wanted, self._written - self._taken))
                self._taken += len(piece)
                parts.append(piece)
                if self._taken == self._written:
                    self._disk.seek(0)
                    self._disk.truncate()
                    self._written = self._taken = 0
            if not parts and self._error is not None:
                raise self._error
        return b"".join(parts)

    def _has_more(self, seconds: float | None) -> bool:
        with self._changed:
            return self._changed.wait_for(
                lambda: bool(self._memory) or self._written > self._taken or self._ended, seconds
            )

    def _has_ended(self, seconds: float | None) -> bool:
        self._thread.join(seconds)
        return not self._thread.is_alive()

    def finish(self) -> None:
        """Forget what was not read, wait for the end of the body, and give back memory and disk."""
        with self._changed:
            self._abandoned = True
            self._memory.clear()
            self._held = 0
        self._wait(self._has_ended)
        if self._disk is not None:
            self._disk.close()
