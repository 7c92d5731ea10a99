"""One request between an event loop and the thread that answers it, and the slots that bound such threads."""

from __future__ import annotations

import asyncio
import contextlib
import io
import threading
import time
from collections.abc import Awaitable, Callable, Coroutine
from concurrent.futures import CancelledError, Executor, Future
from typing import Any, Final

MINIMUM_RATE: Final = 500
"""Bytes a second that a request body must bring, averaged over `BURST` read timeouts."""
BURST: Final = 4
STALL: Final = 0.05
"""Seconds that a thread waits for its client before it lends its slot to another request."""
MOST_STALLED: Final = 64
CUT_AFTER: Final = 5.0
"""Seconds after which a stalled request may be ended in favor of another."""

Message = dict[str, Any]
Receive = Callable[[], Awaitable[Message]]


class ClientDisconnected(ConnectionError):
    """The client went away: its body has no end, and nobody reads what is written for it."""


class BodyTimeout(TimeoutError):
    """The body did not arrive in time."""


class ReadTimeout:
    """How long to wait for a client that sends: ``seconds`` at once, and `MINIMUM_RATE` bytes a second overall."""

    def __init__(self, seconds: float) -> None:
        self._seconds = seconds
        self._credit = BURST * seconds

    @property
    def left(self) -> float:
        """How long the next wait may be [s]."""
        return max(0.0, min(self._seconds, self._credit))

    def count(self, size: int, waited: float) -> None:
        """Count bytes that came after a wait."""
        self._credit = min(BURST * self._seconds, self._credit - waited + size / MINIMUM_RATE)


class Slots:
    """Permits to compute in a thread. A request that waits for its client lends its slot to other requests.

    While ``most_stalled`` requests do so, another keeps its slot, or ends the one that has waited longest if that has
    waited for ``cut_after`` seconds.
    """

    def __init__(self, count: int, most_stalled: int = MOST_STALLED, cut_after: float = CUT_AFTER) -> None:
        self._semaphore = asyncio.Semaphore(count)
        self._most_stalled, self._cut_after = most_stalled, cut_after
        self._lock = threading.Lock()
        self._stalled: dict[Exchange, float] = {}

    async def acquire(self, exchange: Exchange) -> None:
        """Wait for a slot. In the event loop."""
        await self._semaphore.acquire()
        exchange.has_slot = True

    def release(self, exchange: Exchange) -> None:
        """Give back the slot of a request that is over. In the event loop."""
        with self._lock:
            exchange.ended = True
            if exchange.has_slot:
                exchange.has_slot = False
                self._semaphore.release()

    def lend(self, exchange: Exchange) -> bool:
        """Lend the slot of a request that waits for its client; False where too many do. In a thread."""
        now = time.monotonic()
        with self._lock:
            if exchange.stalls == 0:
                if len(self._stalled) >= self._most_stalled:
                    oldest = next(iter(self._stalled))
                    if now - self._stalled[oldest] < self._cut_after:
                        return False
                    del self._stalled[oldest]
                    oldest.disconnect()
                self._stalled[exchange] = now
                exchange.has_slot = False
                exchange.loop.call_soon_threadsafe(self._semaphore.release)
            exchange.stalls += 1
        return True

    def reclaim(self, exchange: Exchange) -> None:
        """Take the slot back that was lent, waiting for it, unless the client is gone. In the thread."""
        with self._lock:
            exchange.stalls -= 1
            if exchange.stalls > 0:
                return
            self._stalled.pop(exchange, None)
            if exchange.disconnected:
                return
        asyncio.run_coroutine_threadsafe(self._semaphore.acquire(), exchange.loop).result()
        with self._lock:
            if exchange.ended:
                exchange.loop.call_soon_threadsafe(self._semaphore.release)
            else:
                exchange.has_slot = True


class Exchange(io.RawIOBase):
    """A request body to read and a response body to `put` in threads, while the event loop carries both.

    One call of ``receive`` is always under way, so that a client's leaving is noticed at once; one of ``send`` may be,
    while the thread computes on. ``complete`` tells that the body was received before.
    """

    def __init__(
        self,
        receive: Receive,
        send: Callable[[bytes], Coroutine[Any, Any, None]],
        slots: Slots,
        read_timeout: float,
        *,
        complete: bool = False,
    ) -> None:
        super().__init__()
        self.loop = asyncio.get_running_loop()
        self.stalls, self.has_slot, self.ended, self.disconnected = 0, False, False, False
        self._receive, self._send, self._slots = receive, send, slots
        self._read_timeout, self._timeout = read_timeout, ReadTimeout(read_timeout)
        self._chunk, self._complete, self._late = memoryview(b""), complete, False
        self._sending: Future[None] | None = None
        self._receiving: Future[Message] = self._submit(self._receive_next())

    def _submit(self, call: Coroutine[Any, Any, Any]) -> Future[Any]:
        return asyncio.run_coroutine_threadsafe(call, self.loop)

    async def _receive_next(self) -> Message:
        """Receive the next part of the body, or after its end the client's leaving."""
        while True:
            message = await self._receive()
            if message["type"] == "http.disconnect":
                self.disconnected = True
                if self._sending is not None:
                    self._sending.cancel()
            if self.disconnected or not self._complete:
                return message

    def _take(self, message: Message) -> None:
        if self.disconnected:
            raise ClientDisconnected("the client went away")
        self._chunk = memoryview(message.get("body", b""))
        self._complete = not message.get("more_body", False)
        self._receiving = self._submit(self._receive_next())

    def disconnect(self) -> None:
        """End the exchange: whatever waits for the client fails, and so does each later call."""
        self.disconnected = True
        for call in (self._receiving, self._sending):
            if call is not None:
                call.cancel()

    async def run(self, pool: Executor, work: Callable[[], None]) -> None:
        """Call ``work`` in a thread once the body has begun and a slot is free.

        Raises BodyTimeout where the client stops sending before, and ClientDisconnected where it leaves.
        """
        if not self._complete:
            try:
                async with asyncio.timeout(self._timeout.left):
                    self._take(await asyncio.wrap_future(self._receiving))
            except TimeoutError:
                raise BodyTimeout from None
        slot, receiving = asyncio.ensure_future(self._slots.acquire(self)), asyncio.wrap_future(self._receiving)
        try:
            timeout = None if self._complete else self._timeout.left
            await asyncio.wait((slot, receiving), timeout=timeout, return_when=asyncio.FIRST_COMPLETED)
            if self.disconnected:
                raise ClientDisconnected
            if not (slot.done() or receiving.done()):
                raise BodyTimeout
            await slot
            await self.loop.run_in_executor(pool, work)
        except asyncio.CancelledError:
            self.disconnect()
            raise
        finally:
            slot.cancel()
            self._slots.release(self)

    async def finish(self) -> None:
        """Receive the rest of a body that nobody read: a connection closed before its end loses its response."""
        with contextlib.suppress(TimeoutError, ClientDisconnected):
            async with asyncio.timeout(self._read_timeout):
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
            self._timeout.count(len(message.get("body", b"")), time.monotonic() - began)
            self._take(message)
        if self.disconnected:
            raise ClientDisconnected("the client went away")
        count = min(len(target), len(self._chunk))
        target[:count] = self._chunk[:count]
        self._chunk = self._chunk[count:]
        return count

    def put(self, chunk: bytes) -> None:
        """Send a chunk as soon as the one before it is sent. Raises ClientDisconnected."""
        self.wait_until_sent()
        self._sending = self._submit(self._send(chunk))
        if self.disconnected:
            self._sending.cancel()

    def wait_until_sent(self) -> None:
        """Wait until the last chunk is sent. Raises ClientDisconnected."""
        if self._sending is not None:
            self._wait(self._sending)
        if self.disconnected:
            raise ClientDisconnected

    def _wait(self, call: Future[Any], timeout: float = float("inf")) -> Any:
        """Return what a call in the loop returns; meanwhile the slot is lent."""
        began, wait, lent = time.monotonic(), STALL, False
        try:
            while True:
                left = began + timeout - time.monotonic()
                try:
                    return call.result(max(0.0, min(wait, left)))
                except CancelledError:
                    raise ClientDisconnected from None
                except TimeoutError:
                    if call.done() or left <= 0:
                        raise
                lent, wait = lent or self._slots.lend(self), 10 * STALL
        finally:
            if lent:
                self._slots.reclaim(self)
