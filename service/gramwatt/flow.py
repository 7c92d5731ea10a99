"""Bytes between an event loop and a thread: each side waits for the other, so neither piles up what is on its way."""

from __future__ import annotations

import asyncio
import contextlib
import io
import threading
from collections import deque
from collections.abc import Awaitable, Callable
from typing import Any, Final

HELD: Final = 65536


class Gone(BrokenPipeError):
    """The client went away; whatever was written for it is of no use."""


class Inflow(io.RawIOBase):
    """A body that the loop feeds and a thread reads: wait, never a short read that looks like the end."""

    def __init__(self, patience: float) -> None:
        super().__init__()
        self._patience = patience
        self._loop = asyncio.get_running_loop()
        self._changed = threading.Condition()
        self._pieces: deque[memoryview] = deque()
        self._held = 0
        self._ended = False
        self._fault: OSError | None = None
        self._room = asyncio.Event()
        self.begun = asyncio.Event()

    async def feed(self, piece: bytes) -> None:
        """Hand over a piece; returns once there is room for another. In the loop only."""
        with self._changed:
            if piece and self._fault is None:
                self._pieces.append(memoryview(piece))
                self._held += len(piece)
            full = self._held >= HELD
            if full:
                self._room.clear()
            self._changed.notify()
        self.begun.set()
        if full:
            await self._room.wait()

    def end(self, fault: OSError | None = None) -> None:
        """No more comes. After a fault every read fails, also of what has already come. In the loop only."""
        with self._changed:
            if self._fault is not None:
                return
            self._ended, self._fault = True, fault
            if fault is not None:
                self._pieces.clear()
                self._held = 0
            self._changed.notify()
        self.begun.set()
        self._room.set()

    def readable(self) -> bool:
        """As `io` wants it."""
        return True

    def readinto(self, target: Any) -> int:
        """Fill a buffer with what is there; waits where nothing is. In the thread."""
        with self._changed:
            if not self._changed.wait_for(lambda: self._pieces or self._ended, self._patience):
                self._ended, self._fault = True, TimeoutError("the body did not arrive in time")
            if self._fault is not None:
                raise self._fault
            if not self._pieces:
                return 0
            piece = self._pieces[0]
            count = min(len(target), len(piece))
            target[:count] = piece[:count]
            if count < len(piece):
                self._pieces[0] = piece[count:]
            else:
                self._pieces.popleft()
            was_full = self._held >= HELD
            self._held -= count
            has_room = was_full and self._held < HELD
        if has_room:
            _tell(self._loop, self._room.set)
        return count


class Outflow:
    """An answer that a thread puts and the loop sends: one flow of pieces with an end, good or bad."""

    def __init__(self) -> None:
        self._loop = asyncio.get_running_loop()
        self._changed = threading.Condition()
        self._pieces: list[bytes] = []
        self._held = 0
        self._told = False
        self._ended = False
        self._fault: BaseException | None = None
        self._gone = False
        self._ready = asyncio.Event()

    def put(self, piece: bytes) -> None:
        """Hand over a piece, waiting while much is unsent. Raises Gone where nobody wants it. In the thread."""
        with self._changed:
            self._changed.wait_for(lambda: self._held < HELD or self._gone)
            if self._gone:
                raise Gone
            self._pieces.append(piece)
            self._held += len(piece)
            tell, self._told = not self._told, True
        if tell:
            _tell(self._loop, self._ready.set)

    def end(self, fault: BaseException | None = None) -> None:
        """The answer is complete, or breaks off with a fault. In the thread."""
        with self._changed:
            self._ended, self._fault = True, fault
        _tell(self._loop, self._ready.set)

    def give_up(self) -> None:
        """Nobody wants the rest. In the loop."""
        with self._changed:
            self._gone = True
            self._pieces.clear()
            self._changed.notify()
        self._ready.set()

    async def pour(self, send: Callable[[bytes, bool], Awaitable[None]]) -> bool:
        """Send all that is put, as ``send(bytes, more)``; raises the fault. False where the client went."""
        while True:
            await self._ready.wait()
            self._ready.clear()
            with self._changed:
                pieces, ended, fault, gone = self._pieces, self._ended, self._fault, self._gone
                self._pieces, self._held, self._told = [], 0, False
                self._changed.notify()
            if gone:
                return False
            if pieces or (ended and fault is None):
                await send(b"".join(pieces), not ended or fault is not None)
            if fault is not None:
                raise fault
            if ended:
                return True


def _tell(loop: asyncio.AbstractEventLoop, call: Callable[[], None]) -> None:
    with contextlib.suppress(RuntimeError):  # the loop is closed: the worker stops
        loop.call_soon_threadsafe(call)
