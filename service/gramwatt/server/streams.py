"""One request between an event loop and the thread that computes its response."""

from __future__ import annotations

import asyncio
import contextlib
import io
import threading
import time
from collections.abc import Awaitable, Callable, Coroutine
from concurrent.futures import CancelledError, Executor, Future
from typing import Any, Final

from gramwatt.server.slots import STALL_SECONDS, Overloaded, Permit, Slots

MINIMUM_RATE: Final = 500
"""Bytes a second that a request body must bring, averaged over `BURST` read timeouts."""
BURST: Final = 4
BODY_TIMEOUT: Final = 600.0
"""Seconds that a client may be waited for within one body, in all."""
RETRY_SECONDS: Final = 0.25
"""Seconds after which a thread that could not lend its slot tries again."""
MAX_SENT_BYTES: Final = 256 * 1024
"""Bytes of a response that are sent at once: the server holds copies of them until its client has read them."""
MAX_QUEUE_SECONDS: Final = 30.0
"""Seconds that a request waits for a slot."""

Message = dict[str, Any]
Receive = Callable[[], Awaitable[Message]]


class ClientDisconnected(ConnectionError):
    """The client went away: its body has no end, and its response no reader."""


class BodyTimeout(TimeoutError):
    """The body did not arrive in time."""


class ReadTimeout:
    """How long to wait for a client that sends `MINIMUM_RATE` bytes a second: ``seconds`` at once, ``total`` in all."""

    def __init__(self, seconds: float, total: float = float("inf")) -> None:
        self._seconds, self._total = seconds, total
        self._credit = BURST * seconds

    @property
    def left(self) -> float:
        """How long the next wait may be [s]."""
        return max(0.0, min(self._seconds, self._credit, self._total))

    def count(self, size: int, waited: float) -> None:
        """Count bytes that came after a wait."""
        self._credit = min(BURST * self._seconds, self._credit - waited + size / MINIMUM_RATE)
        self._total -= waited


class Exchange(io.RawIOBase):
    """A request body to read and a response body to `put` in threads, while the event loop carries both.

    One call of ``receive`` is always under way, so that a client's leaving is noticed at once; one of ``send`` may be,
    while the thread computes on. ``timeout`` is that of the body, None where it was received before.
    """

    def __init__(
        self,
        receive: Receive,
        send: Callable[[bytes], Coroutine[Any, Any, None]],
        slots: Slots,
        timeout: ReadTimeout | None,
    ) -> None:
        super().__init__()
        self._loop = asyncio.get_running_loop()
        self.disconnected = False
        self._receive, self._send, self._slots, self._timeout = receive, send, slots, timeout or ReadTimeout(0)
        self._permit, self._thread = Permit(self._loop, self.disconnect), 0
        self._chunk, self._complete, self._late = memoryview(b""), timeout is None, False
        self._sending: Future[None] | None = None
        self._unsent = 0
        self._receiving: Future[Message] = self._submit(self._receive_next())

    def _submit(self, call: Coroutine[Any, Any, Any]) -> Future[Any]:
        return asyncio.run_coroutine_threadsafe(call, self._loop)

    async def _receive_next(self) -> Message:
        """Receive the next part of the body, or after its end the client's leaving."""
        while True:
            message = await self._receive()
            if message["type"] == "http.disconnect":
                self._leave()
                if self._sending is not None:
                    self._sending.cancel()
            if self.disconnected or not self._complete:
                return message

    def _leave(self) -> None:
        self.disconnected = self._permit.ended = True

    def _take(self, message: Message) -> None:
        if self.disconnected:
            raise ClientDisconnected("the client went away")
        self._chunk = memoryview(message.get("body", b""))
        self._complete = not message.get("more_body", False)
        self._receiving = self._submit(self._receive_next())

    def is_cancelled(self) -> bool:
        """Return whether the response is no longer wanted; cheap enough to be called often."""
        return self.disconnected

    def disconnect(self) -> None:
        """End the exchange: whatever waits for the client fails, and so does each later call."""
        self._leave()
        for call in (self._receiving, self._sending):
            if call is not None:
                call.cancel()

    async def run(self, pool: Executor, work: Callable[[], None]) -> None:
        """Call ``work`` in a thread once the body has begun and a slot is free.

        Raises BodyTimeout where the client stops sending before, ClientDisconnected where it leaves, and Overloaded
        where too many wait for a slot.
        """
        if not self._complete:
            try:
                async with asyncio.timeout(self._timeout.left):
                    self._take(await asyncio.wrap_future(self._receiving))
            except TimeoutError:
                raise BodyTimeout from None
        slot, receiving = asyncio.ensure_future(self._slots.acquire(self._permit)), asyncio.wrap_future(self._receiving)
        try:
            await self._wait_for_slot(slot, receiving)
            await self._loop.run_in_executor(pool, self._work, work)
        except asyncio.CancelledError:
            self.disconnect()
            raise
        finally:
            slot.cancel()
            self._slots.release(self._permit)

    async def _wait_for_slot(self, slot: asyncio.Future[None], receiving: asyncio.Future[Message]) -> None:
        left = MAX_QUEUE_SECONDS if self._complete else self._timeout.left
        await asyncio.wait((slot, receiving), timeout=min(MAX_QUEUE_SECONDS, left), return_when=asyncio.FIRST_COMPLETED)
        if self.disconnected:
            raise ClientDisconnected
        if receiving.done():  # more of the body has come, so the client is there
            await asyncio.wait((slot,), timeout=MAX_QUEUE_SECONDS)
        elif not slot.done() and left < MAX_QUEUE_SECONDS:
            raise BodyTimeout
        if not slot.done():
            raise Overloaded
        await slot

    def _work(self, work: Callable[[], None]) -> None:
        self._thread = threading.get_ident()
        work()

    async def finish(self) -> None:
        """Receive the rest of an unread body: a connection closed before its end loses its response."""
        with contextlib.suppress(TimeoutError, ClientDisconnected):
            async with asyncio.timeout(self._timeout.left):
                while not (self._complete or self._late):
                    self._take(await asyncio.wrap_future(self._receiving))
        self._receiving.cancel()

    def readable(self) -> bool:
        """Return True, as `io.BufferedReader` expects."""
        return True

    def readinto(self, target: Any) -> int:
        """Fill a buffer with bytes of the body, waiting for them. Raises BodyTimeout, ClientDisconnected."""
        while not self._chunk and not self._complete:
            if self._late:
                raise BodyTimeout("the body did not arrive in time")
            began = time.monotonic()
            try:
                message = self._wait(self._receiving, self._timeout.left)
            except TimeoutError:
                self._late = True
                continue
            size, waited = len(message.get("body", b"")), time.monotonic() - began
            self._timeout.count(size, waited)
            self._permit.count(size, waited)
            self._take(message)
        if self.disconnected:
            raise ClientDisconnected("the client went away")
        count = min(len(target), len(self._chunk))
        target[:count] = self._chunk[:count]
        self._chunk = self._chunk[count:]
        return count

    def put(self, chunk: bytes) -> None:
        """Send a chunk as soon as the one before it is sent. Raises ClientDisconnected."""
        for start in range(0, len(chunk), MAX_SENT_BYTES):
            self.wait_until_sent()
            sent = chunk if len(chunk) <= MAX_SENT_BYTES else chunk[start : start + MAX_SENT_BYTES]
            self._unsent = len(sent)
            self._sending = self._submit(self._send(sent))
            if self.disconnected:
                self._sending.cancel()

    def wait_until_sent(self) -> None:
        """Wait until the last chunk is sent. Raises ClientDisconnected."""
        if self._sending is not None:
            began = time.monotonic()
            self._wait(self._sending)
            self._permit.count(self._unsent, time.monotonic() - began)
            self._unsent = 0
        if self.disconnected:
            raise ClientDisconnected

    def _wait(self, call: Future[Any], timeout: float = float("inf")) -> Any:
        """Return what a call in the loop returns. Raises TimeoutError, ClientDisconnected."""

        def is_done(seconds: float) -> bool:
            with contextlib.suppress(TimeoutError, CancelledError):
                call.result(seconds)
            return call.done()

        self.wait_until(is_done, timeout)
        try:
            return call.result(0)
        except CancelledError:
            raise ClientDisconnected from None

    def wait_until(self, is_done: Callable[[float], bool], timeout: float = float("inf")) -> None:
        """Wait until ``is_done``, which may wait for so many seconds, returns True.

        What is waited for must depend on the client alone: in the request's own thread the slot is lent meanwhile.
        """
        began, lent, own = time.monotonic(), False, threading.get_ident() == self._thread
        if is_done(min(STALL_SECONDS, timeout)):
            return
        if own:
            self._permit.stall()
        try:
            while (left := began + timeout - time.monotonic()) > 0:
                lent = lent or (own and self._slots.lend(self._permit))
                if is_done(min(RETRY_SECONDS, left)):
                    return
        finally:
            if own:
                self._permit.resume()
            if lent:
                self._slots.reclaim(self._permit)
