"""Permits to compute in a thread: few at a time, lent while their holders wait for clients, with a bounded queue."""

from __future__ import annotations

import asyncio
import threading
import time
from collections.abc import Callable
from typing import Final

MAX_WAITING: Final = 128
MAX_STALLED: Final = 32
MIN_STALL_BEFORE_END: Final = 1.0
"""Seconds that a request has waited for its client, in all, before it may be ended in favor of others."""
STALL_SECONDS: Final = 0.05
"""Seconds that a thread waits for its client before it lends its slot to another request."""
INITIAL_BYTES: Final = 4096
"""Bytes that count as moved from the start: of two clients that moved none the one waited for longer is slower."""

Observe = Callable[[str, int], None]


class Overloaded(Exception):
    """As many requests wait for a thread as may."""


class Permit:
    """What `Slots` know of one request: whether it has a slot, how long it waited for its client, what came of that."""

    def __init__(self, loop: asyncio.AbstractEventLoop, end: Callable[[], None]) -> None:
        self.loop, self.end = loop, end
        self.held = self.ended = False
        self._moved = 0
        self._stalled, self._since = 0.0, 0.0

    def count(self, size: int, waited: float) -> None:
        """Count bytes that came or went after a wait, unless it was so short that buffers may have taken them."""
        if waited > STALL_SECONDS:
            self._moved += size

    def stall(self) -> None:
        """Begin to wait for the client."""
        self._since = time.monotonic()

    def resume(self) -> None:
        """End a wait for the client."""
        self._stalled, self._since = self.stalled(), 0.0

    def stalled(self) -> float:
        """Return how long the request has waited for its client [s]."""
        return self._stalled + (time.monotonic() - self._since if self._since else 0.0)

    def rate(self) -> float:
        """Return how fast the client was while it was waited for [B/s]."""
        return (INITIAL_BYTES + self._moved) / max(self.stalled(), 1e-9)


class Slots:
    """``count`` permits to compute. A request that waits for its client lends its slot to other requests.

    Beyond ``max_waiting`` requests that wait for a slot, the next one is rejected. While ``max_stalled`` requests wait
    for their clients and others wait for a slot, the request with the slowest client is ended, once it has waited
    ``cut_after`` seconds. ``observe`` is called with each change in the number of requests "running" or "waiting".
    """

    def __init__(
        self,
        count: int,
        max_waiting: int = MAX_WAITING,
        max_stalled: int = MAX_STALLED,
        *,
        cut_after: float = MIN_STALL_BEFORE_END,
        observe: Observe = lambda state, change: None,
    ) -> None:
        self._semaphore = asyncio.Semaphore(count)
        self._max_waiting, self._max_stalled, self._cut_after = max_waiting, max_stalled, cut_after
        self._observe = observe
        self._lock = threading.Lock()
        self._stalled: set[Permit] = set()
        self._waiting = self._reclaiming = 0

    async def acquire(self, permit: Permit) -> None:
        """Wait for a slot, in the event loop. Raises Overloaded."""
        if self._semaphore.locked():
            if self._waiting >= self._max_waiting:
                raise Overloaded
            self._waiting += 1
            self._observe("waiting", 1)
            try:
                await self._semaphore.acquire()
            finally:
                self._waiting -= 1
                self._observe("waiting", -1)
        else:
            await self._semaphore.acquire()
        permit.held = True
        self._observe("running", 1)

    def release(self, permit: Permit) -> None:
        """Give back the slot of a request that is over, in the event loop."""
        with self._lock:
            permit.ended, permit.end = True, _nothing  # no circle of references
            if permit.held:
                permit.held = False
                self._free()

    def lend(self, permit: Permit) -> bool:
        """Lend the slot of a request that waits for its client; False where too many do. In the request's thread."""
        with self._lock:
            if permit.ended or not permit.held:
                return False
            if len(self._stalled) >= self._max_stalled and not self._end_slowest(permit):
                return False
            self._stalled.add(permit)
            permit.held = False
            permit.loop.call_soon_threadsafe(self._free)
        return True

    def reclaim(self, permit: Permit) -> None:
        """Take a lent slot back, waiting for it, unless the request was ended. In the request's thread."""
        with self._lock:
            self._stalled.discard(permit)
            if permit.ended:
                return
            self._reclaiming += 1
        asyncio.run_coroutine_threadsafe(self._semaphore.acquire(), permit.loop).result()
        with self._lock:
            self._reclaiming -= 1
            self._observe("running", 1)
            if permit.ended:
                permit.loop.call_soon_threadsafe(self._free)
            else:
                permit.held = True

    def _free(self) -> None:
        self._semaphore.release()
        self._observe("running", -1)

    def _end_slowest(self, permit: Permit) -> bool:
        """End the request with the slowest client where others wait for a slot; return whether there is room now."""
        if self._waiting + self._reclaiming == 0:
            return False
        slow = [each for each in (permit, *self._stalled) if each.stalled() >= self._cut_after]
        if not slow:
            return False
        slowest = min(slow, key=Permit.rate)
        self._stalled.discard(slowest)
        slowest.ended = True
        slowest.end()
        return slowest is not permit


def _nothing() -> None:
    pass
