"""A limit on requests per minute, off unless the operator sets GRAMWATT_RATE_LIMIT; one bucket a client and worker.

HEAD and OPTIONS are free: a spreadsheet sends them before every GET. Header fields as in the IETF draft
draft-ietf-httpapi-ratelimit-headers.
"""

from __future__ import annotations

import math
import threading
import time
from collections import OrderedDict
from collections.abc import Callable

from flask import Response, g, request

from gramwatt.web.problems import Problem

MOST_CLIENTS = 10_000
LONGEST_URL = 8000
"""Characters of a path with its query."""


class RateLimit:
    """Token buckets by client address: ``per_minute`` tokens at most, refilled evenly."""

    def __init__(self, per_minute: int, clock: Callable[[], float] = time.monotonic) -> None:
        self.per_minute = per_minute
        self._clock = clock
        self._lock = threading.Lock()
        self._buckets: OrderedDict[str, tuple[float, float]] = OrderedDict()

    def take(self, client: str) -> float:
        """Take a token; what is left after it, or the negative number of seconds to wait."""
        now, rate = self._clock(), self.per_minute / 60
        with self._lock:
            tokens, since = self._buckets.pop(client, (float(self.per_minute), now))
            tokens = min(self.per_minute, tokens + (now - since) * rate)
            enough = tokens >= 1
            self._buckets[client] = (tokens - 1 if enough else tokens, now)
            if len(self._buckets) > MOST_CLIENTS:
                self._buckets.popitem(last=False)
        return tokens - 1 if enough else (tokens - 1) / rate

    def before(self) -> None:
        """Refuse a request beyond the limit."""
        if request.method in ("HEAD", "OPTIONS") or request.path.startswith("/health/"):
            return
        left = self.take(request.remote_addr or "")
        g.rate_left = max(0, math.floor(left))
        if left < 0:
            wait = math.ceil(-left)
            raise Problem("too-many-requests", f"Wait {wait} s.", headers={"Retry-After": str(wait)})

    def after(self, response: Response) -> Response:
        """Tell the client where it stands."""
        if "rate_left" in g:
            response.headers["RateLimit-Policy"] = f'"default";q={self.per_minute};w=60'
            response.headers["RateLimit"] = f'"default";r={g.rate_left};t=60'
        return response
